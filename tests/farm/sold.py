"""Orders and invoices for tests: a customer with an address, packs delivered, invoices issued."""

from datetime import date, timedelta

from farm.actions.accounts.invoicing import issue_invoice
from farm.actions.common import Recorded
from farm.actions.orders.orders import Days, Wanted, deliver, take_order
from farm.actions.selling.selling import SoldLine, sell
from farm.models import Invoice, Order
from ledger.models import Lot
from tests.copied import copied
from tests.farm.world import UNIT, World, small_farm


@copied
def selling_farm() -> World:
    """A farm that may issue invoices with tax, and a customer who has an address."""
    world = small_farm()
    may_invoice(world)
    return world


def may_invoice(world: World) -> None:
    farm, customer = world.farm, world.customer
    farm.tax_number, farm.pay_to = "ES B0000000", "Account 00 0000 (invented)"
    farm.exemption_words = "No tax: small producer (invented wording)"
    farm.save()
    customer.address = "Quay 1, Lowfield (invented)"
    customer.save()


def order(
    world: World, packs: int, *, in_days: int = 0, every_weeks: int = 0, sure: bool = False
) -> Order:
    doing = world.doing(sure=sure)
    due_on = doing.day + timedelta(days=in_days)
    lines = [Wanted(world.product, packs)]
    days = Days(due_on, every_weeks)
    return take_order(doing, customer=world.customer, days=days, lines=lines)


def wanted(world: World, *lines: Wanted, in_days: int = 0, every_weeks: int = 0) -> Order:
    """Order whatever is wanted, without a question."""
    doing = world.doing(sure=True)
    days = Days(doing.day + timedelta(days=in_days), every_weeks)
    return take_order(doing, customer=world.customer, days=days, lines=lines)


def delivered(world: World, asked: Order, lot: Lot, count: int, *, rest: bool = False) -> Recorded:
    lines = [SoldLine(lot, count, 5 * UNIT)]
    return deliver(
        world.doing(minutes=0), order=asked, due_on=asked.due_on, lines=lines, rest_follows=rest
    )


def sold(world: World, lot: Lot, count: int, unit_money: int = 5 * UNIT) -> Recorded:
    """Sell packs to the customer at any price; the list says that the price holds the tax."""
    return sell(
        world.doing(minutes=0, sure=True),
        place=world.kitchens,
        customer=world.customer,
        lines=[SoldLine(lot, count, unit_money)],
    )


def invoiced(world: World, until: date | None = None) -> Invoice:
    doing = world.doing()
    return issue_invoice(doing, world.customer, until=until or doing.day)
