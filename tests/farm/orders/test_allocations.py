"""Lots set aside for orders: what is over soonest first, a promise kept, released by itself."""

from datetime import timedelta

import pytest
from pytest_django import DjangoAssertNumQueries

from farm.actions.common import Draw
from farm.actions.orders.allotting import allocate
from farm.actions.orders.orders import stop_order
from farm.actions.questions import PlausibilityQuestion
from farm.actions.recording.correcting import undo
from farm.actions.selling.selling import SoldLine, sell
from farm.actions.selling.stalls import load_stall
from farm.actions.store.storing import dry, throw_away
from farm.actions.tracing.holding import hold, release
from farm.habits import day
from farm.models import Allocation, AllocationLine, Order
from farm.queries.orders.allocations import Standing, sellable, set_aside, suggested, taken_of
from farm.queries.orders.orders import due_order
from ledger.errors import Conflict, Malformed, NotEnough, OnHold
from ledger.models import Lot
from tests.farm.goods import packs
from tests.farm.sold import delivered, order
from tests.farm.world import GRAM, UNIT, World, assert_book_is_sound, fresh

pytestmark = pytest.mark.django_db


def aside(world: World, asked: Order, *draws: Draw, sure: bool = False) -> Allocation:
    return allocate(world.doing(sure=sure), order=asked, due_on=asked.due_on, draws=draws or None)


def standing() -> dict[str, int]:
    """What is set aside, by lot code."""
    return {part.lot.code: part.quantity for part in set_aside()}


def best(asked: Order) -> dict[int, int]:
    due = due_order(asked, asked.due_on)
    assert due
    return suggested(due, sellable(due))


def bought(world: World, lot: Lot, count: int, *, sure: bool = False) -> None:
    sell(world.doing(minutes=0, sure=sure), place=world.stall, lines=[SoldLine(lot, count, UNIT)])


def test_what_is_over_soonest_is_set_aside_first(trade: World) -> None:
    # Oyster keeps 6 days: the first 8 packs are over three days before the other ones.
    soon = packs(trade, 8)
    trade.wait(3)
    later = packs(trade, 8)

    aside(trade, order(trade, 12, sure=True))

    assert standing() == {soon.code: 8, later.code: 4}
    assert_book_is_sound()


def test_what_does_not_keep_as_long_as_the_customer_wants_is_left_out(trade: World) -> None:
    packs(trade, 8)
    trade.wait(3)
    later = packs(trade, 8)
    trade.customer.least_days = 4
    trade.customer.save()

    aside(trade, order(trade, 12, sure=True))

    assert standing() == {later.code: 8}


def test_a_hand_may_choose_other_lots(trade: World) -> None:
    soon = packs(trade, 8)
    trade.wait(1)
    later = packs(trade, 8)
    asked = order(trade, 6)
    aside(trade, asked)
    assert standing() == {soon.code: 6}

    aside(trade, asked, Draw(later, 6))

    assert standing() == {later.code: 6}
    assert best(asked) == {later.pk: 6}


def test_a_hand_is_asked_about_a_lot_that_does_not_keep_long_enough(trade: World) -> None:
    lot = packs(trade, 8)
    trade.customer.least_days = 30
    trade.customer.save()
    asked = order(trade, 6, sure=True)

    with pytest.raises(PlausibilityQuestion, match=f"Lot {lot.code} does not keep until"):
        aside(trade, asked, Draw(lot, 6))
    aside(trade, asked, Draw(lot, 6), sure=True)
    assert standing() == {lot.code: 6}


def test_one_lot_is_not_promised_twice(trade: World) -> None:
    lot = packs(trade, 10)
    first, second = order(trade, 7), order(trade, 7, sure=True)
    aside(trade, first)
    aside(trade, second)
    assert [part.quantity for part in set_aside()] == [7, 3]

    with pytest.raises(NotEnough, match="4 pieces to set aside, 3 pieces free"):
        aside(trade, second, Draw(lot, 4))


def test_more_than_is_on_hand_is_not_set_aside(trade: World) -> None:
    lot = packs(trade, 5)
    asked = order(trade, 6, sure=True)

    with pytest.raises(NotEnough, match="Set less aside, or choose another lot"):
        aside(trade, asked, Draw(lot, 6))
    with pytest.raises(Malformed, match="0 cannot be set aside"):
        aside(trade, asked, Draw(lot, 0))
    assert not AllocationLine.objects.exists()


def test_a_lot_on_hold_is_not_set_aside(trade: World) -> None:
    lot = packs(trade, 10)
    asked = order(trade, 6)
    hold(trade.doing(reason="smells"), [lot])

    aside(trade, asked)
    assert standing() == {}
    with pytest.raises(OnHold, match=f"Lot {lot.code} is on hold"):
        aside(trade, asked, Draw(fresh(lot), 6))


def test_set_aside_sent_twice_is_one_and_other_words_are_a_conflict(trade: World) -> None:
    lot = packs(trade, 10)
    asked, doing = order(trade, 6), trade.doing()
    for _ in range(2):
        allocate(doing, order=asked, due_on=asked.due_on, draws=[Draw(lot, 6)])

    assert Allocation.objects.count() == 1
    with pytest.raises(Conflict):
        allocate(doing, order=asked, due_on=asked.due_on, draws=[Draw(lot, 5)])


def test_nothing_is_set_aside_for_a_day_that_is_not_open(trade: World) -> None:
    lot = packs(trade, 10)
    asked = order(trade, 6)
    with pytest.raises(Malformed, match="not due then"):
        allocate(trade.doing(), order=asked, due_on=asked.due_on + timedelta(days=1))

    delivered(trade, asked, lot, 6)
    with pytest.raises(Malformed, match="delivered already"):
        aside(trade, asked)


# --- released by itself ----------------------------------------------------------------------


def test_a_delivery_releases_what_was_set_aside_and_its_undo_sets_it_aside_again(
    trade: World,
) -> None:
    lot = packs(trade, 10)
    asked = order(trade, 6)
    aside(trade, asked)
    entry = delivered(trade, asked, lot, 6).entry
    assert standing() == {}

    undo(trade.doing(), entry)

    assert standing() == {lot.code: 6}


def test_a_part_delivered_leaves_the_rest_set_aside(trade: World) -> None:
    first = packs(trade, 6)
    trade.wait(1)
    second = packs(trade, 4)
    asked = order(trade, 10)
    aside(trade, asked)

    delivered(trade, asked, first, 6, rest=True)

    assert standing() == {second.code: 4}


def test_what_is_set_aside_anew_after_a_part_counts_from_then_on(trade: World) -> None:
    lot = packs(trade, 20)
    asked = order(trade, 10)
    aside(trade, asked)
    delivered(trade, asked, lot, 6, rest=True)

    aside(trade, asked)

    assert standing() == {lot.code: 4}


def test_calling_an_order_off_releases_it(trade: World) -> None:
    packs(trade, 10)
    asked = order(trade, 6)
    aside(trade, asked)

    stop_order(trade.doing(reason="closed"), asked, from_day=asked.due_on)

    assert standing() == {}


def test_a_hold_releases_a_promise_and_a_release_renews_it(trade: World) -> None:
    lot = packs(trade, 10)
    aside(trade, order(trade, 6))
    hold(trade.doing(reason="smells"), [lot])
    (part,) = set_aside()
    assert (part.promised, part.quantity, part.standing) == (6, 0, Standing.HELD)

    release(trade.doing(reason="it was the crate"), [lot])

    assert standing() == {lot.code: 6}


def test_what_is_no_longer_there_is_no_longer_set_aside(trade: World) -> None:
    # 10 packs, 7 and 3 of them promised; 4 are binned: the order made later loses 3, the first 1.
    lot = packs(trade, 10)
    for count in (7, 3):
        aside(trade, order(trade, count, sure=True))
    throw_away(trade.doing(reason="soft", sure=True), lot=lot, quantity=4)

    parts = set_aside()
    assert [(part.promised, part.quantity) for part in parts] == [(7, 6), (3, 0)]
    assert parts[1].standing == Standing.GONE
    assert taken_of(parts) == {lot.pk: 6}


# --- a promise asks before it is broken ------------------------------------------------------


def test_selling_what_is_set_aside_asks_and_a_yes_sells_it(trade: World) -> None:
    lot = packs(trade, 10)
    asked = order(trade, 8)
    aside(trade, asked)
    bought(trade, lot, 2)

    promise = f"set aside for The Anchor on {day(asked.due_on)}"
    with pytest.raises(PlausibilityQuestion, match=promise):
        bought(trade, fresh(lot), 1)
    bought(trade, fresh(lot), 1, sure=True)
    assert fresh(lot).quantity == 7


def test_what_is_set_aside_of_lots_promised_to_nobody_is_one_query(
    trade: World, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    aside(trade, order(trade, 8, sure=True), Draw(packs(trade, 10), 8))
    free = packs(trade, 5)

    with django_assert_num_queries(1):
        assert set_aside(of=[free.pk]) == []


def test_however_many_orders_there_are_what_is_set_aside_is_two_queries(
    trade: World, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    lot = packs(trade, 20)
    for count in (4, 5, 6):
        asked = order(trade, count, sure=True)
        aside(trade, asked, Draw(lot, count))
        delivered(trade, asked, fresh(lot), 1, rest=True)

    with django_assert_num_queries(2):
        assert [part.quantity for part in set_aside()] == [3, 4, 5]


def test_a_lot_promised_beside_others_is_looked_at_alone(trade: World) -> None:
    # 12 packs asked for: 8 of one lot, 4 of the other. Of the other alone: 4.
    one, other = packs(trade, 8), packs(trade, 8)
    aside(trade, order(trade, 12, sure=True), Draw(one, 8), Draw(other, 4))

    assert [(part.lot, part.quantity) for part in set_aside(of=[other.pk])] == [(other, 4)]


def test_loading_what_is_set_aside_asks(trade: World) -> None:
    lot = packs(trade, 10)
    aside(trade, order(trade, 8))

    with pytest.raises(PlausibilityQuestion, match="3 pieces asked for, 8 pieces set aside"):
        load_stall(trade.doing(), place=trade.stall, day=trade.now.date(), lines=[Draw(lot, 3)])


def test_throwing_away_what_is_set_aside_asks_and_the_entry_keeps_the_answer(trade: World) -> None:
    lot = packs(trade, 10)
    aside(trade, order(trade, 8))
    throw_away(trade.doing(reason="old"), lot=lot, quantity=2)

    with pytest.raises(PlausibilityQuestion, match="1 piece asked for, 8 pieces set aside"):
        throw_away(trade.doing(reason="old"), lot=fresh(lot), quantity=1)
    entry = throw_away(trade.doing(reason="old", sure=True), lot=fresh(lot), quantity=1).entry

    assert "8 pieces set aside" in entry.particulars
    assert_book_is_sound()


def test_drying_what_is_set_aside_asks(trade: World) -> None:
    # 10 packs of 200 g are 2 kg; 240 g dried is within what they usually give, 221 to 255 g.
    lot = packs(trade, 10)
    aside(trade, order(trade, 8))

    with pytest.raises(PlausibilityQuestion, match="10 pieces asked for, 8 pieces set aside"):
        dry(
            trade.doing(),
            draws=[Draw(lot, 10)],
            dried_mg=240 * GRAM,
            temperature_milli_c=50_000,
            minutes_drying=600,
        )


def test_delivering_an_order_takes_its_own_promise_without_a_question(trade: World) -> None:
    lot = packs(trade, 10)
    asked = order(trade, 8)
    aside(trade, asked)

    delivered(trade, asked, lot, 8)

    assert fresh(lot).quantity == 2


def test_delivering_another_orders_promise_asks(trade: World) -> None:
    lot = packs(trade, 10)
    aside(trade, order(trade, 8))
    other = order(trade, 4, sure=True)

    with pytest.raises(PlausibilityQuestion, match="Take it all the same"):
        delivered(trade, other, lot, 4)
