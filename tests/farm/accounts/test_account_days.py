"""Accounts put right, deposits that end, statements, and the last hour of a month; by hand."""

from datetime import UTC, date, datetime, timedelta
from uuid import uuid4

import pytest
from django.db import DatabaseError, transaction

from farm.actions.accounts.giving_up import give_up
from farm.actions.accounts.payments import enter_payment, pay_back, put_right, take_payment_back
from farm.actions.orders.orders import stop_order
from farm.actions.questions import PlausibilityQuestion
from farm.actions.recording.correcting import undo
from farm.models import Customer, Payment, Share
from farm.queries.accounts.owed import accounts, statement
from farm.queries.orders.shares import share_states
from farm.queries.roll_forward import account_moves, rolled
from ledger.errors import Conflict, Malformed, NotStanding, Refused
from tests.farm.goods import packs
from tests.farm.orders.test_shares import BOX, box, taken, two_packs
from tests.farm.plain_accounts import plain_months
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
from tests.farm.world import UNIT, World, assert_book_is_sound

pytestmark = pytest.mark.django_db


# --- typed wrong, typed twice ----------------------------------------------------------------


def test_a_payment_for_the_wrong_customer_is_put_right_in_one_step(trade: World) -> None:
    other = Customer.objects.create(name="The Swan", place=trade.kitchens, address="Mill 2")
    invoice_of(trade, 2)
    wrong = pays(trade, 10 * UNIT, customer=other)
    doing = trade.doing()
    right = paying(trade, 10 * UNIT, paid_on=wrong.paid_on)
    for _ in range(2):  # sent twice it is one
        made = put_right(doing, wrong, right)

    assert (owes(trade), owes(trade, other)) == (0, 0)
    assert Payment.objects.count() == 3
    assert (made.customer, wrong.taken_back_by.paid_on) == (trade.customer, wrong.paid_on)
    with pytest.raises(NotStanding):
        put_right(trade.doing(), wrong, right)
    with pytest.raises(Malformed, match="Only what came in"):
        put_right(trade.doing(), gets_back(trade, UNIT), right)


def test_nothing_is_half_put_right(trade: World) -> None:
    """The right one is asked about, so the wrong one stands until it is answered."""
    invoice_of(trade, 2)
    wrong = pays(trade, 10 * UNIT)
    with pytest.raises(PlausibilityQuestion):
        put_right(trade.doing(), wrong, paying(trade, 11 * UNIT))

    assert Payment.objects.get() == wrong


def test_a_payment_typed_twice_is_asked_about(trade: World) -> None:
    """10.00 and 10.00 pay the 20.00 that are open: only that they are alike is asked."""
    invoice_of(trade, 4)
    first = enter_payment(trade.doing(), paying(trade, 10 * UNIT))
    with pytest.raises(PlausibilityQuestion, match="is entered already, by OL: is this another"):
        enter_payment(trade.doing(), paying(trade, 10 * UNIT))

    take_payment_back(trade.doing(), first)
    enter_payment(trade.doing(), paying(trade, 10 * UNIT))  # the first no longer stands
    assert owes(trade) == 10 * UNIT


def test_a_part_of_a_cent_cannot_be_paid(trade: World) -> None:
    with pytest.raises(Malformed, match="State whole cents"):
        pays(trade, 12_345)


@pytest.mark.parametrize(
    ("days", "refused"), [(1, "cannot be"), (-400, "more than a year ago"), (-9_999, "cannot be")]
)
def test_a_day_that_cannot_be_is_refused_and_a_far_one_asked_about(
    trade: World, days: int, refused: str
) -> None:
    invoice_of(trade, 2)
    day = today(trade) + timedelta(days=days)
    with pytest.raises(Refused, match=refused):
        enter_payment(trade.doing(), paying(trade, UNIT, paid_on=day))


def test_each_is_one_if_sent_twice_and_another_content_is_a_conflict(trade: World) -> None:
    invoice_of(trade, 2)
    pays(trade, 15 * UNIT)
    for act, money in ((pay_back, 3 * UNIT), (give_up, 2 * UNIT)):
        doing = trade.doing(reason="left")
        made = [act(doing, paying(trade, money, paid_on=today(trade))) for _ in range(2)]
        assert made[0] == made[1]
        with pytest.raises(Conflict):
            act(doing, paying(trade, money - CENT))

    assert (owes(trade), Payment.objects.count()) == (0, 3)


@pytest.mark.parametrize(
    "wrong", [{"amount_money": -1}, {"what": "back"}, {"method": ""}, {"what": "kept"}]
)
def test_the_database_holds_every_row_to_what_it_is(trade: World, wrong: dict[str, object]) -> None:
    row = {
        "customer": trade.customer,
        "paid_on": today(trade),
        "amount_money": 1,
        "method": "cash",
        "entered_at": trade.now,
        "by": trade.owner,
        "uuid": uuid4(),
    }
    with pytest.raises(DatabaseError), transaction.atomic():
        Payment.objects.create(**{**row, **wrong})
    Payment.objects.create(**row)
    with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
        Payment.objects.update(what="given", method="")


# --- deposits --------------------------------------------------------------------------------


def held(share: Share) -> int:
    (state,) = share_states(date.max, Share.objects.filter(pk=share.pk))
    return state.held


def test_a_deposit_is_paid_back_in_part_and_the_rest_left(trade: World) -> None:
    """48.00 ahead, a box of 12.00 given, called off: 36.00 held, 30.00 paid back, 6.00 left."""
    share = taken(trade)
    pays(trade, 48 * UNIT, share=share)
    box(trade, share, two_packs(packs(trade)))
    stop_order(trade.doing(reason="moves away"), share.order, from_day=today(trade))
    (state,) = share_states(date.max)
    assert (state.held, state.still_to_pay, state.to_come) == (36 * UNIT, 0, 0)

    gets_back(trade, 30 * UNIT, share=share)
    gives_up(trade, 6 * UNIT, share=share)

    month = month_of_account(trade, share.pk)
    assert (month.start, month.paid, month.boxes, month.paid_back, month.given_up) == (
        0,
        48 * UNIT,
        BOX,
        30 * UNIT,
        6 * UNIT,
    )
    (state,) = share_states(date.max)
    assert (month.end, state.held, state.still_to_pay) == (0, 0, 0)
    assert (state.paid, state.paid_back, state.left) == (48 * UNIT, 30 * UNIT, 6 * UNIT)
    assert accounts(date.max) == []


def test_boxes_never_paid_are_given_up_and_owed_again_when_paid(trade: World) -> None:
    """12.00 of boxes unpaid are given up; 5.00 come after all: 7.00 stay given up."""
    share = taken(trade)
    box(trade, share, two_packs(packs(trade)))
    gives_up(trade, BOX, share=share)
    assert held(share) == 0

    pays(trade, 5 * UNIT, share=share)

    month = month_of_account(trade, share.pk)
    assert (month.paid, month.boxes, month.given_up, month.end) == (
        5 * UNIT,
        BOX,
        -7 * UNIT,
        0,
    )


def test_of_a_deposit_no_more_is_given_up_than_is_held(trade: World) -> None:
    share = taken(trade)
    with pytest.raises(Malformed, match=f"nothing unpaid of share {share.pk}"):
        gives_up(trade, CENT, share=share)
    pays(trade, 10 * UNIT, share=share)
    with pytest.raises(Malformed, match=f"€10.00 held for share {share.pk}, so €11.00 cannot"):
        gives_up(trade, 11 * UNIT, share=share)
    with pytest.raises(PlausibilityQuestion, match=r"has €10.00 to get back"):
        pay_back(trade.doing(reason="left"), paying(trade, 11 * UNIT, share=share))


def test_an_undone_box_counts_no_more_on_its_own_day(trade: World) -> None:
    share = taken(trade)
    pays(trade, 48 * UNIT, share=share)
    entry = box(trade, share, two_packs(packs(trade))).entry
    trade.wait(40)
    undo(trade.doing(), entry)

    assert held(share) == 48 * UNIT
    plain = plain_months()["share", share.pk]
    assert {month: one.end for month, one in plain.items()} == {"2026-09": 48 * UNIT}


# --- statement -------------------------------------------------------------------------------


def test_a_statement_says_what_was_paid_back_and_given_up(trade: World) -> None:
    invoice = invoice_of(trade, 2)
    pays(trade, 15 * UNIT)
    gets_back(trade, 4 * UNIT)
    gives_up(trade, UNIT)
    day = today(trade)

    _, lines = statement(trade.customer, day, day)

    assert [(one.what, one.invoiced, one.paid, one.given_up, one.balance) for one in lines] == [
        (f"invoice {invoice}", 10 * UNIT, None, None, 10 * UNIT),
        ("payment, bank transfer", None, 15 * UNIT, None, -5 * UNIT),
        ("paid back, bank transfer", None, -4 * UNIT, None, -UNIT),
        ("left to the farm", None, None, -UNIT, 0),
    ]


# --- the last hour of a month, in zones behind and ahead -------------------------------------


@pytest.mark.parametrize(
    ("zone", "now"),
    [
        ("Pacific/Pago_Pago", datetime(2027, 1, 1, 10, 30, tzinfo=UTC)),  # 11 hours behind: 23:30
        ("Pacific/Kiritimati", datetime(2026, 12, 31, 9, 30, tzinfo=UTC)),  # 14 ahead: 23:30
        ("UTC", datetime(2026, 12, 31, 23, 30, tzinfo=UTC)),
    ],
)
def test_two_payments_an_hour_apart_at_a_years_end_fall_into_two_years(
    trade: World, zone: str, now: datetime
) -> None:
    trade.farm.time_zone = zone
    trade.farm.save()
    invoice_of(trade, 10)
    for hour, money in ((0, 20 * UNIT), (1, 30 * UNIT)):
        trade.now = now + timedelta(hours=hour - 1)
        doing = trade.doing(sure=True)
        enter_payment(doing, paying(trade, money, paid_on=doing.day))

    old, new = date(2026, 12, 31), date(2027, 1, 1)
    (year,) = rolled(date(2026, 1, 1), account_moves(date(2026, 1, 1), old))
    (month,) = rolled(new, account_moves(new, date(2027, 1, 31)))
    assert (year.invoiced, year.paid, year.end) == (50 * UNIT, 20 * UNIT, 30 * UNIT)
    assert (month.start, month.paid, month.end) == (30 * UNIT, 30 * UNIT, 0)


def test_29_february_is_in_its_month(trade: World) -> None:
    invoice_of(trade, 10)
    trade.now = datetime(2028, 2, 29, 9, tzinfo=UTC)
    pays(trade, 20 * UNIT)
    trade.now = datetime(2028, 3, 1, 9, tzinfo=UTC)
    pays(trade, 30 * UNIT)

    february = rolled(date(2028, 2, 1), account_moves(date(2028, 2, 1), date(2028, 2, 29)))
    assert [(one.start, one.paid, one.end) for one in february] == [
        (50 * UNIT, 20 * UNIT, 30 * UNIT)
    ]
    assert_book_is_sound()
