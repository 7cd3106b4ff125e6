"""Drying over time: each run with its mass balance, each species with its ratio."""

from collections.abc import Sequence

from django.http import HttpResponse
from django.urls import reverse

from farm.models import Species
from farm.pages.access import PageRequest, Right, get_or_refuse, page
from farm.pages.addresses import number_named
from farm.pages.report_files import handed_out, made_by
from farm.pages.report_page import Way
from farm.queries.store.dryings import Drying, dryings
from farm.reports.store.drying_rows import drying_report


@page(Right.SEE_WORK)
def drying_runs(request: PageRequest) -> HttpResponse:
    """All runs, or with ?species= those of one; ?file= takes them away."""
    chosen: Species | None = None
    if (pk := number_named(request.GET.get("species", ""))) is not None:
        chosen = get_or_refuse(request, Species.objects.all(), Right.SEE_WORK, pk=pk)
    every = dryings()
    runs = [one for one in every if chosen in (None, one.species)]
    report = drying_report(runs, request.farm, made_by(request), of=str(chosen or "Every species"))
    others = _ways(every, chosen)
    return handed_out(request, report, name="drying", others=others, codes_lead_to="lot")


def _ways(runs: Sequence[Drying], chosen: Species | None) -> tuple[Way, ...]:
    address = reverse("drying-runs")
    dried = sorted({one.species for one in runs}, key=str)
    ways = [Way(str(one), f"{address}?species={one.pk}", is_here=one == chosen) for one in dried]
    return (Way("Every species", address, is_here=chosen is None), *ways)
