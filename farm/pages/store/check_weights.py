"""Check weights: /check-weights/ shows what was weighed, and how full to fill."""

from django.http import HttpResponse

from farm.pages.access import PageRequest, Right, page
from farm.pages.report_files import handed_out, made_by
from farm.pages.store.packing_forms import small_unit
from farm.queries.store.check_weights import fillings, weighings
from farm.reports.store.check_weight_rows import check_weight_report


@page(Right.SEE_WORK)
def check_weights(request: PageRequest) -> HttpResponse:
    unit = request.farm.weight_unit
    report = check_weight_report(
        weighings(unit), fillings(unit), unit=small_unit(request.farm), made=made_by(request)
    )
    return handed_out(request, report, name="check-weights", codes_lead_to="lot")
