"""Mishaps of the office: what is told of a month that was closed, and a sale before its pick."""

from datetime import UTC, timedelta
from uuid import uuid4

from farm.actions.months.bills import BillSaid, enter_bill
from farm.models import BillKind
from farm.queries.months.bills import charged_and_billed
from farm.queries.months.closings import earliest_open, frozen_rows, since_closing, totals
from farm.queries.months.months import month_with
from farm.queries.movements import money_in
from ledger.models import Lot, Waiting
from tests.conftest import signed_in
from tests.farm.closed import close
from tests.farm.filled import prefilled
from tests.farm.goods import crop, packs
from tests.farm.settled import owes, pays
from tests.farm.sold import invoiced, sold
from tests.mishaps.must import UNIT, Must, World, fresh, was
from tests.mishaps.selling import with_customer

OWED = "owed owed_money"


def payment_into_a_closed_month(world: World) -> list[Must]:
    """20.00 invoiced, the month closed; then 20.00 of that month come to light: nothing is owed."""
    customer = with_customer(world, "Slow Bank")
    sold(world, packs(world, 4), 4)
    invoiced(world)
    day = world.today
    to_next_month(world)
    close_until(world)
    frozen, since = totals(frozen_rows())[OWED], totals(since_closing())[OWED]
    pays(world, 20 * UNIT, paid_on=day)
    return [
        was("frozen still", totals(frozen_rows())[OWED], frozen),
        was("since closing", totals(since_closing())[OWED] - since, -20_0000),
        Must("owed at the end", lambda: owes(world, customer), 0),
    ]


def late_bill(world: World) -> list[Must]:
    """A bill of 8.00 for power comes for a month that is closed, in which no run cost anything."""
    day = world.today
    packs(world, 1)
    to_next_month(world)
    close_until(world)
    month = month_with(day)
    said = BillSaid(month=month, kind=BillKind.ENERGY, paid_money=8 * UNIT)
    enter_bill(world.owner, said, uuid=uuid4(), at=world.now)
    row = next(
        one
        for one in charged_and_billed(money_in(month.first, month.last))
        if one.kind == BillKind.ENERGY
    )
    return [was("billed beyond what was charged", row.under_charged, 8_0000)]


def to_next_month(world: World) -> None:
    month = world.today.month
    while world.today.month == month:
        world.wait(1)
    world.wait(2)


def close_until(world: World) -> None:
    """Close every month before the world's, in order, as the office does."""
    while (month := earliest_open()) and month.last < world.today:
        close(world, month, world.now)


def sale_typed_before_its_pick(world: World) -> list[Must]:
    """Four packs are sold before they are packed, while ten others are there: those stay ten."""
    to_next_morning(world)
    other = packs(world, 10)
    page = f"/record/sell/?place={world.kitchens.pk}"
    sent(
        world,
        page,
        customer=str(world.customer.pk),
        unlisted_what=f"product-{world.product.pk}",
        unlisted_amount="4",
    )
    waited = Waiting.objects.filter(answered_at=None).count()
    crate = crop(world)
    world.received("punnet", 50)
    address = f"/record/pack/?product={world.product.pk}&packs=10"
    client = signed_in(world.owner)
    shown = {
        name: value
        for name, value in prefilled(client, address).items()
        if not name.startswith("draws_")
    }
    client.post(address, shown | form(world, sure="on") | {f"draws_{crate.pk}": "2 kg"})
    packed = Lot.objects.filter(item=other.item).latest("pk")
    return [
        was("it waits", waited, 1),
        Must("left of what was there and of what came", lambda: left(other, packed), [10, 6]),
    ]


def to_next_morning(world: World) -> None:
    """So that what is told in a few hours is told in one day, wherever the farm is."""
    next_day = world.now.astimezone(world.farm.zone) + timedelta(days=1)
    world.now = next_day.replace(hour=6).astimezone(UTC)


def left(*lots: Lot) -> list[int]:
    return [fresh(lot).quantity for lot in lots]


def sent(world: World, page: str, **typed: str) -> None:
    signed_in(world.owner).post(page, form(world, **typed))


def form(world: World, **typed: str) -> dict[str, str]:
    """What a recording form sends of the world's time."""
    when = world.doing().happened_at.astimezone(world.farm.zone)
    return {"uuid": str(uuid4()), "when": f"{when:%Y-%m-%dT%H:%M}", "own": "", **typed}
