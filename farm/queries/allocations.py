"""What is set aside for orders: which lots, how much of it still stands, and what is free.

An allocation is a promise written down (`farm.models.Allocation`). What became of it is read here:
what was delivered since, orders that were called off or are closed, and lots on hold or short
release it by themselves. So all that is set aside of a lot is never more than is on hand.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import Enum

from django.db.models import Exists, OuterRef, QuerySet

from farm.models import Allocation, AllocationLine, DeliveryNote, Order, OrderLine, Stage
from farm.queries.keeping import keeps_until
from farm.queries.orders import Asked, DueOrder, due_on_days, fits, orders
from farm.queries.stock import located, lots_on_hand
from ledger.models import Lot


class Standing(Enum):
    """What became of what was set aside of a lot."""

    STANDS = "set aside"
    HELD = "released: the lot is on hold"
    GONE = "released: no longer there"


@dataclass(frozen=True)
class SetAside:
    """``promised`` is what is still to be given as it was written, ``quantity`` what stands."""

    due: DueOrder
    line: OrderLine
    lot: Lot
    promised: int
    quantity: int

    @property
    def standing(self) -> Standing:
        if self.quantity == self.promised:
            return Standing.STANDS
        return Standing.HELD if self.lot.held else Standing.GONE


def set_aside(*, order: Order | None = None, of: Collection[int] | None = None) -> list[SetAside]:
    """All that is set aside, the first day first; ``order``: look at one order's days alone.

    ``of``: of these lots alone, by pk; where none of them was promised it is one query. The
    promise for the earlier day comes first where a lot no longer holds all of them, then the one
    made earlier. At most nine queries.
    """
    latest = _latest(of)
    if not any(order is None or one.order_id == order.pk for one in latest):
        return []
    lines = _lines(latest)
    days = [(one.order_id, one.due_on) for one in latest]
    found = {one.pk: one for one in orders().filter(pk__in={pk for pk, _ in days})}
    due = {(one.order.pk, one.day): one for one in due_on_days((found[pk], d) for pk, d in days)}
    left: dict[int, int] = {}
    parts = []
    for made in latest:
        one = due[made.order_id, made.due_on]
        if one.is_open:
            parts += list(_standing(lines[made.pk], one, after=made.after_entry, left=left))
    if order is not None:
        parts = [part for part in parts if part.due.order == order]
    if of is not None:
        parts = [part for part in parts if part.lot.pk in of]
    located(part.lot for part in parts)
    return parts


def taken_of(parts: Iterable[SetAside]) -> dict[int, int]:
    """Add up what stands by lot."""
    taken: dict[int, int] = defaultdict(int)
    for part in parts:
        taken[part.lot.pk] += part.quantity
    return taken


def suggested(due: DueOrder) -> dict[int, int]:
    """Lots to give for what is missing, by pk: those that keep long enough, soonest over first.

    What is set aside for this day comes first, also where a hand chose another lot; the rest comes
    of what is set aside for nobody.
    """
    parts = set_aside()
    mine = [part for part in parts if _is_for(part, due)]
    taken = {pk: quantity for pk, quantity in taken_of(mine).items() if quantity}
    others = taken_of(part for part in parts if not _is_for(part, due))
    lots = sellable(due)
    for asked in due.asked:
        wanted = asked.missing - sum(part.quantity for part in mine if part.line == asked.line)
        for lot in lots:
            free = lot.quantity - others.get(lot.pk, 0) - taken.get(lot.pk, 0)
            if wanted > 0 and free > 0 and fits(asked.line, lot):
                give = min(wanted, free)
                taken[lot.pk] = taken.get(lot.pk, 0) + give
                wanted -= give
    return taken


def sellable(due: DueOrder) -> list[Lot]:
    """Picks, dried and packs on hand, not on hold, that keep long enough for an order.

    On the day they are delivered they must keep for as long as the customer asks; what is over
    soonest stands first, then what was picked first.
    """
    last = due.day + timedelta(days=due.order.customer.least_days)
    lots = lots_on_hand(Stage.PACKS, Stage.CROP, Stage.DRIED)
    return sorted((lot for lot in lots if not lot.held and keeps(lot, last)), key=_soonest)


def keeps(lot: Lot, day: date) -> bool:
    last = keeps_until(lot.card)
    return last is None or last >= day


# --- parts -----------------------------------------------------------------------------------


def _latest(of: Collection[int] | None = None) -> list[Allocation]:
    """The last allocation of each day of an order, by day and then as they were made.

    Days that a delivery closed are left out: however many years there are, few are open. ``of``:
    those alone that name one of these lots; what they leave of it depends on no others.
    """
    closing = DeliveryNote.objects.filter(
        order=OuterRef("order"), due_on=OuterRef("due_on"), rest_follows=False
    ).exclude(sale__entry__amendments__takes_back=True)
    later = Allocation.objects.filter(
        order=OuterRef("order"), due_on=OuterRef("due_on"), pk__gt=OuterRef("pk")
    )
    rows = Allocation.objects.filter(~Exists(closing), ~Exists(later)).order_by("due_on", "pk")
    return list(rows if of is None else rows.filter(Exists(_naming(of))))


def _naming(lots: Collection[int]) -> QuerySet[AllocationLine]:
    return AllocationLine.objects.filter(allocation=OuterRef("pk"), lot__in=lots)


def _lines(made: Sequence[Allocation]) -> dict[int, list[AllocationLine]]:
    rows = AllocationLine.objects.filter(allocation__in=made).select_related(
        "order_line__product", "order_line__species", "lot__item", "lot__made_by",
        "lot__card__species", "lot__card__product",
    ).order_by("pk")  # fmt: skip
    lines: dict[int, list[AllocationLine]] = defaultdict(list)
    for row in rows:
        lines[row.allocation_id].append(row)
    return lines


def _standing(
    rows: Sequence[AllocationLine], due: DueOrder, *, after: int, left: dict[int, int]
) -> Iterator[SetAside]:
    """What of an allocation stands; takes it off what is ``left`` of each lot."""
    asked = {one.line.pk: one for one in due.asked}
    missing = {pk: one.missing for pk, one in asked.items()}
    for row in rows:
        line = asked[row.order_line_id]
        given = _given_since(line, row.lot_id, after)
        promised = max(0, min(row.quantity - given, missing[row.order_line_id]))
        if not promised:
            continue
        missing[row.order_line_id] -= promised
        there = left.setdefault(row.lot_id, 0 if row.lot.held else row.lot.quantity)
        stands = min(promised, there)
        left[row.lot_id] -= stands
        yield SetAside(due, line.line, row.lot, promised, stands)


def _given_since(asked: Asked, lot: int, after: int) -> int:
    return sum(one.quantity for one in asked.given if one.lot.pk == lot and one.entry > after)


def _is_for(part: SetAside, due: DueOrder) -> bool:
    return (part.due.order.pk, part.due.day) == (due.order.pk, due.day)


def _soonest(lot: Lot) -> tuple[date, date, int]:
    card = lot.card
    return keeps_until(card) or date.max, card.harvested_on or date.max, lot.pk


def words_of(parts: Sequence[SetAside]) -> str:
    """Name who a lot is promised to: “The Anchor on 2026-09-11 (order 3)”."""
    named = (f"{p.due.order.customer} on {p.due.day} (order {p.due.order.pk})" for p in parts)
    return ", ".join(dict.fromkeys(named))
