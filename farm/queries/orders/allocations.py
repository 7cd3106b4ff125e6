"""What is set aside for orders: which lots, how much of it still stands, and what is free.

An allocation is a promise written down (`farm.models.Allocation`). What became of it is read here:
what was delivered since, orders that were called off or are closed, and lots on hold or short
release it by themselves. So all that is set aside of a lot is never more than is on hand.
"""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import Enum

from django.db.models import Exists, OuterRef

from farm import habits
from farm.models import Allocation, AllocationLine, Order, OrderLine, Stage
from farm.queries.keeping import keeps_until
from farm.queries.orders.orders import Asked, DueOrder, due_or_late, fits, given_on, of_open_days
from farm.queries.stock import located, lots_on_hand
from ledger.amounts import in_turn
from ledger.models import Lot

GIVEN = (Stage.PACKS, Stage.CROP, Stage.DRIED)


class Standing(Enum):
    """What became of what was set aside of a lot."""

    STANDS = "set aside"
    HELD = "released: the lot is on hold"
    GONE = "released: no longer there"


@dataclass(frozen=True)
class SetAside:
    """``promised`` is what is still to be given as it was written, ``quantity`` what stands."""

    order: Order
    day: date
    line: OrderLine
    lot: Lot
    promised: int
    quantity: int

    def is_for(self, due: DueOrder) -> bool:
        return (self.order, self.day) == (due.order, due.day)

    @property
    def standing(self) -> Standing:
        if self.quantity == self.promised:
            return Standing.STANDS
        return Standing.HELD if self.lot.held else Standing.GONE


def set_aside(*, order: Order | None = None, of: Collection[int] | None = None) -> list[SetAside]:
    """All that is set aside, the first day first; ``order``: look at one order's days alone.

    ``of``: of these lots alone, by pk; where none of them was promised it is one query. The
    promise for the earlier day comes first where a lot no longer holds all of them, then the one
    made earlier. Two queries.
    """
    rows = _lines(of)
    if not any(order is None or row.allocation.order == order for row in rows):
        return []
    parts = _standing(rows)
    if order is not None:
        parts = (part for part in parts if part.order == order)
    if of is not None:
        parts = (part for part in parts if part.lot.pk in of)
    return list(parts)


def to_pack(day: date, today: date) -> tuple[list[SetAside], list[DueOrder]]:
    """What is set aside for a day, with where it stands, and the day's orders; eight queries.

    What is late is packed today: orders of the last two weeks that still wait.
    """
    due = due_or_late(day, today)
    parts = [part for part in set_aside() if any(part.is_for(one) for one in due)]
    located(part.lot for part in parts)
    return parts, due


def taken_of(parts: Iterable[SetAside]) -> dict[int, int]:
    """Add up what stands by lot."""
    taken: dict[int, int] = defaultdict(int)
    for part in parts:
        taken[part.lot.pk] += part.quantity
    return taken


def suggested(
    due: DueOrder, lots: Sequence[Lot], *, before: Sequence[DueOrder] = ()
) -> dict[int, int]:
    """Lots (of `sellable`) to give for what is missing, by pk: what is over soonest comes first.

    What is set aside for this day comes first, also where a hand chose another lot; the rest comes
    of what is set aside for nobody. ``before``: stops that are given first, on a round that is
    written down as a whole; what they take is not offered once more.
    """
    parts = set_aside()
    spoken_for = Counter(taken_of(parts))
    there = lots_on_hand(*GIVEN) if before else []
    for stop in before:
        fitting = _that_keep(there, stop)
        spoken_for += _of_free(stop, fitting, parts=parts, spoken_for=spoken_for)
    mine = taken_of(part for part in parts if part.is_for(due))
    return dict(Counter(mine) + _of_free(due, lots, parts=parts, spoken_for=spoken_for))


def sellable(due: DueOrder) -> list[Lot]:
    """Picks, dried and packs on hand, not on hold, that keep long enough for an order.

    On the day they are delivered they must keep for as long as the customer asks; what is over
    soonest stands first, then what was picked first.
    """
    return _that_keep(lots_on_hand(*GIVEN), due)


def keeps(lot: Lot, day: date) -> bool:
    last = keeps_until(lot.card)
    return last is None or last >= day


# --- parts -----------------------------------------------------------------------------------


def _that_keep(lots: Sequence[Lot], due: DueOrder) -> list[Lot]:
    last = due.day + timedelta(days=due.order.customer.least_days)
    return sorted((lot for lot in lots if not lot.held and keeps(lot, last)), key=_soonest)


def _of_free(
    due: DueOrder,
    lots: Sequence[Lot],
    *,
    parts: Sequence[SetAside],
    spoken_for: Mapping[int, int],
) -> Counter[int]:
    """What a day still takes, by lot, of what nobody else was promised."""
    mine = [part for part in parts if part.is_for(due)]
    taken: Counter[int] = Counter()
    for asked in due.asked:
        wanted = asked.missing - sum(part.quantity for part in mine if part.line == asked.line)
        fitting = [lot for lot in lots if fits(asked.line, lot)]
        free = [lot.quantity - spoken_for.get(lot.pk, 0) - taken[lot.pk] for lot in fitting]
        given, _ = in_turn(wanted, free)
        taken.update({lot.pk: part for lot, part in zip(fitting, given, strict=True)})
    return taken


def _lines(of: Collection[int] | None) -> list[AllocationLine]:
    """Every line of the last allocation of each open day, by day and then as they were made.

    However many years there are, few days are open. ``of``: of those alone that name one of these
    lots; what they leave of it depends on no others.
    """
    later = Allocation.objects.filter(
        order=OuterRef("order"), due_on=OuterRef("due_on"), pk__gt=OuterRef("pk")
    )
    latest = of_open_days(Allocation.objects.filter(~Exists(later)))
    if of is not None:
        naming = AllocationLine.objects.filter(allocation=OuterRef("pk"), lot__in=of)
        latest = latest.filter(Exists(naming))
    rows = AllocationLine.objects.filter(allocation__in=latest.order_by()).select_related(
        "allocation__order__customer",
        "order_line__product",
        "order_line__species",
        "lot__item",
        "lot__made_by",
        "lot__card__species",
        "lot__card__product",
    )
    return list(rows.order_by("allocation__due_on", "allocation", "pk"))


def _standing(rows: Sequence[AllocationLine]) -> Iterator[SetAside]:
    """Say what of each line stands, as far as it is missing and the lot still holds it."""
    given = given_on({(row.allocation.order_id, row.allocation.due_on) for row in rows})
    missing: dict[tuple[int, date], int] = {}
    left: dict[int, int] = {}
    for row in rows:
        made, key = row.allocation, (row.order_line_id, row.allocation.due_on)
        asked = Asked(row.order_line, tuple(given.get(key, ())))
        since = _given_since(asked, row.lot_id, made.after_entry)
        there = missing.get(key, asked.missing)
        [promised], missing[key] = in_turn(there, [row.quantity - since])
        if not promised:
            continue
        on_hand = left.get(row.lot_id, 0 if row.lot.held else row.lot.quantity)
        [stands], left[row.lot_id] = in_turn(on_hand, [promised])
        yield SetAside(made.order, made.due_on, row.order_line, row.lot, promised, stands)


def _given_since(asked: Asked, lot: int, after: int) -> int:
    return sum(one.quantity for one in asked.given if one.lot.pk == lot and one.entry > after)


def _soonest(lot: Lot) -> tuple[date, date, int]:
    card = lot.card
    return keeps_until(card) or date.max, card.harvested_on or date.max, lot.pk


def words_of(parts: Sequence[SetAside]) -> str:
    """Name who a lot is promised to: “The Anchor on Fri 11 Sep 2026 (order 3)”."""
    named = (f"{p.order.customer} on {habits.day(p.day)} (order {p.order.pk})" for p in parts)
    return ", ".join(dict.fromkeys(named))
