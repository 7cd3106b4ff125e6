"""What was asked for, what was given for it, and what is free to be promised."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import Enum

from django.db.models import Q, QuerySet, Sum

from farm.models import DeliveredLine, DeliveryNote, Grade, Order, OrderLine, Species, Stage
from farm.queries.stock import lots_on_hand
from farm.units import show_both
from ledger.models import Dimension, Line, Lot, Role

WEEK = timedelta(days=7)


class State(Enum):
    OPEN = "open"
    REST = "the rest follows"
    SHORT = "delivered short"
    DONE = "delivered"
    OFF = "called off"


@dataclass(frozen=True)
class Given:
    """What a standing delivery gave for a line of an order, as corrected since."""

    lot: Lot
    quantity: int
    what: str
    is_substitute: bool


@dataclass(frozen=True)
class Asked:
    """A line of an order on one of its days: packs, or mg of what is loose."""

    line: OrderLine
    given: tuple[Given, ...]

    @property
    def missing(self) -> int:
        """What is still short; a substitute counts piece for piece, or as all if weighed apart."""
        dimension = Dimension.COUNT if self.line.product else Dimension.MASS
        if any(one.lot.item.dimension != dimension for one in self.given):
            return 0
        return max(0, self.line.quantity - sum(one.quantity for one in self.given))


@dataclass(frozen=True)
class DueOrder:
    """An order on one of its days."""

    order: Order
    day: date
    state: State
    asked: tuple[Asked, ...]

    def __str__(self) -> str:
        return f"{self.order.customer}, {self.day:%a %-d %b}: {self.in_words}"

    @property
    def in_words(self) -> str:
        """What was asked: “10 Oyster, 200 g; 2.00 kg · 4.41 lb Oyster, loose”."""
        return "; ".join(
            f"{one.line.quantity if one.line.product else show_both(one.line.quantity)} {one.line}"
            for one in self.asked
        )

    @property
    def is_open(self) -> bool:
        return self.state in (State.OPEN, State.REST)


def orders() -> QuerySet[Order]:
    """Every order with its lines and stops, the newest first."""
    rows = Order.objects.select_related("customer__place", "by").order_by("-due_on", "-pk")
    return rows.prefetch_related("lines__product__species", "lines__species", "stops")


def standing_notes() -> QuerySet[DeliveryNote]:
    """Delivery notes whose sale was not taken back."""
    rows = DeliveryNote.objects.exclude(sale__entry__amendments__takes_back=True)
    return rows.select_related("sale__entry", "sale__customer", "order")


def due_between(first: date, last: date) -> list[DueOrder]:
    """Every order's days in a span, called off or not, by day; five queries."""
    found = orders().filter(Q(weekly=True) | Q(due_on__gte=first), due_on__lte=last)
    days = [(order, day) for order in found for day in days_of(order, first, last)]
    given = _given([order.pk for order, _ in days])
    closed = _closed([order.pk for order, _ in days])
    due = [_due(order, day, given=given, closed=closed) for order, day in days]
    return sorted(due, key=lambda one: (one.day, one.order.customer.name, one.order.pk))


def due_order(order: Order, day: date) -> DueOrder | None:
    """One order on one day; None where it is not due then."""
    if day not in days_of(order, day, day):
        return None
    return _due(order, day, given=_given([order.pk]), closed=_closed([order.pk]))


def days_of(order: Order, first: date, last: date) -> list[date]:
    """The days of a span on which an order is due, also where it was called off."""
    if not order.weekly:
        return [order.due_on] if first <= order.due_on <= last else []
    weeks = max(0, -(-(first - order.due_on).days // 7))
    day, days = order.due_on + weeks * WEEK, []
    while day <= last:
        days.append(day)
        day += WEEK
    return days


def called_off(order: Order, day: date) -> bool:
    return any(stop.from_day <= day for stop in order.stops.all())


# --- what can be promised --------------------------------------------------------------------


def free_mg(line: OrderLine, due: date, today: date) -> int:
    """Weight of a line's species and form that is free to be promised for a day; may be below 0.

    What is on hand and still keeps on a day, and what is planned to be picked until then, less
    what is promised until then: the least of these from the day on, so that a promise made
    earlier for a later day keeps its goods. 10 kg on hand, 4 kg promised for Friday: 6 kg free
    for Thursday.
    """
    species, is_fresh = species_of(line), is_fresh_line(line)
    last = due + timedelta(days=species.fridge_days if is_fresh else 0)
    promised: dict[date, int] = defaultdict(int)
    for one in due_between(today, last):
        for asked in one.asked if one.is_open else ():
            if species_of(asked.line) == species and is_fresh_line(asked.line) == is_fresh:
                promised[one.day] += mass_mg(asked.line, asked.missing)
    lots = [lot for lot in lots_on_hand() if _is_of(lot, species.pk, is_fresh)]
    left = []
    for day in {due, *(one for one in promised if one > due)}:
        there = sum(_mass_of(lot) for lot in lots if keeps_until(lot, day))
        coming = _planned_mg(species.pk, today, day) if is_fresh else 0
        taken = sum(mass for one, mass in promised.items() if one <= day)
        left.append(there + coming - taken)
    return min(left)


def allocation(due: DueOrder) -> dict[int, int]:
    """Lots to give for what is missing, by pk: those that keep until the day, oldest first."""
    lots, taken = sellable(due.day), {}
    for asked in due.asked:
        wanted = asked.missing
        for lot in lots:
            if wanted and lot.pk not in taken and fits(asked.line, lot):
                taken[lot.pk] = min(wanted, lot.quantity)
                wanted -= taken[lot.pk]
    return taken


def sellable(day: date) -> list[Lot]:
    """Picks, dried and packs on hand that are not on hold and keep until a day, oldest first."""
    lots = lots_on_hand(Stage.PACKS, Stage.CROP, Stage.DRIED)
    kept = [lot for lot in lots if not lot.held and keeps_until(lot, day)]
    return sorted(kept, key=lambda lot: (lot.card.harvested_on or day, lot.pk))


def agreed_price(due: DueOrder, lot: Lot) -> int | None:
    """The price of a pack or a kg that the order names for what a lot is; None: the price list."""
    found = (one.line.unit_money for one in due.asked if fits(one.line, lot))
    return next(found, None)


def fits(line: OrderLine, lot: Lot) -> bool:
    """Say whether a lot is what a line asks for; seconds and trim are given by hand only."""
    if line.product_id:
        return bool(lot.card.product_id == line.product_id and lot.card.stage == Stage.PACKS)
    is_good = lot.card.grade in ("", Grade.FIRSTS)
    return bool(lot.card.stage == Stage.CROP and is_good and lot.card.species_id == line.species_id)


def keeps_until(lot: Lot, day: date) -> bool:
    card = lot.card
    if card.best_before:
        return bool(card.best_before >= day)
    is_fresh = card.stage == Stage.CROP or (card.product and card.product.form == "fresh")
    if not is_fresh or not card.harvested_on or not card.species:
        return True
    return bool(card.harvested_on + timedelta(days=card.species.fridge_days) >= day)


def species_of(line: OrderLine) -> Species:
    species = line.product.species if line.product else line.species
    assert species, "a line is of a product or of a species"
    return species


def is_fresh_line(line: OrderLine) -> bool:
    return not line.product or line.product.form == "fresh"


def mass_mg(line: OrderLine, quantity: int) -> int:
    return quantity * line.product.net_mg if line.product else quantity


# --- parts -----------------------------------------------------------------------------------


def _due(
    order: Order,
    day: date,
    *,
    given: dict[tuple[int, date], list[Given]],
    closed: dict[tuple[int, date], bool],
) -> DueOrder:
    asked = tuple(Asked(line, tuple(given.get((line.pk, day), ()))) for line in order.lines.all())
    return DueOrder(order, day, _state(order, day, asked=asked, closed=closed), asked)


def _state(
    order: Order, day: date, *, asked: Sequence[Asked], closed: dict[tuple[int, date], bool]
) -> State:
    is_closed = closed.get((order.pk, day))
    if is_closed is None:
        return State.OFF if called_off(order, day) else State.OPEN
    if not any(one.missing for one in asked):
        return State.DONE
    if is_closed:
        return State.SHORT
    return State.OFF if called_off(order, day) else State.REST


def _closed(order_pks: Sequence[int]) -> dict[tuple[int, date], bool]:
    """Say of each day with a standing note whether the last one closed it; one query."""
    notes = standing_notes().filter(order__in=order_pks).order_by("pk")
    return {(note.order_id or 0, note.due_on): not note.rest_follows for note in notes}


def _given(order_pks: Sequence[int]) -> dict[tuple[int, date], list[Given]]:
    """What was given by line and day; two queries."""
    rows = DeliveredLine.objects.filter(order_line__order__in=order_pks)
    rows = rows.exclude(note__sale__entry__amendments__takes_back=True).select_related(
        "note", "order_line", "sale_line__product", "sale_line__line__entry",
        "sale_line__line__lot__item", "sale_line__line__lot__card__species",
    ).order_by("pk")  # fmt: skip
    found = list(rows)
    now = _sold_now(row.sale_line.line for row in found)
    given: dict[tuple[int, date], list[Given]] = defaultdict(list)
    for row in found:
        line = row.sale_line.line
        given[row.order_line_id, row.note.due_on].append(
            Given(
                lot=line.lot,
                quantity=now[line.entry_id, line.lot_id],
                what=str(row.sale_line.product or line.lot.item),
                is_substitute=not fits(row.order_line, line.lot),
            )
        )
    return given


def _sold_now(lines: Iterable[Line]) -> dict[tuple[int, int], int]:
    """What lines of sales say now, corrections added; one query."""
    entries = {line.entry_id for line in lines}
    rows = Line.objects.filter(entry__place__in=entries, role=Role.SOLD).order_by()
    sums = rows.values_list("entry__place", "lot").annotate(Sum("quantity"))
    return {(entry, lot): -quantity for entry, lot, quantity in sums}


def _is_of(lot: Lot, species_pk: int, is_fresh: bool) -> bool:
    """Say whether a lot can serve orders of a species; what is loose can still be packed."""
    card, product = lot.card, lot.card.product
    if lot.held or card.grade not in ("", Grade.FIRSTS):
        return False
    if product and card.stage == Stage.PACKS:
        return product.species_id == species_pk and (product.form == "fresh") == is_fresh
    stage = Stage.CROP if is_fresh else Stage.DRIED
    return card.species_id == species_pk and card.stage == stage


def _mass_of(lot: Lot) -> int:
    product = lot.card.product
    return lot.quantity * product.net_mg if product else lot.quantity


def _planned_mg(species_pk: int, today: date, day: date) -> int:
    """What the blocks on hand are planned to give after today until a day, by their strain.

    A flush that is overdue is not counted: nobody knows whether it comes.
    """
    total = 0
    for lot in lots_on_hand(Stage.BLOCKS):
        strain = lot.card.strain
        if lot.held or not strain or strain.species_id != species_pk:
            continue
        flush, picked_on = _last_flush(lot)
        when = picked_on + timedelta(days=strain.flush_gap_days) if picked_on else None
        when = when or lot.made_by.happened_on + timedelta(days=strain.first_pick_days)
        good_ppm = 1_000_000 - (0 if picked_on else strain.planned_loss_ppm)
        for per_block_mg in strain.flushes_mg[flush:]:
            if today < when <= day:
                total += per_block_mg * lot.quantity * good_ppm // 1_000_000
            when += timedelta(days=strain.flush_gap_days)
    return total


def _last_flush(lot: Lot) -> tuple[int, date | None]:
    """The last flush picked of a block lot, and when; one query."""
    picks = lot.edges_out.filter(dst__card__stage=Stage.CROP, dst__card__flush__isnull=False)
    last = picks.order_by("-dst__card__flush", "-dst__card__harvested_on").values_list(
        "dst__card__flush", "dst__card__harvested_on"
    )
    flush, day = last.first() or (0, None)
    return flush or 0, day
