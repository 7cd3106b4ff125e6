"""Plan against actual, of a batch or a month: /cost/<lot or month>/against-plan/."""

from django.http import Http404, HttpResponse
from django.urls import reverse

from farm.pages.access import PageRequest, Right, page
from farm.pages.report_files import handed_out, made_by
from farm.pages.report_page import Way
from farm.queries.costs.against_plan import batch_against, month_against
from farm.queries.finding import UnknownLotError, find_lot
from farm.queries.months.months import NoMonthError, month_of
from farm.reports.costs.against_rows import batch_against_report, month_against_report


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
