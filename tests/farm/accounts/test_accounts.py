"""Accounts from their start to their end: paid back, given up, left, late; each sum by hand."""

from collections.abc import Callable
from datetime import date, timedelta

import pytest

from farm.actions.accounts.giving_up import give_up
from farm.actions.accounts.invoicing import issue_change
from farm.actions.accounts.payments import enter_payment, pay_back, take_payment_back
from farm.actions.questions import PlausibilityQuestion
from farm.actions.selling.selling import take_back
from farm.models import Payment, SaleLine, Settling
from farm.queries.accounts.owed import account_of, accounts
from ledger.errors import Malformed, NotStanding
from tests.farm.goods import packs
from tests.farm.settled import (
    CENT,
    gets_back,
    gives_up,
    invoice_of,
    month_of_account,
    owes,
    paying,
    pays,
    today,
)
from tests.farm.sold import invoiced, sold
from tests.farm.world import UNIT, World

pytestmark = pytest.mark.django_db


# --- paid back -------------------------------------------------------------------------------


def test_a_customer_who_leaves_gets_their_credit_back(trade: World) -> None:
    """10 packs at 5.00 are paid; 2 come back, 10.00: paid back, nothing is left on either side."""
    invoice = invoice_of(trade, 10)
    pays(trade, 50 * UNIT)
    take_back(trade.doing(), sale_line=SaleLine.objects.get(), quantity=2)
    issue_change(trade.doing(), invoice)
    assert (owes(trade), account_of(trade.customer, date.max).ahead_money) == (
        -10 * UNIT,
        10 * UNIT,
    )

    pay_back(trade.doing(reason="closes the kitchen"), paying(trade, 10 * UNIT))

    assert (owes(trade), accounts(date.max)) == (0, [])
    month = month_of_account(trade)
    assert (month.start, month.invoiced, month.credited, month.paid, month.paid_back) == (
        0,
        50 * UNIT,
        10 * UNIT,
        50 * UNIT,
        10 * UNIT,
    )
    assert (month.given_up, month.end) == (0, 0)


def test_more_than_is_theirs_is_asked_about_and_then_owed_without_an_invoice(trade: World) -> None:
    """Paid 5.00 too much, paid back 8.00: 3.00 are owed since that day, on no invoice."""
    invoice = invoice_of(trade, 2)
    pays(trade, 15 * UNIT, invoice=invoice)
    with pytest.raises(PlausibilityQuestion, match=r"8.00 is paid back, .* has €5.00 to get back"):
        pay_back(trade.doing(reason="paid twice"), paying(trade, 8 * UNIT))

    gets_back(trade, 8 * UNIT)
    trade.wait(31)
    account = account_of(trade.customer, today(trade))

    assert account.beyond
    assert (account.open_money, account.open_invoices, account.ahead_money) == (3 * UNIT, (), 0)
    assert account.by_age == (0, 0, 3 * UNIT, 0, 0)
    assert account.since == today(trade) - timedelta(days=31)
    gives_up(trade, 3 * UNIT)
    assert owes(trade) == 0


@pytest.mark.parametrize("act", [pay_back, give_up])
def test_what_is_paid_back_or_given_up_says_why(trade: World, act: Callable[..., Payment]) -> None:
    invoice_of(trade, 2)
    with pytest.raises(Malformed, match="Say why"):
        act(trade.doing(sure=True), paying(trade, UNIT))


def test_an_undone_refund_is_theirs_again(trade: World) -> None:
    invoice_of(trade, 2)
    pays(trade, 15 * UNIT)
    back = gets_back(trade, 5 * UNIT)

    take_payment_back(trade.doing(), back)

    assert account_of(trade.customer, date.max).ahead_money == 5 * UNIT
    assert month_of_account(trade).paid_back == 0


# --- given up, and left to the farm ----------------------------------------------------------


def test_a_cent_short_is_given_up_and_a_cent_over_is_left_to_the_farm(trade: World) -> None:
    """10.00 invoiced, 9.99 paid, 0.01 given up. Then 10.00 and 10.02 paid: 0.02 are left."""
    first = invoice_of(trade, 2)
    pays(trade, 999 * CENT)
    one = gives_up(trade, CENT)
    assert (one.what, one.invoice, one.amount_money, one.method) == (
        Settling.GIVEN_UP,
        first,
        CENT,
        "",
    )
    invoice_of(trade, 2)
    pays(trade, 1_002 * CENT)
    two = gives_up(trade, 2 * CENT)

    assert (two.what, two.invoice, two.amount_money) == (Settling.KEPT, None, -2 * CENT)
    assert accounts(date.max) == []
    month = month_of_account(trade)
    assert (month.invoiced, month.paid, month.given_up, month.end) == (
        20 * UNIT,
        2_001 * CENT,
        -CENT,
        0,
    )


def test_no_more_is_given_up_than_there_is_and_of_one_invoice(trade: World) -> None:
    first, second = invoice_of(trade, 2), invoice_of(trade, 3)
    with pytest.raises(Malformed, match=f"{first}, {second} open. Choose of which"):
        gives_up(trade, UNIT)
    with pytest.raises(Malformed, match=f"has €10.00 open of {first}, so €11.00 cannot"):
        gives_up(trade, 11 * UNIT, invoice=first)
    pays(trade, 25 * UNIT)
    with pytest.raises(Malformed, match="has nothing to pay: there is nothing to give up"):
        gives_up(trade, CENT)
    with pytest.raises(Malformed, match=f"has nothing open of {first}"):
        gives_up(trade, CENT, invoice=first)

    assert not Payment.objects.exclude(what=Settling.PAID).exists()


def test_what_was_given_up_and_is_paid_after_all_is_owed_again_first(trade: World) -> None:
    """64.20 was given up in September, and comes in October, while another 30.00 is open.

    September ends at 0. October: 30.00 invoiced + 64.20 owed again - 64.20 paid = 30.00.
    """
    sold(trade, packs(trade, 10), 10, 64_200)
    first = invoiced(trade)
    gives_up(trade, 642_000, invoice=first)
    assert month_of_account(trade).end == 0
    trade.wait(30)
    second = invoice_of(trade, 6)

    paid = pays(trade, 642_000, invoice=first)

    (open_one,) = account_of(trade.customer, date.max).open_invoices
    assert (open_one.invoice, open_one.open_money) == (second, 30 * UNIT)
    again = paid.along.get()
    assert (again.what, again.amount_money, again.invoice) == (Settling.AGAIN, -642_000, first)
    month = month_of_account(trade)
    assert (month.start, month.invoiced, month.paid, month.given_up, month.end) == (
        0,
        30 * UNIT,
        642_000,
        -642_000,
        30 * UNIT,
    )


def test_half_of_it_paid_after_all_leaves_half_given_up(trade: World) -> None:
    """10.00 given up, 4.00 paid after all: 6.00 stay given up, nothing is open or ahead."""
    invoice = invoice_of(trade, 2)
    given = gives_up(trade, 10 * UNIT)
    paid = pays(trade, 4 * UNIT, invoice=invoice)

    assert accounts(date.max) == []
    assert month_of_account(trade).given_up == 6 * UNIT
    with pytest.raises(NotStanding, match="paid or credited after all"):
        take_payment_back(trade.doing(), given)
    with pytest.raises(NotStanding, match=f"Take payment {paid.pk} back"):
        take_payment_back(trade.doing(), paid.along.get())

    take_payment_back(trade.doing(), paid)
    assert (owes(trade), month_of_account(trade).given_up) == (0, 10 * UNIT)
    take_payment_back(trade.doing(), given)
    assert owes(trade) == 10 * UNIT


def test_a_payment_that_names_none_says_what_was_given_up(trade: World) -> None:
    invoice = invoice_of(trade, 2)
    gives_up(trade, 10 * UNIT)
    with pytest.raises(PlausibilityQuestion, match=rf"€10.00 of {invoice} was given up: choose"):
        enter_payment(trade.doing(), paying(trade, 10 * UNIT))

    enter_payment(trade.doing(), paying(trade, 10 * UNIT, invoice=invoice))  # asks nothing
    assert owes(trade) == 0


def test_goods_that_come_back_of_an_invoice_given_up_are_no_credit(trade: World) -> None:
    """10.00 given up; one of two packs comes back, 5.00: 5.00 stay given up, nothing is theirs."""
    invoice = invoice_of(trade, 2)
    gives_up(trade, 10 * UNIT)
    take_back(trade.doing(), sale_line=SaleLine.objects.get(), quantity=1)

    issue_change(trade.doing(), invoice)

    assert accounts(date.max) == []
    month = month_of_account(trade)
    assert (month.invoiced, month.credited, month.given_up) == (10 * UNIT, 5 * UNIT, 5 * UNIT)


def test_part_paid_part_given_up_and_then_credited(trade: World) -> None:
    """50.00, 30.00 paid, 20.00 given up; 5 of 10 packs come back: 25.00 credited.

    Of the 25.00, 20.00 are no longer given up; 5.00 are theirs, as 30.00 were paid for 25.00.
    """
    invoice = invoice_of(trade, 10)
    pays(trade, 30 * UNIT)
    gives_up(trade, 20 * UNIT)
    take_back(trade.doing(), sale_line=SaleLine.objects.get(), quantity=5)
    issue_change(trade.doing(), invoice)

    account = account_of(trade.customer, date.max)
    assert (account.ahead_money, account.open_money) == (5 * UNIT, 0)
    assert month_of_account(trade).given_up == 0
