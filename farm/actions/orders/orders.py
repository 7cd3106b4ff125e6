"""Take orders, pause them, call them off, deliver: a sale with its note, for a day of an order."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.utils import timezone

from farm import habits
from farm.actions.accounts.numbering import NOTES, next_number
from farm.actions.common import Doing, Recorded, both
from farm.actions.orders.allotting import line_for
from farm.actions.orders.boxes import as_box
from farm.actions.questions import PlausibilityQuestion
from farm.actions.selling.selling import SoldLine, sell
from farm.models import (
    BoxDelivery,
    Customer,
    DeliveredLine,
    DeliveryNote,
    Goods,
    Loose,
    LooseGoods,
    Order,
    OrderLine,
    OrderPause,
    OrderStop,
    Sale,
    SaleLine,
    Share,
    Species,
)
from farm.queries.orders.orders import due_order, fits, mass_mg, orders
from farm.queries.orders.promises import promises
from farm.queries.selling.prices import listed_price
from ledger import book
from ledger.errors import Conflict, Malformed


@dataclass(frozen=True)
class Wanted:
    """So many packs of a product, or mg of what is loose; a species alone is its fresh firsts.

    ``unit_money`` for a pack or a ``weight_unit``; None: as agreed, or as listed.
    """

    what: Goods | Species
    quantity: int
    unit_money: int | None = None
    weight_unit: str = "kg"

    @property
    def goods(self) -> Goods:
        if isinstance(self.what, Species):
            return LooseGoods.of(self.what, Loose.FRESH)
        return self.what


@dataclass(frozen=True)
class Days:
    """When an order is due: once, or every so many weeks, until a last day where one is set."""

    first: date
    every_weeks: int = 0
    until: date | None = None


@transaction.atomic
def take_order(
    doing: Doing,
    *,
    customer: Customer,
    days: Days,
    lines: Sequence[Wanted],
    share: Share | None = None,
) -> Order:
    """Write down what a customer asks for; sent twice under one UUID, it is one order.

    Asks (PlausibilityQuestion) where more is wanted than is free to be promised for the first
    day, and says how sure it is where some must still be picked.
    """
    book.lock_head()
    known = orders().filter(uuid=doing.uuid).first()
    if known:
        return _the_same(known, customer, days=days, lines=lines)
    _check_wanted(customer, days, lines)
    order = Order.objects.create(
        customer=customer,
        share=share,
        due_on=days.first,
        every_weeks=days.every_weeks,
        until=days.until,
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
def pause_order(doing: Doing, order: Order, *, first: date, last: date) -> OrderPause:
    """Let a standing order rest for some days; a share's boxes are given at its end instead.

    Sent twice it is one pause.
    """
    book.lock_head()
    if not order.every_weeks:
        raise Malformed(f"Order {order.pk} is due once. Call it off, or leave it as it is.")
    if last < first:
        raise Malformed(
            f"Order {order.pk}: {habits.day(last)} is before {habits.day(first)}. State a later "
            "last day."
        )
    known = order.pauses.filter(first=first, last=last).first()
    if known:
        return known
    return OrderPause.objects.create(
        order=order,
        first=first,
        last=last,
        reason=doing.reason.strip() or "no reason stated",
        paused_at=timezone.now(),
        by=doing.by,
    )


@transaction.atomic
def stop_order(doing: Doing, order: Order, *, from_day: date) -> OrderStop:
    """Call an order off, a standing one from a day on; what was delivered stays delivered."""
    book.lock_head()
    if not doing.reason.strip():
        raise Malformed(f"Order {order.pk} is called off without a reason. Say why.")
    known = order.stops.filter(from_day__lte=from_day).first()
    if known:
        return known
    return OrderStop.objects.create(
        order=order,
        from_day=from_day,
        reason=doing.reason.strip(),
        stopped_at=timezone.now(),
        by=doing.by,
    )


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
    what was asked is given in place of what is short of the same species, else of anything. A box
    of a share is sold at the box price, shared out by what its goods are worth.
    """
    book.lock_head()
    known = DeliveryNote.objects.filter(sale__entry__uuid=doing.uuid).first()
    if known is None:
        _check_open(order, due_on)
    elif (known.order_id, known.due_on, known.rest_follows) != (order.pk, due_on, rest_follows):
        raise Conflict("This form was sent before with another delivery. Fill in a new form.")
    worth = 0
    if order.share:
        _check_box(order, rest_follows)
        lines, worth = as_box(order.share, lines, doing.day)
    recorded = sell(
        doing,
        place=order.customer.place,
        customer=order.customer,
        lines=lines,
        promised=(order, due_on),
    )
    if recorded.fresh:
        note = write_note(recorded.entry.sale, order=order, due_on=due_on, rest=rest_follows)
        _match(note)
        if order.share:
            BoxDelivery.objects.create(share=order.share, note=note, worth_money=worth)
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
            "customer, who stands under Farm details."
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
    what = line.goods
    loose = what if isinstance(what, LooseGoods) else None
    return {
        "product": None if loose else what,
        "species": loose and loose.species,
        "state": loose.state if loose else "",
        "grade": loose.grade if loose else "",
        "quantity": line.quantity,
        "unit_money": line.unit_money,
        "weight_unit": line.weight_unit,
    }


def _check_wanted(customer: Customer, days: Days, lines: Sequence[Wanted]) -> None:
    if not lines:
        raise Malformed("An order of nothing cannot be. State how much of what.")
    if days.until and days.until < days.first:
        raise Malformed(
            f"The last day, {habits.day(days.until)}, is before the first. State a later one."
        )
    for line in lines:
        if line.quantity <= 0:
            raise Malformed(f"{line.what}: {line.quantity} cannot be ordered. State how much.")
        if line.unit_money is None and isinstance(line.goods, LooseGoods):
            _need_price(customer, days.first, line.goods)
    if len({line.goods for line in lines}) < len(lines):
        raise Malformed("One thing stands twice in this order. State it once.")


def _need_price(customer: Customer, day: date, what: LooseGoods) -> None:
    if listed_price(customer.place, day, customer=customer, what=what) is None:
        raise Malformed(
            f"{what}: state the price of a kilogram or a pound, or agree one with "
            f"{customer} under Farm details, agreed prices."
        )


def _the_same(known: Order, customer: Customer, *, days: Days, lines: Sequence[Wanted]) -> Order:
    names = ("product", "species", "state", "grade", "quantity", "unit_money", "weight_unit")
    rows = [{name: getattr(line, name) for name in names} for line in known.lines.all()]
    said = (customer, days, [_row(line) for line in lines])
    if (known.customer, Days(known.due_on, known.every_weeks, known.until), rows) != said:
        raise Conflict(
            f"This form was sent before with other content, as order {known.pk}. Call that "
            "order off, or fill in a new form."
        )
    return known


def _check_there(order: Order, today: date) -> None:
    """Ask where this order, now among the promises, takes more than there will be."""
    short = []
    lines = list(order.lines.select_related("product__species", "species"))
    for line, found in zip(lines, promises(lines, order.due_on, today), strict=True):
        if found.free_mg < 0:
            asked = mass_mg(line, line.quantity)
            free = f"{both(max(0, asked + found.free_mg))} free for {habits.day(order.due_on)}"
            short.append(f"{line}: {free}, {both(asked)} asked for")
    if short:
        raise PlausibilityQuestion(f"{'; '.join(short)}.")


def _check_box(order: Order, rest_follows: bool) -> None:
    if rest_follows:
        raise Malformed(
            f"Order {order.pk} is {order.share}: a box is given whole, at its price. Deliver what "
            "there is as the box, or wait until all is there."
        )


def _check_open(order: Order, due_on: date) -> None:
    due = due_order(order, due_on)
    if due is None:
        raise Malformed(
            f"Order {order.pk} is not due on {habits.day(due_on)}. Choose one of its days."
        )
    if not due.is_open:
        raise Malformed(
            f"Order {order.pk} for {habits.day(due_on)} is {due.state.value} already. Sell what "
            "is given on top as its own sale, or take the delivery back first."
        )


def _match(note: DeliveryNote) -> None:
    """Say which line of the order each line of the sale was given for; any left over is extra."""
    assert note.order
    asked = list(note.order.lines.select_related("product", "species"))
    left = {line.pk: line.quantity for line in asked}
    rows = note.sale.lines.select_related("line__lot__item", "line__lot__card", "product").order_by(
        "pk"
    )
    for row in sorted(rows, key=lambda one: not any(fits(line, one.line.lot) for line in asked)):
        line = _line_for(row, asked, left)
        if line:
            left[line.pk] += row.line.quantity  # below zero in a sale
            DeliveredLine.objects.create(note=note, sale_line=row, order_line=line)


def _line_for(row: SaleLine, asked: Sequence[OrderLine], left: dict[int, int]) -> OrderLine | None:
    """What a lot fits is for that line; anything else is for a line that is short, if one is."""
    lot = row.line.lot
    fitting = [line for line in asked if fits(line, lot)]
    lines = fitting or [line for line in asked if left[line.pk] > 0]
    return line_for(lot, lines) if lines else None
