"""What the book itself says that belongs in the binder: runs, drying, picks, packing."""

import json
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Sum

from farm.models import RunReadings
from farm.queries.entries import EntryRow, entries, rows_of
from ledger.models import Line, Lot


@dataclass(frozen=True)
class Moved:
    """What an entry says of a lot, as corrected since; ``gave_mg``: what was picked off it."""

    lot: Lot
    role: str
    quantity: int
    gave_mg: int


@dataclass(frozen=True)
class BookRow:
    row: EntryRow
    moved: tuple[Moved, ...]
    said: Mapping[str, Any]
    is_corrected: bool


def book_rows(kind: str, first: date, last: date) -> list[BookRow]:
    """Entries of a kind on some days, oldest first, as they stand; six queries."""
    found = entries().filter(kind=kind, amends=None, happened_on__range=(first, last))
    rows = rows_of(found.order_by("happened_at", "seq"))
    moved = _moved([row.entry.seq for row in rows])
    corrected = set(
        entries().filter(amends__in=[row.entry.pk for row in rows], takes_back=False)
        .order_by().values_list("amends", flat=True)
    )  # fmt: skip
    return [
        BookRow(row, tuple(moved[row.entry.seq]), json.loads(row.entry.particulars),
                row.entry.seq in corrected)
        for row in rows
    ]  # fmt: skip


def readings_in(first: date, last: date) -> dict[int, RunReadings]:
    """The standing set of readings of each run on some days, by the run's entry."""
    rows = RunReadings.objects.filter(entry__happened_on__range=(first, last))
    return {row.entry_id: row for row in rows.select_related("entry").order_by("pk")}


def _moved(seqs: Sequence[int]) -> dict[int, list[Moved]]:
    """Add up the lines of entries with those of their amendments, lot by lot; two queries."""
    sums = (
        Line.objects.filter(entry__place__in=seqs)
        .values_list("entry__place", "lot", "role")
        .annotate(Sum("quantity"), Sum("given_mg"))
        .order_by("entry__place", "lot")
    )
    rows = list(sums)
    lots = Lot.objects.select_related("item", "card").in_bulk({row[1] for row in rows})
    found: dict[int, list[Moved]] = defaultdict(list)
    for seq, lot, role, quantity, given_mg in rows:
        found[seq].append(Moved(lots[lot], role, quantity, given_mg))
    return found
