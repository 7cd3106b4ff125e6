"""Where a lot came from and whom it reached: /trace/ asks which lots; /trace/<code>/ answers.

Of several lots, a run, a culture, a room or a delivery, /trace/ shows how far they reach. From
either, in one tap each: hold what is still here, open a recall.
"""

from dataclasses import dataclass

from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.http import urlencode

from farm.pages import visible_rows
from farm.pages.access import PageRequest, Right, get_or_refuse, may, page, require
from farm.pages.frame import show
from farm.pages.report_files import answer_page, made_by, taken_away
from farm.pages.report_page import AnswerPage, Way
from farm.pages.tracing.reach import reached_page, send_reached
from farm.pages.tracing.reach_forms import ReachForm, ReasonForm
from farm.queries.finding import UnknownLotError, find_lot
from farm.queries.stock import all_lots
from farm.queries.tracing.traces import trace_of
from farm.reports.tracing.trace_rows import trace_report
from ledger.codes import tidy
from ledger.models import Lot

NEWEST = 12


@dataclass(frozen=True)
class AskTracePage:
    """``meant`` answers a code that no lot has. ``form``: of whoever may see a whole reach."""

    typed: str
    refusal: str
    meant: tuple[Way, ...]
    newest: tuple[Way, ...]
    form: ReachForm


@dataclass(frozen=True)
class TracePage(AnswerPage):
    """``to_hold``: how many lots are here and free; ``address``: these suspects, as a query."""

    to_hold: int
    hold_form: ReasonForm
    address: str


@page(Right.SEE_SAFETY, to_send=Right.RECORD)
def trace(request: PageRequest) -> HttpResponse:
    """Go to the lot whose code was typed; of anything else, show how far it reaches."""
    if request.method == "POST":
        return send_reached(request)
    codes = request.GET.get("code", "").replace(",", " ").split()
    if len(codes) > 1:
        return redirect(f"{reverse('trace')}?{urlencode({'codes': ' '.join(codes)})}")
    if codes:
        return _lot_meant(request, codes[0])
    if not request.GET:
        return _ask(request, ReachForm())
    require(request, Right.SEE_REACH)
    form = ReachForm(request.GET)
    return reached_page(request, form) if form.is_valid() else _ask(request, form, status=422)


def _lot_meant(request: PageRequest, typed: str) -> HttpResponse:
    try:
        return redirect("trace-of", find_lot(typed).code)
    except UnknownLotError as error:
        meant = tuple(Way(code, reverse("trace-of", args=[code])) for code in error.suggestions)
        return _ask(request, ReachForm(), typed=typed, refusal=str(error), meant=meant)


def _ask(
    request: PageRequest,
    form: ReachForm,
    *,
    typed: str = "",
    refusal: str = "",
    meant: tuple[Way, ...] = (),
    status: int = 200,
) -> HttpResponse:
    newest = tuple(
        Way(f"{lot.code} · {lot.item.name}", reverse("trace-of", args=[lot.code]))
        for lot in visible_rows.lots(request.person, all_lots().filter(quantity__gt=0))[:NEWEST]
    )
    shown = AskTracePage(typed or request.GET.get("codes", ""), refusal, meant, newest, form)
    return show(request, "farm/reach/ask.html", shown, status=status)


@page(Right.SEE_SAFETY)
def trace_of_lot(request: PageRequest, code: str) -> HttpResponse:
    """Show both ways; no money. Names of customers stand where the person may see them."""
    rows = visible_rows.lots(request.person, all_lots())
    lot = get_or_refuse(request, rows, Right.READ, code=tidy(code))
    traced = visible_rows.trace(request.person, trace_of(lot))
    names = may(request.person, Right.SEE_SALES)
    report = trace_report(traced, made_by(request), names=names)
    if (file := taken_away(request, report, f"trace-{lot.code}")) is not None:
        return file
    why = f"Reached from lot {lot.code}: to be looked into"
    shown = TracePage(
        **vars(
            answer_page(request, report, others=_others(request, lot), codes_lead_to="trace-of")
        ),
        to_hold=len(traced.to_hold),
        hold_form=ReasonForm.new("Why they are held", why, "hold"),
        address=urlencode({"codes": lot.code}),
    )
    return show(request, "farm/reach/trace.html", shown)


def _others(request: PageRequest, lot: Lot) -> tuple[Way, ...]:
    if not may(request.person, Right.SEE_COSTS):
        return ()
    return (Way("Cost", reverse("cost-of", args=[lot.code])),)
