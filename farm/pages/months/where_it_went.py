"""Where did 3.2 kg go? /where/ for some days, /where/<lot>/ for one lot: steps down to zero."""

from dataclasses import dataclass
from datetime import date, timedelta

from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode

from farm import habits
from farm.models import Form
from farm.pages import visible_rows
from farm.pages.access import PageRequest, Right, page
from farm.pages.frame import show
from farm.pages.months.span_forms import WhereForm
from farm.pages.report_files import answer_page, made_by, taken_away
from farm.pages.report_page import AnswerPage, Way
from farm.queries.finding import UnknownLotError, find_lot
from farm.queries.months.lot_reconciliation import reconcile_lot
from farm.queries.months.place_reconciliation import reconcile_place
from farm.queries.months.reconciliation import GOODS, Reconciliation, reconcile
from farm.reports.months.reconciliation_rows import reconciliation_report
from farm.units import show_both
from ledger.models import Lot

ONE_DAY = timedelta(days=1)


@dataclass(frozen=True)
class WherePage:
    """``flagged``: more is missing than water and the scale explain. ``refusal``: no such lot."""

    form: WhereForm
    answer: AnswerPage | None
    flagged: bool
    refusal: str
    spans: tuple[Way, ...]


@page(Right.SEE_WORK)
def where(request: PageRequest) -> HttpResponse:
    """Reconcile some days, this week unless others are asked for; a lot's code leads to its own."""
    form, refusal = WhereForm(request.GET), ""
    if not form.is_valid():
        return show(request, "farm/answers/where.html", _asking(form))
    said = form.cleaned_data
    if said["lot"]:
        try:
            return redirect("where-of", find_lot(said["lot"]).code)
        except UnknownLotError as error:
            refusal = str(error)
    if said["place"]:
        found = reconcile_place(said["place"], said["first"], said["last"], form=said["form"])
    else:
        found = reconcile(said["first"], said["last"], form=said["form"], species=said["species"])
    goods = f"{said['place'] or said['species'] or 'all species'}, {Form(said['form']).label}"
    subtitle = f"{goods}, {habits.days(said['first'], said['last'])}"
    return _shown(request, found, subtitle=subtitle, form=form, refusal=refusal)


@page(Right.SEE_WORK)
def where_of_lot(request: PageRequest, code: str) -> HttpResponse:
    rows = visible_rows.lots(request.person, Lot.objects.select_related("item", "card__product"))
    found = rows.filter(code=code, card__stage__in=GOODS).first()
    if found is None:
        raise Http404(f"No picked, dried or packed lot has the code “{code[:20]}”.")
    subtitle = f"Lot {found.code}, {found.item.name}; packs made of it are followed"
    return _shown(request, reconcile_lot(found), subtitle=subtitle, form=WhereForm({}))


def _shown(
    request: PageRequest,
    found: Reconciliation,
    *,
    subtitle: str,
    form: WhereForm,
    refusal: str = "",
) -> HttpResponse:
    whole = show_both(found.whole_mg, request.farm.weight_unit)
    report = reconciliation_report(
        found, made_by(request), title=f"Where did {whole} go?", subtitle=subtitle
    )
    answer = answer_page(request, report, codes_lead_to="where-of")
    shown = WherePage(form, answer, found.is_flagged, refusal, _spans(form))
    return taken_away(request, report, "where-it-went") or show(
        request, "farm/answers/where.html", shown
    )


def _asking(form: WhereForm) -> WherePage:
    return WherePage(form, None, flagged=False, refusal="", spans=_spans(form))


def _spans(form: WhereForm) -> tuple[Way, ...]:
    """The spans that people ask for, of the goods that are shown."""
    today = timezone.localdate()
    monday = today - timedelta(days=today.weekday())
    month = today.replace(day=1)
    before = (month - ONE_DAY).replace(day=1)
    spans = {
        "This week": (monday, today),
        "Last week": (monday - timedelta(days=7), monday - ONE_DAY),
        "This month": (month, today),
        "Last month": (before, month - ONE_DAY),
    }
    return tuple(Way(label, _address(form, *span)) for label, span in spans.items())


def _address(form: WhereForm, first: date, last: date) -> str:
    kept = {name: form.data[name] for name in ("form", "species", "place")}
    return f"{reverse('where')}?{urlencode({'first': first, 'last': last, **kept})}"
