"""What was asked for, on which days, and what was given for it."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import Enum
from typing import TypeVar

from django.db.models import Exists, Model, OuterRef, Prefetch, Q, QuerySet, Subquery, Sum

from farm.models import (
    Customer,
    DeliveredLine,
    DeliveryNote,
    Loose,
    Order,
    OrderLine,
    OrderPause,
    OrderStop,
    Species,
)
from farm.units import show_both
from ledger.models import Dimension, Line, Lot, Role

OnDay = TypeVar("OnDay", bound=Model)
WEEK = timedelta(days=7)
ONE_DAY = timedelta(days=1)
LATE = 2 * WEEK  # what was not given on its day is late so long, and not forgotten
UNNUMBERED = 1 << 16  # behind every stop of the round that has a number


class State(Enum):
    OPEN = "open"
    REST = "the rest follows"
    SHORT = "delivered short"
    DONE = "delivered"
    OFF = "called off"
    PAUSED = "rests"


@dataclass(frozen=True)
class Given:
    """What a standing delivery (``entry``) gave for a line of an order, as corrected since."""

    entry: int
    lot: Lot
    quantity: int
    what: str
    is_substitute: bool
    rest_follows: bool


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
    rows = Order.objects.select_related("customer__place", "by", "share")
    lines = Prefetch("lines", OrderLine.objects.select_related("product__species", "species"))
    return rows.order_by("-due_on", "-pk").prefetch_related(lines, "stops", "pauses")


def standing_notes() -> QuerySet[DeliveryNote]:
    """Delivery notes whose sale was not taken back."""
    rows = DeliveryNote.objects.all().standing("sale__entry")
    return rows.select_related("sale__entry", "sale__customer", "order")


def due_between(first: date, last: date) -> list[DueOrder]:
    """Every order's days in a span, called off or not, by day and stop; five queries."""
    return due_among(orders().filter(due_from(first), due_on__lte=last), first, last)


def due_or_late(day: date, today: date) -> list[DueOrder]:
    """A day's orders; today's with what is late and still to be given; five queries."""
    first = day - LATE + ONE_DAY if day == today else day
    return [one for one in due_between(first, day) if one.day == day or one.is_open]


def due_from(first: date) -> Q:
    """Whatever may be due on a day or later."""
    return Q(every_weeks__gt=0) | Q(due_on__gte=first)


def due_among(found: Iterable[Order], first: date, last: date) -> list[DueOrder]:
    """The days in a span of some orders (of `orders()`), by day and stop; one query."""
    due = due_on_days((order, day) for order in found for day in days_of(order, first, last))
    return sorted(due, key=lambda one: (one.day, *stop_of(one.order.customer), one.order.pk))


def due_on_days(days: Iterable[tuple[Order, date]]) -> list[DueOrder]:
    """Orders (of `orders()`) on these of their days; one query."""
    found = list(days)
    if not found:
        return []
    given = given_on({(order.pk, day) for order, day in found})
    return [_due(order, day, given) for order, day in found]


def of_open_days(rows: QuerySet[OnDay]) -> QuerySet[OnDay]:
    """Those that name an order and a day of it (``due_on``) on which it is still to be given.

    What `DueOrder.is_open` says of a day, asked of the database; a day on which all was given and
    the rest was said to follow is left in.
    """
    one = {"order": OuterRef("order")}
    notes = DeliveryNote.objects.filter(**one, due_on=OuterRef("due_on")).standing("sale__entry")
    stops = OrderStop.objects.filter(**one, from_day__lte=OuterRef("due_on"))
    pauses = OrderPause.objects.filter(
        **one, first__lte=OuterRef("due_on"), last__gte=OuterRef("due_on")
    )
    open_rows = rows.filter(~Exists(notes.filter(rest_follows=False)), ~Exists(stops))
    return open_rows.filter(Exists(notes) | ~Exists(pauses))


def stop_of(customer: Customer) -> tuple[int, str]:
    """The order of the delivery round: stops with a number first, then by name."""
    return customer.stop or UNNUMBERED, customer.name


def due_order(order: Order, day: date) -> DueOrder | None:
    """One order on one day; None where it is not due then."""
    if day not in days_of(order, day, day):
        return None
    (due,) = due_on_days([(order, day)])
    return due


def days_of(order: Order, first: date, last: date) -> list[date]:
    """The days of a span on which an order is due, also where it was called off or rests.

    A share has so many boxes: one that rests comes at the end instead.
    """
    if not order.every_weeks:
        return [order.due_on] if first <= order.due_on <= last else []
    end = min(last, order.until) if order.until else last
    left = order.share.boxes if order.share else None
    day, days = order.due_on, []
    while day <= end and (left is None or left > 0):
        if day >= first:
            days.append(day)
        if left is not None and not paused(order, day):
            left -= 1
        day += order.every_weeks * WEEK
    return days


def called_off(order: Order, day: date) -> bool:
    return any(stop.from_day <= day for stop in order.stops.all())


def paused(order: Order, day: date) -> bool:
    return any(pause.first <= day <= pause.last for pause in order.pauses.all())


def fits(line: OrderLine, lot: Lot) -> bool:
    """Say whether a lot is what a line asks for: the product, or the species, state and grade."""
    return lot.card.goods == line.what


def species_of(line: OrderLine) -> Species:
    species = line.product.species if line.product else line.species
    assert species, "a line is of a product or of a species"
    return species


def is_fresh_line(line: OrderLine) -> bool:
    return (line.product.form if line.product else line.state) == Loose.FRESH


def mass_mg(line: OrderLine, quantity: int) -> int:
    return quantity * line.product.net_mg if line.product else quantity


# --- parts -----------------------------------------------------------------------------------


def _due(order: Order, day: date, given: dict[tuple[int, date], list[Given]]) -> DueOrder:
    asked = tuple(Asked(line, tuple(given.get((line.pk, day), ()))) for line in order.lines.all())
    return DueOrder(order, day, _state(order, day, asked), asked)


def _state(order: Order, day: date, asked: Sequence[Asked]) -> State:
    """A delivery gives something for at least one line; the last one says whether it is over."""
    given = [part for one in asked for part in one.given]
    if not given:
        if called_off(order, day):
            return State.OFF
        return State.PAUSED if paused(order, day) else State.OPEN
    if not any(one.missing for one in asked):
        return State.DONE
    if not max(given, key=lambda part: part.entry).rest_follows:
        return State.SHORT
    return State.OFF if called_off(order, day) else State.REST


def given_on(days: Collection[tuple[int, date]]) -> dict[tuple[int, date], list[Given]]:
    """What was given on days of orders (by pk), by the line's pk and the day; one query."""
    # What the lines of an entry say of a lot now, corrections added.
    now = (
        Line.objects.standing_at(OuterRef("sale_line__line__entry"))
        .filter(lot=OuterRef("sale_line__line__lot"), role=Role.SOLD)
        .order_by()
        .values("entry__place")
        .annotate(now=Sum("quantity"))
    )
    # Notes of these orders on these days alone, however long they have stood.
    orders, dates = {order for order, _ in days}, {day for _, day in days}
    rows = DeliveredLine.objects.filter(note__order__in=orders, note__due_on__in=dates)
    rows = (
        rows.standing("note__sale__entry")
        .select_related(
            "note",
            "order_line__product",
            "order_line__species",
            "sale_line__product",
            "sale_line__line__lot__item",
            "sale_line__line__lot__card__species",
            "sale_line__line__lot__card__product",
        )
        .order_by("pk")
    )
    given: dict[tuple[int, date], list[Given]] = defaultdict(list)
    for row in rows.annotate(now=Subquery(now.values("now"))):
        line = row.sale_line.line
        given[row.order_line_id, row.note.due_on].append(
            Given(
                entry=line.entry_id,
                lot=line.lot,
                quantity=-row.now,
                what=str(row.sale_line.product or line.lot.item),
                is_substitute=not fits(row.order_line, line.lot),
                rest_follows=row.note.rest_follows,
            )
        )
    return given
