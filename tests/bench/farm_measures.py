"""What is measured of the farm's own questions: the trace pages, and the close of a month."""

from collections.abc import Callable, Iterable
from datetime import date, timedelta
from functools import partial
from typing import Any, NamedTuple, cast

from django.db.models import Model, QuerySet

from farm.models import LoadLine, LotCard, Placing, Sale
from farm.queries.months.canonical import rows_of
from farm.queries.months.closings import earliest_open
from farm.queries.months.months import Month
from farm.queries.tracing.reach import reach_of
from farm.queries.tracing.suspects import suspect_supplier_lot
from farm.queries.tracing.traces import trace_of
from farm.reports.report_heading import Made
from ledger.models import Edge, Entry, Flow, Lot
from ledger.tracing import ancestors, descendants
from tests.bench.farm_rows import BAD, FarmRows
from tests.bench.farm_years import START, FarmYears
from tests.bench.timing import median, show, spent
from tests.farm.closed import close
from tests.farm.world import World

AT = START + timedelta(days=400)
MADE = Made("Long Lane, Lowfield", "EUR", "OW", AT)


class Closed(NamedTuple):
    """Seconds of the canonical rows of the whole span, and of one whole close of a month."""

    rows: float
    close: float


def measure_traces(years: FarmYears, rows: FarmRows) -> None:
    suspects = suspect_supplier_lot(rows.supplier, BAD)
    reached = descendants(suspects.lots)
    _beside_keys("reach of the planted lot", partial(reach_of, suspects), reached)
    lot = Lot.objects.select_related("item").get(pk=years.planted)
    _beside_keys("trace page of a delivery", partial(trace_of, lot), reached)
    pack = Lot.objects.select_related("item").get(pk=years.loads[-1].packs[0])
    back = ancestors([pack.pk])
    _beside_keys("trace page of a pack", partial(trace_of, pack), back)


def measure_closing(rows: FarmRows) -> Closed:
    """Work the year's rows as if it were one month, and close two months; the second counts."""
    year = Month(START.date(), date(START.year, 12, 31))
    worked = spent(partial(rows_of, year))
    seconds = [spent(partial(_close, rows)) for _ in range(2)]
    print(f"{'rows of a month with every line':44} {worked * 1e3:10.3f} ms")
    print(f"{'close a month, book checked, files made':44} {seconds[1] * 1e3:10.3f} ms")
    return Closed(worked, seconds[1])


def _close(rows: FarmRows) -> None:
    month = earliest_open()
    assert month
    close(cast(World, rows), month, AT)  # of its world, closing asks only for the owner


def _beside_keys(name: str, ours: Callable[[], object], lots: Iterable[int]) -> None:
    """Compare a page's data with fetching the rows that it is made of, each by its key."""
    asked = [_by_key(found) for found in _rows_about(set(lots))]
    count = sum(len(query) for query in asked)
    plain = median(lambda: [list(query.all()) for query in asked], runs=9)
    show(f"{name} ({count} rows)", median(ours, runs=9), plain, "no goal")


def _rows_about(lots: set[int]) -> list[QuerySet[Any]]:
    flows = Flow.objects.filter(lot__in=lots)
    entries = Entry.objects.filter(flows__lot__in=lots).distinct()
    return [
        Lot.objects.filter(pk__in=lots),
        LotCard.objects.filter(pk__in=lots),
        Edge.objects.filter(src__in=lots, dst__in=lots),
        flows,
        entries,
        Sale.objects.filter(entry__in=entries),
        LoadLine.objects.filter(lot__in=lots),
        Placing.objects.filter(lot__in=lots),
    ]


def _by_key(found: QuerySet[Model]) -> QuerySet[Any, Any]:
    keys = list(found.values_list("pk", flat=True))
    return found.model._default_manager.filter(pk__in=keys).values_list()
