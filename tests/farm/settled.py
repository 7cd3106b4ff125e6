"""Accounts as tests move them: invoiced, paid, paid back, given up; with no question asked."""

from datetime import date, timedelta
from typing import Any

from farm.actions.accounts.giving_up import give_up
from farm.actions.accounts.payments import Paid, enter_payment, pay_back
from farm.models import Customer, Invoice, Payment
from farm.queries.accounts.owed import account_of
from farm.queries.roll_forward import NO_SHARE, Rolled, account_moves, rolled
from tests.copied import copied
from tests.farm.goods import packs
from tests.farm.sold import invoiced, sold
from tests.farm.world import UNIT, World

CENT = UNIT // 100


@copied
def invoice_of(world: World, count: int) -> Invoice:
    """So many packs at 5.00, invoiced."""
    sold(world, packs(world, count), count)
    return invoiced(world)


def paying(world: World, money: int, **said: Any) -> Paid:
    usual: dict[str, Any] = {
        "customer": world.customer,
        "amount_money": money,
        "paid_on": today(world),
    }
    return Paid(**usual | said)


def today(world: World) -> date:
    return world.today


def pays(world: World, money: int, **said: object) -> Payment:
    return enter_payment(world.doing(sure=True), paying(world, money, **said))


def gets_back(world: World, money: int, **said: object) -> Payment:
    return pay_back(world.doing(reason="left", sure=True), paying(world, money, **said))


def gives_up(world: World, money: int, **said: object) -> Payment:
    return give_up(world.doing(reason="a cent off"), paying(world, money, **said))


def owes(world: World, customer: Customer | None = None) -> int:
    return account_of(customer or world.customer, date.max).balance


def month_of_account(world: World, share: int = NO_SHARE) -> Rolled:
    first = today(world).replace(day=1)
    last = (first + timedelta(days=31)).replace(day=1) - timedelta(days=1)
    rows = rolled(first, account_moves(first, last))
    return next(one for one in rows if one.share == share)
