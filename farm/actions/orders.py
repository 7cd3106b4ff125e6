"""Take orders, call them off, and deliver: a sale with its note, for a day of an order."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.utils import timezone

from farm.actions.common import Doing, Recorded, both
from farm.actions.numbering import NOTES, next_number
from farm.actions.questions import PlausibilityQuestion
from farm.actions.selling import SoldLine, sell
from farm.models import (
    Customer,
    DeliveredLine,
    DeliveryNote,
    Order,
    OrderLine,
    OrderStop,
    Product,
    Sale,
    SaleLine,
    Species,
)
from farm.queries.orders import due_order, fits, free_mg, mass_mg, orders
from ledger import book
from ledger.errors import Conflict, Malformed


@dataclass(frozen=True)
class Wanted:
    """So many packs of a product, or mg of a species; ``unit_money`` None: the price list."""

    what: Product | Species
    quantity: int
    unit_money: int | None = None


@transaction.atomic
def take_order(
    doing: Doing, *, customer: Customer, due_on: date, lines: Sequence[Wanted], weekly: bool = False
) -> Order:
    """Write down what a customer asks for; sent twice under one UUID, it is one order.

    Asks (PlausibilityQuestion) where more is wanted than is free to be promised for the day.
    """
    book.lock_head()
    known = orders().filter(uuid=doing.uuid).first()
    if known:
        return _the_same(known, customer, due_on=due_on, lines=lines, weekly=weekly)
    _check_wanted(lines)
    order = Order.objects.create(
        customer=customer,
        due_on=due_on,
        weekly=weekly,
        note=doing.reason,
        taken_at=doing.happened_at,
        by=doing.by,
        uuid=doing.uuid,
    )
    for line in lines:
        OrderLine.objects.create(order=order, **_row(line))
    if not doing.sure:
        _check_there(order, doing.day)
    return order


@transaction.atomic
def stop_order(doing: Doing, order: Order, *, from_day: date) -> OrderStop:
    """Call an order off, a weekly one from a day on; what was delivered stays delivered."""
    book.lock_head()
    if not doing.reason.strip():
        raise Malformed(f"Order {order.pk} is called off without a reason. Say why.")
    known = order.stops.filter(from_day__lte=from_day).first()
    if known:
        return known
    return OrderStop.objects.create(
        order=order, from_day=from_day, reason=doing.reason.strip(), stopped_at=timezone.now(),
        by=doing.by,
    )  # fmt: skip


@transaction.atomic
def deliver(
    doing: Doing,
    *,
    order: Order,
    due_on: date,
    lines: Sequence[SoldLine],
    rest_follows: bool = False,
) -> Recorded:
    """Sell lots to the customer of an order, for one of its days, and write the note.

    Less than was asked, or another product, may be given: the note shows both. A lot that is not
    what was asked is given in place of what is short of the same species, else of anything.
    """
    book.lock_head()
    known = DeliveryNote.objects.filter(sale__entry__uuid=doing.uuid).first()
    if known is None:
        _check_open(order, due_on)
    elif (known.order_id, known.due_on, known.rest_follows) != (order.pk, due_on, rest_follows):
        raise Conflict("This form was sent before with another delivery. Fill in a new form.")
    recorded = sell(doing, place=order.customer.place, customer=order.customer, lines=lines)
    if recorded.fresh:
        note = write_note(recorded.entry.sale, order=order, due_on=due_on, rest=rest_follows)
        _match(note)
    return recorded


@transaction.atomic
def write_note(
    sale: Sale, *, order: Order | None = None, due_on: date | None = None, rest: bool = False
) -> DeliveryNote:
    """Write the delivery note of a sale to a named customer; a sale has one."""
    book.lock_head()
    known = DeliveryNote.objects.filter(sale=sale).first()
    if known:
        return known
    if sale.customer is None:
        raise Malformed(
            f"Entry {sale.entry_id} names no customer. A delivery note needs one: sell to a "
            "customer, who stands under Look-ups."
        )
    day = sale.entry.happened_on
    series, number = next_number(DeliveryNote, NOTES, day)
    return DeliveryNote.objects.create(
        series=series,
        number=number,
        sale=sale,
        order=order,
        due_on=due_on or day,
        issued_on=day,
        customer_name=sale.customer.name,
        customer_address=sale.customer.address,
        rest_follows=rest,
    )


# --- parts -----------------------------------------------------------------------------------


def _row(line: Wanted) -> dict[str, object]:
    is_packed = isinstance(line.what, Product)
    return {
        "product": line.what if is_packed else None,
        "species": None if is_packed else line.what,
        "quantity": line.quantity,
        "unit_money": line.unit_money,
    }


def _check_wanted(lines: Sequence[Wanted]) -> None:
    if not lines:
        raise Malformed("An order of nothing cannot be. State how much of what.")
    for line in lines:
        if line.quantity <= 0:
            raise Malformed(f"{line.what}: {line.quantity} cannot be ordered. State how much.")
        if isinstance(line.what, Species) and line.unit_money is None:
            raise Malformed(f"{line.what}, loose: state the price of a kilogram.")
    if len({(type(line.what), line.what.pk) for line in lines}) < len(lines):
        raise Malformed("One thing stands twice in this order. State it once.")


def _the_same(
    known: Order, customer: Customer, *, due_on: date, lines: Sequence[Wanted], weekly: bool
) -> Order:
    rows = [
        {name: getattr(line, name) for name in ("product", "species", "quantity", "unit_money")}
        for line in known.lines.all()
    ]
    said = (customer, due_on, weekly, [_row(line) for line in lines])
    if (known.customer, known.due_on, known.weekly, rows) != said:
        raise Conflict(
            f"This form was sent before with other content, as order {known.pk}. Call that "
            "order off, or fill in a new form."
        )
    return known


def _check_there(order: Order, today: date) -> None:
    """Ask where this order, now among the promises, takes more than there will be."""
    short = []
    for line in order.lines.select_related("product__species", "species"):
        free = free_mg(line, order.due_on, today)
        if free < 0:
            asked = mass_mg(line, line.quantity)
            short.append(
                f"{line}: {both(asked)} asked for, {both(max(0, asked + free))} free "
                f"for {order.due_on}"
            )
    if short:
        raise PlausibilityQuestion(f"{'; '.join(short)}.")


def _check_open(order: Order, due_on: date) -> None:
    due = due_order(order, due_on)
    if due is None:
        raise Malformed(f"Order {order.pk} is not due on {due_on}. Choose one of its days.")
    if not due.is_open:
        raise Malformed(
            f"Order {order.pk} for {due_on} is {due.state.value} already. Sell what is given on "
            "top as its own sale, or take the delivery back first."
        )


def _match(note: DeliveryNote) -> None:
    """Say which line of the order each line of the sale was given for; any left over is extra."""
    assert note.order
    asked = list(note.order.lines.select_related("product", "species"))
    left = {line.pk: line.quantity for line in asked}
    rows = note.sale.lines.select_related(
        "line__lot__item", "line__lot__card", "product"
    ).order_by("pk")  # fmt: skip
    for row in sorted(rows, key=lambda one: not any(fits(line, one.line.lot) for line in asked)):
        line = _line_for(row, asked, left)
        if line:
            left[line.pk] += row.line.quantity  # below zero in a sale
            DeliveredLine.objects.create(note=note, sale_line=row, order_line=line)


def _line_for(row: SaleLine, asked: Sequence[OrderLine], left: dict[int, int]) -> OrderLine | None:
    lot = row.line.lot
    fitting = [line for line in asked if fits(line, lot)]
    if fitting:
        return fitting[0]
    short = [line for line in asked if left[line.pk] > 0]
    akin = [
        line
        for line in short
        if lot.card.species_id in (line.species_id, line.product and line.product.species_id)
    ]
    return next(iter([*akin, *short]), None)
