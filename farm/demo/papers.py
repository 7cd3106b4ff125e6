"""Orders, deliveries, invoices and goods sent back of the played year."""

from datetime import timedelta

from farm.actions.accounts.invoicing import issue_change, issue_invoice
from farm.actions.common import on_hand
from farm.actions.orders.allotting import allocate
from farm.actions.orders.orders import Days, Wanted, deliver, stop_order, take_order
from farm.actions.selling.selling import SoldLine, sell, take_back
from farm.demo.clock import Year
from farm.demo.paying import HABITS, pay_by_habit
from farm.demo.scenery import COIN, GRAM
from farm.models import Grade, InvoiceLine, Order, Species, Stage
from farm.queries.accounts.invoices import to_invoice
from farm.queries.orders.allocations import sellable, suggested
from farm.queries.orders.orders import DueOrder, due_between
from farm.queries.selling.prices import ordered_price, prices_at
from ledger.models import Lot, Role

KILO_PRICE = {"oyster": 17 * COIN, "mane": 23 * COIN, "shiitake": 21 * COIN}
# Less than this is not worth a delivery.
LEAST_DELIVERED_MG = 500 * GRAM
JAR_MG = 60 * GRAM


def take_orders(year: Year) -> None:
    """Write down what kitchens ask for of what there is; the box scheme asked once, for good.

    Each week another kitchen needs nothing.
    """
    *kitchens, boxes = year.scenery.customers
    due_on = year.clock.date() + timedelta(days=2)
    there = [key for key in KILO_PRICE if _is_there(year, key)]
    del kitchens[due_on.isocalendar().week % len(kitchens)]
    for customer in kitchens if there else []:
        key = year.dice.choice(there)
        wanted = max(year.about(2_200 * GRAM, 0.35), LEAST_DELIVERED_MG) // (50 * GRAM) * 50 * GRAM
        line = _loose(year, key, wanted)
        doing = year.doing("nora", sure=True)
        take_order(doing, customer=customer, days=Days(due_on), lines=[line])
    if not Order.objects.filter(customer=boxes).exists():
        line = _loose(year, "oyster", 2_500 * GRAM)
        doing = year.doing("nora", sure=True)
        take_order(doing, customer=boxes, days=Days(due_on, every_weeks=1), lines=[line])


def set_orders_aside(year: Year) -> None:
    """Set aside what kitchens get tomorrow, from what is over soonest."""
    tomorrow = year.clock.date() + timedelta(days=1)
    for due in due_between(tomorrow, tomorrow):
        if due.is_open:
            allocate(year.doing("tam"), order=due.order, due_on=due.day)


def promise_next(year: Year) -> None:
    """Take the coming week's first orders and set aside what they get: the year ends in between."""
    take_orders(year)
    day = year.clock.date() + timedelta(days=2)
    for due in due_between(day, day):
        allocate(year.doing("tam"), order=due.order, due_on=due.day)


def deliver_orders(year: Year) -> None:
    """Give each customer what there is of what they asked for, from the oldest pick."""
    today = year.clock.date()
    for due in due_between(today, today):
        taken = suggested(due, sellable(due)) if due.is_open else {}
        if sum(taken.values()) >= LEAST_DELIVERED_MG:
            deliver(year.doing("nora"), order=due.order, due_on=today, lines=_lines(due, taken))
        elif due.is_open and not due.order.every_weeks:
            stop_order(year.doing("nora", "nothing ripe"), due.order, from_day=today)


def sell_dried_loose(year: Year, key: str) -> None:
    """A kitchen takes some of a jar by weight: dried carries sales tax, its fresh crop none."""
    cafe, today = year.scenery.customers[1], year.clock.date()
    prices = prices_at(cafe.place, today, cafe)
    lots = on_hand(Stage.DRIED, species=year.scenery.strains[key].species)
    lot = lots.filter(quantity__gte=JAR_MG).first()
    if lot:
        line = SoldLine(lot, JAR_MG, prices[lot.card.goods].unit_money)
        sell(year.aside(lot.code), place=cafe.place, customer=cafe, lines=[line])


def sell_trim(year: Year) -> None:
    """A kitchen takes for stock what was trimmed, at a price of its own."""
    house, today = year.scenery.customers[0], year.clock.date()
    prices = prices_at(house.place, today, house)
    for lot in on_hand(Stage.CROP, grade=Grade.TRIM):
        price = prices.get(lot.card.goods)
        if price:
            line = SoldLine(lot, lot.quantity, price.unit_money)
            sell(year.aside(lot.code), place=house.place, customer=house, lines=[line])


def invoice_month(year: Year) -> None:
    """On the first of a month, invoice everything sold before it; payments come by habit."""
    today = year.clock.date()
    for customer, habit in zip(year.scenery.customers, HABITS, strict=True):
        if today.day == 1 and to_invoice(customer, today - timedelta(days=1)):
            doing = year.doing("nora")
            invoice = issue_invoice(doing, customer, until=today - timedelta(days=1))
            pay_by_habit(year, invoice, habit)


def send_back(year: Year) -> None:
    """A kitchen sends a part of an invoiced delivery back, and gets a credit note."""
    lines = InvoiceLine.objects.filter(
        sale_line__line__role=Role.SOLD, invoice__customer=year.scenery.customers[1]
    )
    last = lines.select_related("sale_line__line", "invoice").last()
    if last:
        row = last.sale_line
        take_back(year.doing("nora", "wet"), sale_line=row, quantity=-row.line.quantity // 4)
        issue_change(year.doing("nora"), last.invoice)


def _is_there(year: Year, key: str) -> bool:
    species = year.scenery.strains[key].species
    lots = on_hand(Stage.CROP, species=species, grade=Grade.FIRSTS)
    return any(lot.quantity >= LEAST_DELIVERED_MG for lot in lots)


def _loose(year: Year, key: str, wanted_mg: int) -> Wanted:
    species: Species = year.scenery.strains[key].species
    """At the price agreed with the customer, which stands under Farm details."""
    return Wanted(species, wanted_mg)


def _lines(due: DueOrder, taken: dict[int, int]) -> list[SoldLine]:
    lots = Lot.objects.select_related("card__product", "card__species").in_bulk(taken)
    lines = []
    for pk, quantity in taken.items():
        price = ordered_price(due, lots[pk])
        assert price, "every order of the played year names its price, or has an agreed one"
        lines.append(SoldLine(lots[pk], quantity, price.unit_money, weight_unit=price.weight_unit))
    return lines
