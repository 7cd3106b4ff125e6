"""Mishaps on the way to the customer, and with their money."""

from datetime import date, timedelta

from farm.actions.accounts.invoicing import issue_change, issue_for_sale
from farm.actions.common import Draw
from farm.actions.growing.harvesting import mark_spent, pick
from farm.actions.recording.correcting import correct_quantity
from farm.actions.selling.selling import SoldLine, sell, take_back
from farm.actions.selling.stalls import load_stall, settle_stall
from farm.actions.store.packing import pack
from farm.actions.store.storing import count_lot, dry, throw_away
from farm.models import Customer, SaleLine, StallDay
from ledger.models import Flow, Lot, Role
from tests.farm.costed import blocks_at
from tests.farm.goods import crop, packs
from tests.farm.settled import gets_back, owes, pays
from tests.farm.sold import invoiced, sold
from tests.mishaps.must import GRAM, KG, UNIT, Must, World, costs_come_to, fresh, was


def flow_cost(lot: Lot, role: Role) -> int:
    """What left a lot in one role so far."""
    return -sum(sum(flow.cost) for flow in Flow.objects.filter(lot=lot, role=role))


def washed_out_market(world: World) -> list[Must]:
    """Forty packs go along and all come back wet: 50.00 of crop and 4.00 of punnets are lost."""
    lot = packs(world, 40)
    loaded = load_stall(world.doing(), place=world.stall, day=world.today, lines=[Draw(lot, 40)])
    day = StallDay.objects.get(entry=loaded.entry)
    settle_stall(world.doing(), stall_day=day, brought_back={lot.pk: 40}, prices={})
    throw_away(world.doing(reason="soaked"), lot=fresh(lot), quantity=40)
    sales = SaleLine.objects.filter(sale__stall_day=day)
    return [
        Must("lost with the market", lambda: flow_cost(lot, Role.LOST), 54_0000),
        Must("sold there", lambda: sum(line.gross for line in sales), 0),
        Must("left of it", lambda: fresh(lot).quantity, 0),
    ]


def trim_sold_with_firsts(world: World) -> list[Must]:
    """8 kg firsts, 1 kg seconds, 3 kg trim of blocks at 90.00, then spent: trim carries nothing.

    Firsts take 8 / 9 and seconds 1 / 9 of the 90.00; the trim brings 12.00 beside them.
    """
    blocks = blocks_at(world, 10, 90)
    firsts, seconds, trim = pick(
        world.doing(sure=True),
        given=[Draw(blocks, 0)],
        flush=1,
        firsts_mg=8 * KG,
        seconds_mg=KG,
        trim_mg=3 * KG,
    ).lots[-3:]
    sale = loose(world, fresh(trim), 3 * KG, 4 * UNIT)
    mark_spent(world.doing(), lot=fresh(blocks))
    return [
        Must("what the trim brought", lambda: sale.gross, 12_0000),
        costs_come_to("firsts, seconds, trim", [firsts, seconds, trim], [80_0000, 10_0000, 0]),
    ]


def trim_sold_alone(world: World) -> list[Must]:
    """A pick that is trim alone carries its part: 5 of 7 kg of 50.00; sold, all of it leaves."""
    blocks = blocks_at(world, 10, 50)
    doing = world.doing(sure=True)
    trim = pick(doing, given=[Draw(blocks, 0)], flush=1, firsts_mg=0, trim_mg=5 * KG).lots[-1]
    sale = loose(world, fresh(trim), 5 * KG, 2 * UNIT)
    return [
        Must("what the trim brought", lambda: sale.gross, 10_0000),
        Must("what left with it", lambda: flow_cost(trim, Role.SOLD), 35_7142),
    ]


def loose(world: World, lot: Lot, mg: int, kg_money: int) -> SaleLine:
    """Sell loose goods to the customer; they carry no tax here."""
    doing = world.doing(minutes=0, sure=True)
    line = SoldLine(lot, mg, kg_money)
    recorded = sell(doing, place=world.kitchens, customer=world.customer, lines=[line])
    return SaleLine.objects.get(sale__entry=recorded.entry)


def weight_corrected_after_all(world: World) -> list[Must]:
    """10 kg at 50.00: 2 dried, 4 packed in 20, of which 10 sold; the crate was 12.5 kg: 4.00 each.

    Before: 10.00 dried, 20.00 + 2.00 packed. After: 8.00, 16.00 + 2.00, sold half; 26.00 stay.
    """
    crate = crop(world)
    dried = dry(
        world.doing(sure=True),
        draws=[Draw(crate, 2 * KG)],
        dried_mg=200 * GRAM,
        temperature_milli_c=45_000,
        minutes_drying=600,
    ).lots[-1]
    world.received("punnet", 20)
    packed = pack(
        world.doing(), product=world.product, packs=20, draws=[Draw(fresh(crate), 4 * KG)]
    ).lots[-1]
    sold(world, fresh(packed), 10)
    before = [sum(fresh(lot).cost) for lot in (dried, packed, crate)]
    correct_quantity(
        world.doing(reason="the other scale", sure=True),
        crate.made_by,
        lot=crate,
        role=Role.BOUGHT,
        right_quantity=12_500 * GRAM,
    )
    return [
        was("before", before, [10_0000, 11_0000, 20_0000]),
        costs_come_to("after", [dried, packed, crate], [8_0000, 9_0000, 26_0000]),
        Must("sold packs", lambda: flow_cost(packed, Role.SOLD), 9_0000),
    ]


def return_after_its_invoice(world: World) -> list[Must]:
    """Ten packs at 5.00 invoiced and paid, two come back: 10.00 are theirs, and are paid back."""
    customer = with_customer(world, "Late Return")
    recorded = sold(world, packs(world, 10), 10)
    invoice = issue_for_sale(world.doing(), recorded.entry.sale)
    pays(world, 50 * UNIT, invoice=invoice)
    world.wait(3)
    line = SaleLine.objects.get(sale__entry=recorded.entry)
    take_back(world.doing(sure=True), sale_line=line, quantity=2)
    issue_change(world.doing(), invoice)
    theirs = owes(world)
    gets_back(world, 10 * UNIT)
    return [
        was("theirs after the credit", theirs, -10_0000),
        Must("owed at the end", lambda: owes(world, customer), 0),
    ]


def customer_who_leaves(world: World) -> list[Must]:
    """Owes 20.00, pays 25.00 by mistake, leaves: 5.00 go back, and not a cent stays."""
    customer = with_customer(world, "Gone Away")
    sold(world, packs(world, 4), 4)
    invoiced(world)
    pays(world, 25 * UNIT)
    theirs = owes(world)
    gets_back(world, 5 * UNIT)
    return [
        was("theirs when they left", theirs, -5_0000),
        Must("owed at the end", lambda: owes(world, customer), 0),
    ]


def with_customer(world: World, name: str) -> Customer:
    """Go on with a customer of the kitchens who has an address, and so may be invoiced."""
    number = Customer.objects.filter(name__startswith=name).count()
    world.customer = Customer.objects.create(
        name=f"{name} {number}", place=world.kitchens, address="Quay 2 (invented)"
    )
    return world.customer


def stock_counted_up_and_found(world: World) -> list[Must]:
    """Twelve packs are sold of ten; the two stood with another lot, which is two short then.

    Ten at 51.00: the two counted up are free, so all 51.00 leave; of the other lot 10.20 are lost.
    """
    lot, other = packs(world, 10), packs(world, 10)
    doing = world.doing(minutes=0, sure=True)
    sell(
        doing,
        place=world.kitchens,
        customer=world.customer,
        count_up=True,
        lines=[SoldLine(lot, 12, 5 * UNIT)],
    )
    count_lot(world.doing(reason="stood with the other", sure=True), lot=other, difference=-2)
    return [
        Must("left of both", lambda: [fresh(lot).quantity, fresh(other).quantity], [0, 8]),
        Must("sold of the first", lambda: flow_cost(lot, Role.SOLD), 51_0000),
        costs_come_to("the other", [other], [40_8000]),
    ]


def last_hour_of_a_month(world: World) -> list[Must]:
    return at_midnight(world, last_of_month(world.today))


def last_hour_of_a_year(world: World) -> list[Must]:
    return at_midnight(world, date(world.today.year, 12, 31))


def leap_day(world: World) -> list[Must]:
    """29 February of the next year that has one, and 1 March."""
    year = world.today.year + (world.today.month > 2)
    while year % 4:  # no year of these ends a century
        year += 1
    return at_midnight(world, date(year, 2, 29))


def last_of_month(day: date) -> date:
    return (day.replace(day=28) + timedelta(days=4)).replace(day=1) - timedelta(days=1)


def at_midnight(world: World, last: date) -> list[Must]:
    """In the last hour of a month 3 kg are picked and 1 sold; in the first of the next 1 more."""
    go_to(world, last, 22)
    lot = crop(world, 3 * KG)
    go_to(world, last, 22)
    before = loose(world, lot, KG, 10 * UNIT)
    go_to(world, last + timedelta(days=1), 0)
    after = loose(world, fresh(lot), KG, 10 * UNIT)
    days = [line.sale.entry.happened_on for line in (before, after)]
    return [was("each on its own day", days, [last, last + timedelta(days=1)])]


def go_to(world: World, day: date, hour: int) -> None:
    """Set the world's clock so that what is done next is done half past an hour later there."""
    moment = world.now.astimezone(world.farm.zone).replace(
        year=day.year, month=day.month, day=day.day, hour=hour, minute=30
    )
    world.now = moment.astimezone(world.now.tzinfo)
