"""Quantity and cost on hand, today and on a date."""

import pytest

from ledger import balances
from ledger.drafts import ChargeDraft
from ledger.models import Role
from tests.ledger.shorthand import (
    DAY,
    NOON,
    UNIT,
    amend,
    bought,
    line,
    loses,
    makes,
    new,
    put,
    returned,
    sells,
    sold,
    uses,
)

pytestmark = pytest.mark.django_db


def test_it_lists_what_is_on_hand_with_its_cost() -> None:
    lot = bought(4, 8 * UNIT)
    sold(lot, 1)
    assert [balances.Balance(lot.pk, 3, (6_0000, 0, 0, 0, 0))] == balances.on_hand()


def test_an_emptied_lot_is_not_on_hand() -> None:
    sold(bought(4, 8 * UNIT), 4)
    assert balances.on_hand() == []


def test_on_a_date_later_entries_do_not_count() -> None:
    lot = bought(4, 8 * UNIT)
    put(sells(lot, 3), at=NOON + DAY)
    assert [b.quantity for b in balances.on_hand(NOON.date())] == [4]
    assert [b.quantity for b in balances.on_hand((NOON + DAY).date())] == [1]


def test_an_amendment_counts_at_the_day_of_what_it_amends() -> None:
    lot = bought(4, 8 * UNIT)
    amend(lot.made_by, line(lot, Role.BOUGHT, 1), at=NOON + 9 * DAY)
    assert [b.quantity for b in balances.on_hand(NOON.date())] == [5]


def test_the_whole_book_s_cost_is_in_stock_sold_or_lost() -> None:
    # 8.0000 and an hour of 1.0000 on 4: one sold 2.2500 and half of that back, one lost 2.2500.
    sack = bought(4, 8 * UNIT)
    hour = (ChargeDraft("own", UNIT),)
    jars = put(uses(sack, 4), makes(new("jar"), 4), charges=hour).lots[1]
    returned(sold(jars, 2), 1)
    put(loses(jars, 1))
    whole = balances.whole_book()
    assert whole.came_in == (8_0000, 0, 1_0000, 0, 0)
    assert whole.sold == (2_0000, 0, 2500, 0, 0)
    assert whole.lost == (2_0000, 0, 2500, 0, 0)
    assert whole.stock == (4_0000, 0, 5000, 0, 0)


def test_an_empty_book_holds_nothing() -> None:
    assert balances.Whole((0,) * 5, (0,) * 5, (0,) * 5, (0,) * 5) == balances.whole_book()


def test_lots_stand_in_the_order_of_making_and_one_that_cost_nothing_stands_too() -> None:
    free, paid = bought(4, 0), bought(4, UNIT)
    assert [each.lot_id for each in balances.on_hand()] == [free.pk, paid.pk]


def test_cost_that_came_later_to_what_had_left_by_then_is_shown_on_that_day() -> None:
    """Sold out on the first day; 7 that came on the sixth was recorded before, and left with it."""
    lot = bought(4, 8 * UNIT)
    put(makes(lot, 0), charges=(ChargeDraft("paid", 7),), at=NOON + 5 * DAY)
    put(sells(lot, 4))
    assert balances.on_hand(NOON.date()) == [balances.Balance(lot.pk, 0, (0, -7, 0, 0, 0))]
    assert balances.on_hand() == []


def test_a_lot_held_nothing_before_it_was_there() -> None:
    lot = bought(4, UNIT)
    sold(lot, 3)
    assert balances.held_at(NOON - DAY, [lot.pk]) == {lot.pk: 0}
    assert balances.held_at(NOON, [lot.pk]) == {lot.pk: 1}
