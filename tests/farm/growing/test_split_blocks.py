"""What a check split off goes on living the life of its blocks: its days, its picks, its record."""

from datetime import date, timedelta

import pytest
from pytest_django import DjangoAssertNumQueries

from farm.actions.common import Draw
from farm.actions.growing.checks import check
from farm.actions.growing.harvesting import mark_spent, pick
from farm.actions.recording.correcting import undo
from farm.models import OrderLine
from farm.queries.day.calendar import due_from
from farm.queries.day.today import to_do
from farm.queries.day.wall_sheets import sheet_rows
from farm.queries.growing.block_lots import block_lots
from farm.queries.growing.experience import experience_of, weights_a_block_mg
from farm.queries.lives import lives_of
from farm.queries.orders.promises import promises
from ledger.models import Lot
from tests.farm.world import GRAM, KG, World, fresh, fruiting, grow_blocks, grow_spawn

DAY = timedelta(days=1)


def today_in(world: World) -> date:
    return world.now.astimezone(world.farm.zone).date()


def split_off(world: World, lot: Lot, count: int) -> Lot:
    found = check(world.doing(sure=True), lot=fresh(lot), colonised_percent=100, passed=count)
    return fresh(found.lots[1])


def crate(world: World, blocks: Lot, mg: int, flush: int = 1) -> None:
    pick(world.doing(sure=True), given=[Draw(fresh(blocks), 0)], flush=flush, firsts_mg=mg)


def spent(world: World, *lots: Lot) -> None:
    for lot in lots:
        mark_spent(world.doing(), lot=fresh(lot))


def due(today: date, lot: Lot) -> list[tuple[str, date]]:
    """What is due of a lot: the verb and its last day."""
    return [(one.title.split()[0], one.last) for one in due_from(today) if lot.code in one.title]


def waits(day: date, lot: Lot) -> list[str]:
    return [todo.about for listed in to_do(day) for todo in listed.todos if todo.lot == lot]


# --- its days --------------------------------------------------------------------------------


def test_the_first_flush_counts_from_the_inoculation_and_the_move_before_the_split(
    world: World,
) -> None:
    blocks = fruiting(world)
    inoculated = blocks.made_by.happened_on
    part = split_off(world, blocks, 10)
    smaller = split_off(world, part, 4)
    first = inoculated + timedelta(days=world.strain.first_pick_days)
    today = today_in(world)
    assert min(part.made_by.happened_on, smaller.made_by.happened_on) > inoculated

    for lot in (part, smaller, blocks):
        assert due(today, lot) == [("Pick", first)]
        assert waits(first, lot) == [f"first flush planned for {first:%-d %b}"]


def test_a_part_of_what_was_picked_waits_for_its_next_flush(world: World) -> None:
    blocks = fruiting(world)
    world.wait(9)
    crate(world, blocks, 8 * KG)
    picked_on = today_in(world)
    world.wait(2)
    part = split_off(world, blocks, 10)
    following = picked_on + timedelta(days=world.strain.flush_gap_days)

    assert due(today_in(world), part) == [("Pick", following)]
    assert waits(following, part) == [f"next flush planned for {following:%-d %b}"]


def test_what_happens_to_the_whole_after_the_split_is_not_of_the_part(world: World) -> None:
    blocks = fruiting(world)
    part = split_off(world, blocks, 10)
    world.wait(9)
    crate(world, blocks, 8 * KG)
    kinds = ("move to fruiting", "pick")

    last = lives_of([part, blocks], kinds).last
    assert {kind for lot, kind in last if lot == part.pk} == {"move to fruiting"}
    assert {kind for lot, kind in last if lot == blocks.pk} == set(kinds)


def test_a_move_that_was_taken_back_is_none_of_the_part_either(world: World) -> None:
    blocks = fruiting(world)
    moved = blocks.lines.filter(entry__kind="move to fruiting").get().entry
    part = split_off(world, blocks, 10)
    undo(world.doing(reason="another lot"), moved)

    assert lives_of([part], ("move to fruiting",)).last == {}


def test_parts_are_moved_when_their_blocks_are_grown_through(world: World) -> None:
    blocks = grow_blocks(world)
    inoculated = blocks.made_by.happened_on
    world.wait(10)
    part = split_off(world, blocks, 10)
    day = inoculated + timedelta(days=world.strain.spawn_run_days)

    assert due(today_in(world), part) == [("Move", day)]
    planned = world.strain.spawn_run_days
    assert waits(day, part) == [f"inoculated {planned} days ago, planned {planned}"]


def test_spawn_of_which_bags_were_split_off_is_as_old_as_it_is(world: World) -> None:
    _, _, spawn = grow_spawn(world)
    made = spawn.made_by.happened_on
    world.wait(6)
    part = split_off(world, spawn, 2)
    age = (today_in(world) - made).days

    assert waits(today_in(world), part) == [f"inoculated {age} days ago, checked today"]


def test_a_part_stands_on_the_sheet_of_picks(world: World) -> None:
    part = split_off(world, fruiting(world), 10)

    assert part in [row.lot for row in sheet_rows("picks", today_in(world) + DAY)]


def test_a_promise_counts_on_the_first_flush_of_a_part_on_its_own_day(world: World) -> None:
    """500 g of 40 blocks less 7 %: 18.6 kg, of the 10 split off 4.65 and of the rest 13.95."""
    blocks = fruiting(world)
    inoculated, today = blocks.made_by.happened_on, today_in(world)
    split_off(world, blocks, 10)
    first = inoculated + timedelta(days=world.strain.first_pick_days)
    line = OrderLine(product=world.product, quantity=1)

    (before,), (then,) = (promises([line], day, today) for day in (first - DAY, first))
    assert (before.coming_mg, then.coming_mg) == (0, 18_600 * GRAM)
    assert {one.day for one in then.coming} == {first}


def test_lots_that_are_no_parts_ask_nothing_more(
    world: World, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    blocks = fruiting(world)
    with django_assert_num_queries(1):
        lives_of([blocks], ("pick",))
    part = split_off(world, split_off(world, blocks, 10), 4)

    with django_assert_num_queries(4):  # two generations, and what was done to those
        lives_of([part], ("pick",))


# --- its record ------------------------------------------------------------------------------


def test_each_block_and_each_gram_stand_in_one_record(world: World) -> None:
    """8 kg of 40: 10 take 2 kg along, of which 4 take 0.8; the others keep 6 and 1.2 kg."""
    blocks = fruiting(world)
    world.wait(9)
    crate(world, blocks, 8 * KG)
    part = split_off(world, blocks, 10)
    smaller = split_off(world, part, 4)
    world.wait(10)
    crate(world, smaller, 400 * GRAM, flush=2)
    spent(world, blocks, part, smaller)
    own = experience_of(world.strain)

    assert [(lot.started, lot.given_mg(1), lot.given_mg(2)) for lot in own.grown] == [
        (30, 6 * KG, 0),
        (6, 1_200 * GRAM, 0),
        (4, 800 * GRAM, 400 * GRAM),
    ]
    assert own.flushes_mg == (200 * GRAM, 10 * GRAM, 0)
    assert weights_a_block_mg(world.species, 1) == [200 * GRAM] * 3
    (batch,) = own.batches
    assert (batch.started, round(batch.kilos * 40, 6)) == (40, 8.4)


def test_blocks_binned_since_the_pick_keep_what_they_gave(world: World) -> None:
    """8 kg of 40, 20 binned, 10 of the other 20 split off: they gave 2 kg, the 30 others 6."""
    blocks = fruiting(world)
    world.wait(9)
    crate(world, blocks, 8 * KG)
    check(world.doing(reason="pests", sure=True), lot=fresh(blocks), colonised_percent=100, lost=20)
    part = split_off(world, blocks, 10)
    spent(world, blocks, part)

    found = experience_of(world.strain).grown
    assert [(lot.started, lot.lost, lot.given) for lot in found] == [
        (30, 0, 6 * KG),
        (10, 0, 2 * KG),
    ]


@pytest.mark.parametrize("counts", [(1, 1, 1), (13, 7, 3), (39,)])
def test_not_a_milligram_is_lost_or_doubled(world: World, counts: tuple[int, ...]) -> None:
    blocks = fruiting(world)
    world.wait(9)
    crate(world, blocks, 8 * KG + 1)
    crate(world, blocks, 7)
    lots = [blocks, *(split_off(world, blocks, count) for count in counts)]
    found = block_lots([lot.pk for lot in lots])

    assert sum(lot.given for lot in found.values()) == 8 * KG + 8
    assert [lot.started for lot in found.values()] == [40 - sum(counts), *counts]


def test_a_record_is_right_while_the_rest_of_its_batch_still_grows(world: World) -> None:
    blocks = fruiting(world)
    world.wait(9)
    crate(world, blocks, 8 * KG)
    part = split_off(world, blocks, 10)
    spent(world, blocks)
    (whole,) = experience_of(world.strain).grown
    assert (whole.started, whole.given) == (30, 6 * KG)
    assert block_lots([part.pk])[part.pk].given == 2 * KG


def test_days_are_counted_where_they_passed(world: World) -> None:
    """Moved and first picked together, the split-off ones wait on by themselves."""
    blocks = fruiting(world)
    moved_on = today_in(world)
    world.wait(9)
    crate(world, blocks, 8 * KG)
    first = today_in(world)
    part = split_off(world, blocks, 10)
    world.wait(12)
    crate(world, part, KG, flush=2)
    second = today_in(world)
    spent(world, blocks, part)
    own = experience_of(world.strain)

    assert own.stand_days == ((first - moved_on).days, 1)
    assert own.wait_days == ((second - first).days, 1)


def test_how_sure_a_promise_is_counts_parts_with_what_they_gave_before(world: World) -> None:
    """30.4 kg are planned of 40. All gave 0.5 kg, on the 25th day; 10 of them 0.2 kg more."""
    blocks = fruiting(world)
    inoculated = blocks.made_by.happened_on
    world.wait(9)
    crate(world, blocks, 20 * KG)
    late = (today_in(world) - inoculated).days - world.strain.first_pick_days
    part = split_off(world, blocks, 10)
    world.wait(10)
    crate(world, part, 2 * KG, flush=2)
    spent(world, blocks, part)
    fruiting(world)
    first = today_in(world) + timedelta(days=30)
    line = OrderLine(product=world.product, quantity=1)

    (promise,) = promises([line], first, today_in(world))
    # 500 and 700 of 760 g a block.
    assert promise.records[world.strain.pk] == [(657_894, late), (921_052, late)]
