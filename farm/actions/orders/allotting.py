"""Set lots aside for an order, by itself or by hand; ask before a promise is broken."""

from collections.abc import Mapping, Sequence
from datetime import date, timedelta

from django.db import transaction
from django.utils import timezone

from farm import habits
from farm.actions.common import Doing, Draw, amount_words
from farm.actions.questions import PlausibilityQuestion
from farm.models import Allocation, AllocationLine, Order, OrderLine
from farm.queries.orders.allocations import (
    SetAside,
    keeps,
    sellable,
    set_aside,
    suggested,
    words_of,
)
from farm.queries.orders.orders import DueOrder, due_order, fits
from ledger import book
from ledger.errors import Conflict, Malformed, NotEnough, OnHold
from ledger.models import Entry, Lot


@transaction.atomic
def allocate(
    doing: Doing, *, order: Order, due_on: date, draws: Sequence[Draw] | None = None
) -> Allocation:
    """Set lots aside for a day of an order, in place of what was set aside for it before.

    Without ``draws``: what is over soonest and keeps long enough, as far as it is free; none of
    them sets nothing aside any more. Refuses lots on hold, and more than is on hand and promised
    to nobody else; asks where a lot does not keep as long as the customer wants. Sent twice it is
    one.
    """
    book.lock_head()
    known = Allocation.objects.filter(uuid=doing.uuid).first()
    if known:
        return _the_same(known, order, due_on=due_on, draws=draws)
    due = _open_day(order, due_on)
    if draws is None:
        taken = suggested(due, sellable(due))
    else:
        taken = {draw.lot.pk: draw.quantity for draw in draws}
    lots = Lot.objects.select_related("item", "card__species", "card__product").in_bulk(taken)
    if draws is not None:
        _check(due, draws, lots, sure=doing.sure)
    last = Entry.objects.order_by("-seq").values_list("seq", flat=True).first()
    made = Allocation.objects.create(
        order=order,
        due_on=due_on,
        after_entry=last or 0,
        made_at=timezone.now(),
        by=doing.by,
        uuid=doing.uuid,
    )
    for pk, quantity in taken.items():
        line = line_for(lots[pk], list(due.order.lines.all()))
        AllocationLine.objects.create(
            allocation=made, order_line=line, lot=lots[pk], quantity=quantity
        )
    return made


def line_for(lot: Lot, lines: Sequence[OrderLine]) -> OrderLine:
    """The line of an order that a lot is for: what it fits, else the same species, else any."""
    fitting = [line for line in lines if fits(line, lot)]
    akin = [
        line
        for line in lines
        if lot.card.species_id in (line.species_id, line.product and line.product.species_id)
    ]
    return next(iter([*fitting, *akin, *lines]))


# --- parts -----------------------------------------------------------------------------------


def _open_day(order: Order, due_on: date) -> DueOrder:
    due = due_order(order, due_on)
    if due is None or not due.is_open:
        state = f"{due.state.value} already" if due else "not due then"
        raise Malformed(
            f"Order {order.pk} for {habits.day(due_on)}: {state}, so nothing is set aside for it. "
            "Choose a day on which it is open."
        )
    return due


def _the_same(
    known: Allocation, order: Order, *, due_on: date, draws: Sequence[Draw] | None
) -> Allocation:
    written = {line.lot_id: line.quantity for line in known.lines.all()}
    said = written if draws is None else {draw.lot.pk: draw.quantity for draw in draws}
    if (known.order_id, known.due_on, written) != (order.pk, due_on, said):
        raise Conflict(
            f"This form was sent before with other content, for order {known.order_id} on "
            f"{habits.day(known.due_on)}. Set aside anew."
        )
    return known


def _check(due: DueOrder, draws: Sequence[Draw], lots: Mapping[int, Lot], *, sure: bool) -> None:
    parts = set_aside(of=lots)
    others = [part for part in parts if not part.is_for(due)]
    last = due.day + timedelta(days=due.order.customer.least_days)
    for draw in draws:
        lot = lots[draw.lot.pk]
        if lot.held:
            raise OnHold(
                f"Lot {lot.code} is on hold and cannot be promised. Release it with a reason "
                "first, or choose another lot.",
                [lot.code],
            )
        _check_free(lot, draw.quantity, [part for part in others if part.lot.pk == lot.pk])
        if not keeps(lot, last) and not sure:
            raise PlausibilityQuestion(
                f"Lot {lot.code} does not keep until {habits.day(last)}, as {due.order.customer} "
                f"wants it for {habits.day(due.day)}. Set it aside all the same?",
                [lot.code],
            )


def _check_free(lot: Lot, quantity: int, promised: Sequence[SetAside]) -> None:
    free = lot.quantity - sum(part.quantity for part in promised)
    if quantity <= 0:
        raise Malformed(f"Lot {lot.code}: {quantity} cannot be set aside. State how much.")
    if quantity > free:
        asked, there = (amount_words(amount, lot.item.dimension) for amount in (quantity, free))
        to = f", the rest is set aside for {words_of(promised)}" if promised else ""
        raise NotEnough(
            f"Lot {lot.code}: {asked} to set aside, {there} free{to}. Set less aside, or choose "
            "another lot.",
            [lot.code],
            entry_seq=0,
        )
