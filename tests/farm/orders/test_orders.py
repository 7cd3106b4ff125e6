"""Orders: taken against what is free, delivered by lot, short and substitute in the open."""

from datetime import timedelta

import pytest

from farm.actions.orders.orders import Days, Wanted, deliver, stop_order, take_order, write_note
from farm.actions.questions import PlausibilityQuestion
from farm.actions.recording.correcting import correct_quantity, undo
from farm.actions.selling.selling import SoldLine
from farm.actions.tracing.holding import hold
from farm.models import DeliveryNote, Order
from farm.queries.orders.allocations import sellable, suggested
from farm.queries.orders.orders import State, days_of, due_between, due_order
from ledger.errors import Conflict, Malformed
from ledger.models import Role
from tests.farm.goods import crop, on_hand, packs
from tests.farm.sold import delivered, order, selling_farm, sold
from tests.farm.world import KG, UNIT, assert_book_is_sound, fresh, grow_blocks

pytestmark = pytest.mark.django_db


def state(asked: Order) -> State:
    due = due_order(asked, asked.due_on)
    assert due
    return due.state


def test_an_order_is_open_until_it_is_delivered() -> None:
    world = selling_farm()
    lot = packs(world, 40)
    asked = order(world, 10)
    assert state(asked) == State.OPEN

    delivered(world, asked, lot, 10)

    assert state(asked) == State.DONE
    assert on_hand(lot) == 30
    assert_book_is_sound()


def test_what_is_short_is_said_to_be_short() -> None:
    world = selling_farm()
    lot = packs(world, 8)
    asked = order(world, 10, sure=True)

    delivered(world, asked, lot, 8)

    assert state(asked) == State.SHORT


def test_the_rest_of_a_short_delivery_may_follow() -> None:
    world = selling_farm()
    first, second = packs(world, 8), packs(world, 8)
    asked = order(world, 10)
    delivered(world, asked, first, 8, rest=True)
    assert state(asked) == State.REST

    delivered(world, asked, second, 2)

    assert state(asked) == State.DONE
    assert [str(note) for note in DeliveryNote.objects.all()] == ["D2026-0001", "D2026-0002"]


def test_a_substitute_is_shown_as_one() -> None:
    world = selling_farm()
    lot = crop(world, 2 * KG)
    asked = order(world, 10)

    deliver(
        world.doing(), order=asked, due_on=asked.due_on, lines=[SoldLine(lot, 2 * KG, 20 * UNIT)]
    )

    due = due_order(asked, asked.due_on)
    assert due and due.state == State.DONE
    assert due.asked[0].given[0].is_substitute


def test_an_order_is_not_delivered_twice() -> None:
    world = selling_farm()
    lot = packs(world)
    asked = order(world, 10)
    delivered(world, asked, lot, 10)

    with pytest.raises(Malformed, match="is delivered already"):
        delivered(world, asked, lot, 10)


def test_a_delivery_that_is_undone_leaves_the_order_open() -> None:
    world = selling_farm()
    lot = packs(world)
    asked = order(world, 10)
    recorded = delivered(world, asked, lot, 10)

    undo(world.doing(), recorded.entry)

    assert state(asked) == State.OPEN
    delivered(world, asked, lot, 10)
    assert state(asked) == State.DONE


def test_a_corrected_delivery_counts_as_corrected() -> None:
    world = selling_farm()
    lot = packs(world)
    asked = order(world, 10)
    entry = delivered(world, asked, lot, 10).entry

    correct_quantity(world.doing(), entry, lot=lot, role=Role.SOLD, right_quantity=9)

    assert state(asked) == State.SHORT


def test_a_delivery_sent_twice_is_one() -> None:
    world = selling_farm()
    lot = packs(world)
    asked, doing = order(world, 10), world.doing()
    for _ in range(2):
        deliver(doing, order=asked, due_on=asked.due_on, lines=[SoldLine(lot, 10, 5 * UNIT)])

    assert on_hand(lot) == 30
    assert DeliveryNote.objects.count() == 1
    with pytest.raises(Conflict):
        deliver(
            doing,
            order=asked,
            due_on=asked.due_on,
            lines=[SoldLine(lot, 10, 5 * UNIT)],
            rest_follows=True,
        )


def test_an_order_sent_twice_is_one_and_other_words_are_a_conflict() -> None:
    world = selling_farm()
    packs(world)
    doing, lines = world.doing(), [Wanted(world.product, 3)]
    for _ in range(2):
        take_order(doing, customer=world.customer, days=Days(doing.day), lines=lines)

    assert Order.objects.count() == 1
    with pytest.raises(Conflict):
        take_order(
            doing, customer=world.customer, days=Days(doing.day), lines=[Wanted(world.product, 4)]
        )


# --- what is free ----------------------------------------------------------------------------


def test_more_than_is_free_asks_and_a_yes_takes_it() -> None:
    # 8 packs of 200 g are 1.6 kg; 10 packs are 2 kg.
    world = selling_farm()
    packs(world, 8)

    with pytest.raises(PlausibilityQuestion, match=r"1\.60 kg"):
        order(world, 10)
    assert Order.objects.count() == 0
    assert order(world, 10, sure=True)


def test_what_is_promised_is_not_promised_again() -> None:
    world = selling_farm()
    packs(world, 10)
    order(world, 6)

    with pytest.raises(PlausibilityQuestion):
        order(world, 6)
    assert order(world, 4)


def test_a_promise_for_later_keeps_its_goods() -> None:
    world = selling_farm()
    packs(world, 10)
    order(world, 10, in_days=2)

    with pytest.raises(PlausibilityQuestion):
        order(world, 1)


def test_what_does_not_keep_until_the_day_is_not_promised() -> None:
    world = selling_farm()
    packs(world, 10)

    with pytest.raises(PlausibilityQuestion):
        order(world, 1, in_days=world.species.fridge_days + 1)


def test_what_is_planned_to_be_picked_by_then_is_free() -> None:
    # 40 blocks less 7 % at 500 g are 18.6 kg: 93 packs.
    world = selling_farm()
    grow_blocks(world, 40)
    days = world.strain.first_pick_days

    assert order(world, 93, in_days=days)
    with pytest.raises(PlausibilityQuestion):
        order(world, 1, in_days=days)


def test_lots_on_hold_are_not_promised() -> None:
    world = selling_farm()
    lot = packs(world, 10)
    hold(world.doing(reason="smell"), [lot])

    with pytest.raises(PlausibilityQuestion):
        order(world, 1)


def test_the_oldest_lot_that_keeps_until_the_day_is_given_first() -> None:
    world = selling_farm()
    too_old = packs(world, 5)
    world.wait(world.species.fridge_days)
    older, newer = packs(world, 5), packs(world, 5)
    asked = order(world, 8, in_days=1)

    due = due_order(asked, asked.due_on)
    assert due and suggested(due, sellable(due)) == {older.pk: 5, newer.pk: 3}
    assert fresh(too_old).quantity == 5


# --- weekly, called off, notes ----------------------------------------------------------------


def test_a_weekly_order_is_due_every_week_until_it_is_called_off() -> None:
    world = selling_farm()
    asked = order(world, 1, every_weeks=1, sure=True)
    last = asked.due_on + timedelta(days=21)
    stop_order(world.doing(reason="closed"), asked, from_day=asked.due_on + timedelta(days=14))

    states = [due.state for due in due_between(asked.due_on, last)]

    assert states == [State.OPEN, State.OPEN, State.OFF, State.OFF]
    assert days_of(asked, asked.due_on + timedelta(days=1), last)[0] == asked.due_on + timedelta(7)


def test_an_order_that_was_called_off_is_not_delivered() -> None:
    world = selling_farm()
    lot = packs(world)
    asked = order(world, 2)
    stop_order(world.doing(reason="closed"), asked, from_day=asked.due_on)

    with pytest.raises(Malformed, match="called off"):
        delivered(world, asked, lot, 2)


def test_a_sale_without_an_order_gets_its_note_once() -> None:
    world = selling_farm()
    sale = sold(world, packs(world), 2).entry.sale

    assert write_note(sale) == write_note(sale)
    assert str(write_note(sale)) == "D2026-0001"
