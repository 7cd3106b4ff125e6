"""Standing orders: every so many weeks, with an end, resting; and how sure a coming day is."""

from datetime import UTC, date, datetime, time, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from farm.actions.growing.checks import check
from farm.actions.growing.harvesting import mark_spent
from farm.actions.orders.orders import Days, Wanted, pause_order, take_order
from farm.models import Order, OrderPause
from farm.queries.growing.batches import batch_of
from farm.queries.orders.orders import State, days_of, due_order, orders
from farm.queries.orders.promises import Promise, Sureness, outlooks
from farm.reports.orders.certainty_words import sure_words
from ledger.errors import Malformed
from ledger.models import Lot
from tests.farm.goods import packs
from tests.farm.sold import order, wanted
from tests.farm.world import KG, World, fresh, grow_blocks, picked

pytestmark = pytest.mark.django_db

FRIDAY = date(2026, 9, 11)
WEEK = timedelta(weeks=1)


def standing(world: World, every_weeks: int, until: date | None = None) -> Order:
    return take_order(
        world.doing(sure=True),
        customer=world.customer,
        days=Days(FRIDAY, every_weeks, until),
        lines=[Wanted(world.product, 2)],
    )


def days(asked: Order, last: date) -> list[date]:
    return days_of(orders().get(pk=asked.pk), FRIDAY, last)


def test_an_order_every_other_week_is_due_every_other_week(trade: World) -> None:
    asked = standing(trade, 2)

    assert days(asked, FRIDAY + 5 * WEEK) == [FRIDAY, FRIDAY + 2 * WEEK, FRIDAY + 4 * WEEK]
    assert days_of(asked, FRIDAY + WEEK, FRIDAY + 2 * WEEK) == [FRIDAY + 2 * WEEK]


def test_an_order_ends_on_its_last_day(trade: World) -> None:
    asked = standing(trade, 1, until=FRIDAY + 2 * WEEK)

    assert days(asked, FRIDAY + 9 * WEEK) == [FRIDAY, FRIDAY + WEEK, FRIDAY + 2 * WEEK]
    assert asked.how_often == "every week until 25 Sep 2026"


def test_an_order_does_not_end_before_it_begins(trade: World) -> None:
    with pytest.raises(Malformed, match=r"Fri 4 Sep 2026, is before the first"):
        standing(trade, 1, until=FRIDAY - WEEK)


def test_a_resting_order_is_due_and_not_open(trade: World) -> None:
    asked = standing(trade, 1)
    pause_order(trade.doing(reason="holiday"), asked, first=FRIDAY + WEEK, last=FRIDAY + 2 * WEEK)
    again = orders().get(pk=asked.pk)

    found = [due_order(again, FRIDAY + week * WEEK) for week in range(4)]
    states = [due.state for due in found if due]
    assert states == [State.OPEN, State.PAUSED, State.PAUSED, State.OPEN]


def test_a_rest_sent_twice_is_one(trade: World) -> None:
    asked = standing(trade, 1)
    for _ in range(2):
        pause_order(trade.doing(reason="holiday"), asked, first=FRIDAY, last=FRIDAY)

    assert OrderPause.objects.count() == 1


def test_only_a_standing_order_rests_and_not_backwards(trade: World) -> None:
    packs(trade)
    once, weekly = order(trade, 1), standing(trade, 1)

    with pytest.raises(Malformed, match=r"is due once\. Call it off"):
        pause_order(trade.doing(reason="holiday"), once, first=FRIDAY, last=FRIDAY)
    with pytest.raises(Malformed, match="State a later last day"):
        pause_order(trade.doing(reason="holiday"), weekly, first=FRIDAY, last=FRIDAY - WEEK)


# --- how sure --------------------------------------------------------------------------------


def promised(world: World, mass_mg: int, *, in_days: int) -> tuple[Promise, list[str]]:
    """What there will be for an order of so much loose oyster, and what is said of it."""
    asked = wanted(world, Wanted(world.species, mass_mg, 20), in_days=in_days)
    span, today = (asked.due_on, asked.due_on), world.now.date()
    (outlook,) = outlooks(asked, orders(), span=span, today=today)
    ((_, found),) = outlook.promises
    return found, sure_words(outlook, "kg")


def asked_about(asked: Order, today: date) -> int:
    """How often the database is asked about a month of an order."""
    span = (today, today + 4 * WEEK)
    found = orders().get(pk=asked.pk)
    with CaptureQueriesContext(connection) as queries:
        outlooks(found, list(orders()), span=span, today=today)
    return len(queries)


def finished_lot(world: World, picked_mg: int) -> None:
    """40 blocks gave so much in their first flush, were spent, and all of it is too old now."""
    crop = picked(world, firsts_mg=picked_mg)
    mark_spent(world.doing(), lot=fresh(crop.edges_in.get().src))
    world.wait(10)


def test_what_is_there_needs_no_guess(trade: World) -> None:
    packs(trade, 40)
    found, words = promised(trade, 2 * KG, in_days=1)

    assert (found.there_mg, found.of_picks_mg, found.sureness) == (8 * KG, 0, None)
    assert words == ["Oyster, loose: all of it is there."]


@pytest.mark.parametrize(("wanted_kg", "share_ppm", "kept"), [(10, 537_635, 1), (15, 806_452, 0)])
def test_a_coming_pick_is_as_sure_as_finished_lots_were(
    trade: World, wanted_kg: int, share_ppm: int, kept: int
) -> None:
    # 40 blocks at 500 g, less 7 %, are 18.6 kg to come: 10 kg need 53.7635 % of it. The finished
    # lot gave 20 kg of the 30.4 kg planned in three flushes, 65.8 %, within the three days.
    finished_lot(trade, 20 * KG)
    grow_blocks(trade, 40)
    found, words = promised(trade, wanted_kg * KG, in_days=28)

    assert found.coming_mg == 18_600_000
    assert found.sureness == Sureness(kept, of=1, share_ppm=share_ppm)
    assert f"{kept} of 1 lots gave" in words[0]


def test_a_month_of_days_and_lines_asks_no_more_often_than_one_day_of_one(trade: World) -> None:
    finished_lot(trade, 20 * KG)
    grow_blocks(trade, 40)
    once = wanted(trade, Wanted(trade.species, 30 * KG, 20))
    few = asked_about(once, trade.now.date())
    for _ in range(2):
        picked(trade, firsts_mg=KG)
        grow_blocks(trade, 4)
        weekly = wanted(
            trade, Wanted(trade.product, 300), Wanted(trade.species, 30 * KG, 20), every_weeks=1
        )

    assert asked_about(weekly, trade.now.date()) == few <= 10


@pytest.mark.parametrize(("in_days", "kg"), [(1, 12), (8, 12), (9, 20)])
def test_what_is_left_of_a_flush_that_is_being_picked_is_still_to_come(
    trade: World, in_days: int, kg: int
) -> None:
    """Planned .5 and .2 kg a block of 40; 8 kg picked yesterday: 12 kg of it, and 8 kg of flush 2.

    The rest counts for tomorrow; flush 2 for ten days after the pick.
    """
    blocks = picked_yesterday(trade, 8 * KG)
    found, _ = promised(trade, 30 * KG, in_days=in_days)
    batch = batch_of(blocks)

    assert found.coming_mg == kg * KG
    assert batch and batch.expected_mg == 20 * KG


def test_the_rest_of_a_flush_is_overdue_once_a_pick_would_be_of_the_next(trade: World) -> None:
    """Within half of ten days a pick is of the same flush: picked five days ago, nobody knows."""
    picked_yesterday(trade, 8 * KG)
    trade.wait(3)
    assert promised(trade, 30 * KG, in_days=1)[0].coming_mg == 12 * KG
    trade.wait(1)
    assert promised(trade, 30 * KG, in_days=1)[0].coming_mg == 0


def test_a_part_split_off_gives_the_rest_of_the_flush_that_its_whole_was_picked_of(
    trade: World,
) -> None:
    """8 kg of 40, of which 10 go elsewhere: 9 and 3 kg are left of flush 1. 5 of the 10 are binned:
    10.5 kg; and of flush 2, 35 times .2 kg.
    """
    blocks = picked_yesterday(trade, 8 * KG)
    part = check(trade.doing(sure=True), lot=blocks, colonised_percent=100, passed=10).lots[1]
    check(trade.doing(reason="pests", sure=True), lot=fresh(part), colonised_percent=100, lost=5)

    assert promised(trade, 30 * KG, in_days=1)[0].coming_mg == 10_500_000
    assert promised(trade, 30 * KG, in_days=9)[0].coming_mg == 17_500_000


def picked_yesterday(world: World, picked_mg: int) -> Lot:
    """40 blocks, planned .5, .2 and no kg, of which so much was picked yesterday of flush 1."""
    world.strain.first_mg, world.strain.second_mg, world.strain.third_mg = 500_000, 200_000, 0
    world.strain.flush_gap_days = 10
    world.strain.save()
    crop = picked(world, firsts_mg=picked_mg)
    world.now = datetime.combine(crop.made_by.happened_on + timedelta(days=1), time(9), tzinfo=UTC)
    return fresh(crop.edges_in.get().src)


def test_without_a_finished_lot_nothing_is_claimed(trade: World) -> None:
    grow_blocks(trade, 40)
    _, words = promised(trade, 10 * KG, in_days=28)

    assert words[0].endswith("No finished lot says how sure that is.")


def test_more_than_there_will_be_is_said_in_kilograms(trade: World) -> None:
    grow_blocks(trade, 40)
    found, words = promised(trade, 20 * KG, in_days=28)

    assert found.free_mg == -1_400_000
    assert "1.40 kg · 3.09 lb too much is promised" in words[0]
