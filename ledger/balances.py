"""Quantity and cost on hand, today or on a date."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import QuerySet, Sum

from ledger.models import KINDS, Charge, Flow, Line, Lot, Role


@dataclass(frozen=True, slots=True)
class Balance:
    """One lot on hand: quantity in the item's unit, cost by kind."""

    lot_id: int
    quantity: int
    cost: tuple[int, ...]


def on_hand(on: date | None = None) -> list[Balance]:
    """List the lots with quantity or cost on hand, at the end of a day (None: now).

    A day's figures are the worked ones: an amendment counts at the day of what it amends.
    """
    flows = Flow.objects.all()
    if on is not None:
        flows = flows.filter(entry__happened_on__lte=on)
    sums = sums_by_lot(flows).items()
    return [Balance(lot, *both) for lot, both in sums if both[0] or any(both[1])]


def held_at(moment: datetime, lots: Collection[int]) -> dict[int, int]:
    """Say what some lots held at a moment, by pk; one query.

    It is all that had happened by then, also what was recorded later.
    """
    flows = Flow.objects.filter(lot__in=lots, entry__happened_at__lte=moment)
    sums = dict(flows.values_list("lot_id").annotate(Sum("quantity")).order_by())
    return {lot: sums.get(lot, 0) for lot in lots}


def sums_by_lot(flows: QuerySet[Flow]) -> dict[int, tuple[int, tuple[int, ...]]]:
    """Add flows up to quantity and cost by lot, in the order of lots."""
    sums = [Sum(name) for name in ("quantity", *KINDS)]
    rows = flows.values_list("lot_id").annotate(*sums).order_by("lot_id")
    return {lot: (quantity, tuple(cost)) for lot, quantity, *cost in rows}


@dataclass(frozen=True, slots=True)
class Whole:
    """Where all cost of the book is, by kind: came_in = stock + sold + lost."""

    came_in: tuple[int, ...]
    stock: tuple[int, ...]
    sold: tuple[int, ...]
    lost: tuple[int, ...]


def whole_book() -> Whole:
    """Add up the whole book from its facts (what came in) and its flows (where it went)."""
    bought = Line.objects.aggregate(total=Sum("money"))["total"] or 0
    charged = dict(Charge.objects.values_list("kind").annotate(Sum("amount")).order_by())
    came_in = [charged.get(kind, 0) for kind in KINDS]
    came_in[0] += bought
    return Whole(
        tuple(came_in),
        _sums(Lot.objects.all()),
        tuple(-c for c in _sums(Flow.objects.filter(role__in=(Role.SOLD, Role.BACK)))),
        tuple(-c for c in _sums(Flow.objects.filter(role__in=(Role.LOST, Role.STRANDED)))),
    )


def _sums(rows: QuerySet[Flow] | QuerySet[Lot]) -> tuple[int, ...]:
    sums = rows.aggregate(**{f"total_{name}": Sum(name) for name in KINDS})
    return tuple(sums[f"total_{name}"] or 0 for name in KINDS)
