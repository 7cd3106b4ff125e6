"""Plan against actual: /against-plan/ asks for a batch or a month; below it stand the answers."""

from dataclasses import dataclass

from django.http import Http404, HttpResponse, HttpResponseRedirect
from django.urls import reverse

from farm.kinds.growing import INOCULATE_BLOCKS
from farm.models import Stage
from farm.pages.access import PageRequest, Right, page
from farm.pages.frame import show
from farm.pages.report_files import handed_out, made_by
from farm.pages.report_page import Way
from farm.queries.costs.against_plan import batch_against, month_against
from farm.queries.finding import UnknownLotError, find_lot
from farm.queries.months.months import Month, NoMonthError, month_of, months_kept
from farm.reports.costs.against_rows import batch_against_report, month_against_report
from ledger.models import Lot

NEWEST = 12


@dataclass(frozen=True)
class AskPage:
    typed: str
    refusal: str
    batches: tuple[Lot, ...]
    months: tuple[Month, ...]


@page(Right.SEE_COSTS)
def against_plan(request: PageRequest) -> HttpResponse:
    """Ask for a batch by its code, or for a month."""
    typed, refusal = request.GET.get("of", "").strip(), ""
    if typed:
        try:
            return HttpResponseRedirect(reverse("against-of", args=[_key(typed)]))
        except UnknownLotError as error:
            refusal = str(error)
    blocks = Lot.objects.filter(card__stage=Stage.BLOCKS, made_by__kind=INOCULATE_BLOCKS)
    newest = blocks.select_related("item", "made_by").order_by("-pk")[:NEWEST]
    shown = AskPage(typed, refusal, tuple(newest), tuple(months_kept()[:NEWEST]))
    return show(request, "farm/answers/ask_against.html", shown)


@page(Right.SEE_COSTS)
def against_of(request: PageRequest, key: str) -> HttpResponse:
    """Show a month (2026-10) or a batch (the code of one of its lots) against plan."""
    if "-" in key:
        return _month(request, key)
    try:
        lot = find_lot(key)
    except UnknownLotError as refusal:
        raise Http404(str(refusal)) from refusal
    found = batch_against(lot)
    if found is None:
        raise Http404(
            f"Lot {lot.code} has no plan to be held against: only blocks have one, once their "
            "recipe, strain, prices and rates are known."
        )
    others = (Way("Cost", reverse("cost-of", args=[lot.code])),)
    report = batch_against_report(found, made_by(request))
    return handed_out(request, report, name=f"against-plan-{lot.code}", others=others)


def _month(request: PageRequest, key: str) -> HttpResponse:
    try:
        month = month_of(key)
    except NoMonthError as refusal:
        raise Http404(str(refusal)) from refusal
    report = month_against_report(month_against(month), made_by(request))
    others = (Way("The month", reverse("month-of", args=[month.key])),)
    return handed_out(
        request, report, name=f"against-plan-{month.key}", others=others, codes_lead_to="against-of"
    )


def _key(typed: str) -> str:
    """A month as it is written in addresses, or the code of the lot that was meant."""
    try:
        return month_of(typed).key
    except NoMonthError:
        return find_lot(typed).code
