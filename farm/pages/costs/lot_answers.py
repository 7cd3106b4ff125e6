"""What a lot cost and where it came from: /cost/ and /trace/ ask which; below stand the answers.

Each answer is one report; `?file=pdf` and `?file=xlsx` take it away.
"""

from dataclasses import dataclass

from django.http import HttpResponse, HttpResponseRedirect
from django.urls import reverse

from farm.models import Stage
from farm.pages import visible_rows
from farm.pages.access import PageRequest, Right, get_or_refuse, may, page
from farm.pages.frame import show
from farm.pages.report_files import handed_out, made_by
from farm.pages.report_page import Way
from farm.queries.costs.costs import cost_of
from farm.queries.finding import UnknownLotError, find_lot
from farm.queries.stock import all_lots
from farm.queries.tracing.traces import trace_of
from farm.reports.costs.cost_rows import cost_report
from farm.reports.tracing.trace_rows import trace_report
from ledger.codes import tidy
from ledger.models import Lot

NEWEST = 12


@dataclass(frozen=True)
class AskLotPage:
    """Which lot? ``refusal`` and ``meant`` answer a code that no lot has."""

    title: str
    explained: str
    typed: str
    refusal: str
    meant: tuple[Way, ...]
    newest: tuple[Way, ...]
    asks_way: bool


# --- which lot -------------------------------------------------------------------------------


@page(Right.SEE_COSTS)
def costs(request: PageRequest) -> HttpResponse:
    explained = "What a lot cost so far, line by line, and what a kilo from its blocks costs."
    return _ask_lot(request, "cost-of", title="Cost of a lot", explained=explained)


@page(Right.SEE_SAFETY)
def trace(request: PageRequest) -> HttpResponse:
    explained = (
        "Back from a punnet to grain batch, culture and supplier; or forward to what is still "
        "here and who received it."
    )
    return _ask_lot(request, "trace-of", title="Trace a lot", explained=explained)


def _ask_lot(request: PageRequest, name: str, *, title: str, explained: str) -> HttpResponse:
    """Go to the lot with the code that was typed; else say why not, and what may be meant."""
    typed, refusal = request.GET.get("code", ""), ""
    meant: tuple[Way, ...] = ()
    way = "forward" if request.GET.get("way") == "forward" else ""
    if typed:
        try:
            return HttpResponseRedirect(_address(name, find_lot(typed).code, way))
        except UnknownLotError as error:
            refusal = str(error)
            meant = tuple(Way(code, _address(name, code, way)) for code in error.suggestions)
    newest = tuple(
        Way(f"{lot.code} · {lot.item.name}", _address(name, lot.code, ""))
        for lot in visible_rows.lots(request.person, all_lots().filter(quantity__gt=0))[:NEWEST]
    )
    shown = AskLotPage(title, explained, typed, refusal, meant, newest, asks_way=name == "trace-of")
    return show(request, "farm/answers/ask_lot.html", shown)


def _address(name: str, code: str, way: str) -> str:
    return reverse(name, args=[code]) + (f"?way={way}" if way else "")


# --- the answers -----------------------------------------------------------------------------


@page(Right.SEE_COSTS)
def cost_of_lot(request: PageRequest, code: str) -> HttpResponse:
    lot = _lot(request, code)
    others: tuple[Way, ...] = (Way("Cost", _address("cost-of", lot.code, ""), is_here=True),)
    if may(request.person, Right.SEE_SAFETY):
        others = (
            *others,
            Way("Trace back", _address("trace-of", lot.code, "back")),
            Way("Trace forward", _address("trace-of", lot.code, "forward")),
        )
    if lot.card.stage == Stage.BLOCKS:
        others = (*others, Way("Against plan", reverse("against-of", args=[lot.code])))
    report = cost_report(cost_of(lot), made_by(request))
    return handed_out(request, report, name=f"cost-{lot.code}", others=others)


@page(Right.SEE_SAFETY)
def trace_of_lot(request: PageRequest, code: str) -> HttpResponse:
    """Show a trace; it holds no money. Names of customers stand where the person may see them."""
    lot = _lot(request, code)
    way = "forward" if request.GET.get("way") == "forward" else "back"
    others = tuple(
        Way(f"Trace {other}", _address("trace-of", lot.code, other), is_here=way == other)
        for other in ("back", "forward")
    )
    if may(request.person, Right.SEE_REACH):
        others += (Way("Whole reach, hold, recall", f"{reverse('reach')}?codes={lot.code}"),)
    if may(request.person, Right.SEE_COSTS):
        others = (Way("Cost", _address("cost-of", lot.code, "")), *others)
    traced = visible_rows.trace(request.person, trace_of(lot, forward=way == "forward"))
    names = may(request.person, Right.SEE_SALES)
    report = trace_report(traced, made_by(request), names=names)
    return handed_out(
        request, report, name=f"trace-{lot.code}-{way}", others=others, codes_lead_to="trace-of"
    )


def _lot(request: PageRequest, code: str) -> Lot:
    rows = visible_rows.lots(request.person, all_lots())
    return get_or_refuse(request, rows, Right.READ, code=tidy(code))
