"""The second working of costs over a small book whose by-products are taken off (IAS 2.14).

The figures stand beside it as they are worked by hand; `tests/year` holds it against both years.
"""

import pytest

from farm.actions.growing.harvesting import keep_spent, mark_spent
from farm.actions.recording.correcting import correct_quantity, undo
from farm.actions.selling.selling import SoldLine, sell
from farm.models import ByProductChoice, ByProductWay, Grade
from ledger.models import Flow, Lot, Role
from tests.farm.costed import blocks_at, costless_farm
from tests.farm.costs.test_taken_off import binned, firsts, graded
from tests.farm.world import FIRST_DAY, GRAM, KG, UNIT, World, fresh
from tests.second_costs import differences, off, second_costs

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> World:
    world = costless_farm()
    world.strain.third_mg = 0
    world.strain.save()
    ByProductChoice.objects.create(from_day=FIRST_DAY, way=ByProductWay.TAKEN_OFF)
    return world


def held_to_the_book() -> dict[int, int]:
    """Hold the second working against every flow; say what it leaves on each lot."""
    costs = second_costs()
    flows = [
        ((one.entry_id, one.lot_id, str(one.role)), sum(one.cost)) for one in Flow.objects.all()
    ]
    assert differences(costs, flows) == {}
    left: dict[int, int] = {}
    for (_, lot, _), cost in costs.items():
        left[lot] = left.get(lot, 0) + cost
    return left


def lost_of(lot: Lot) -> int:
    return -sum(
        cost for (_, of, role), cost in second_costs().items() if (of, role) == (lot.pk, Role.LOST)
    )


def test_trim_with_firsts_then_alone_then_spent_blocks_take_their_worth(world: World) -> None:
    """28 kg planned of 200.00, all of it off: 12.00 of trim, 4.00 of trim alone, 6.00 of blocks."""
    blocks = blocks_at(world, 40, 200)
    crop, trim = graded(world, blocks, {Grade.FIRSTS: 8, Grade.TRIM: 3}, trim=4)
    # 11 of 28 kg are 78.5714; trim takes 3 x 4.00 of it.
    assert [held_to_the_book()[lot.pk] for lot in (crop, trim)] == [66_5714, 12_0000]

    (alone,) = graded(world, blocks, {Grade.TRIM: 1}, trim=4)
    more = firsts(world, blocks, 4)
    # 121.4286 less 4.00 is 117.4286; 4 of the 16 kg that are still to come of it.
    held = held_to_the_book()
    assert [held[lot.pk] for lot in (alone, more, blocks)] == [4_0000, 29_3571, 88_0715]

    kept = keep_spent(
        world.doing(sure=True),
        lot=fresh(blocks),
        worth_money=6 * UNIT,
        crop_kg_money=10 * UNIT,
        kept_mg=30 * KG,
    ).lots[-1]
    mark_spent(world.doing(), lot=fresh(blocks))
    # 190.00 by 11 to 4 kg: 139.3333 less 12.00 of trim, and 50.6667.
    held = held_to_the_book()
    assert [held[lot.pk] for lot in (crop, trim, alone, more, kept, blocks)] == [
        127_3333,
        12_0000,
        4_0000,
        50_6667,
        6_0000,
        0,
    ]


def test_scrap_lowers_stock_and_the_loss_beyond_plan(world: World) -> None:
    """The published scheme: (70,000 - 100 x 5) / 900; 880 carry 67,955.56, 20 are 1,444.44 lost."""
    blocks = blocks_at(world, 1_000, 70_000, planned_ppm=100_000)
    scrap = binned(world, blocks, 120, 600)

    held = held_to_the_book()
    assert [held[lot.pk] for lot in (scrap, blocks)] == [600 * UNIT, 67_955_5556]
    assert lost_of(blocks) == 1_444_4444


def test_scrap_of_picked_blocks_lowers_what_the_picks_carry(world: World) -> None:
    """10 of 40 blocks are binned after the first pick, worth 5.00; nothing of it is a loss."""
    blocks = blocks_at(world, 40, 200)
    crop = firsts(world, blocks, 12)
    scrap = binned(world, blocks, 10, 5)
    mark_spent(world.doing(), lot=fresh(blocks))

    held = held_to_the_book()
    assert [held[lot.pk] for lot in (scrap, crop, blocks)] == [5_0000, 195_0000, 0]
    assert lost_of(blocks) == 0


def test_it_holds_after_sales_corrections_and_what_was_taken_back(world: World) -> None:
    blocks = blocks_at(world, 40, 200, planned_ppm=50_000)
    scrap = binned(world, blocks, 4, 8, minutes=7)
    sell(world.doing(sure=True), place=world.stall, lines=[SoldLine(fresh(scrap), KG, UNIT)])
    crop, trim = graded(world, blocks, {Grade.FIRSTS: 8, Grade.TRIM: 3}, trim=4)
    sell(world.doing(sure=True), place=world.stall, lines=[SoldLine(trim, 700 * GRAM, UNIT)])
    (alone,) = graded(world, blocks, {Grade.TRIM: 1}, trim=400)
    held_to_the_book()

    correct_quantity(
        world.doing(sure=True), alone.made_by, lot=alone, role=Role.MADE, right_quantity=333 * GRAM
    )
    kept = keep_spent(
        world.doing(sure=True),
        lot=fresh(blocks),
        worth_money=500 * UNIT,
        crop_kg_money=10 * UNIT,
        kept_mg=30 * KG,
    ).lots[-1]
    mark_spent(world.doing(), lot=fresh(blocks))
    held_to_the_book()

    undo(world.doing(reason="none"), kept.made_by)
    assert held_to_the_book()[crop.pk] == sum(fresh(crop).cost) > 0


def test_blocks_that_hold_less_than_it_is_worth_give_what_they_hold(world: World) -> None:
    """Three grades of one pick of 2 / 28 of 28.00: trim is worth 100.00 and takes all 2.00."""
    blocks = blocks_at(world, 40, 28)
    crop, trim = graded(world, blocks, {Grade.FIRSTS: 1, Grade.TRIM: 1}, trim=100)

    held = held_to_the_book()
    assert [held[lot.pk] for lot in (crop, trim)] == [0, 2_0000]


def test_a_worth_is_taken_of_each_kind_of_cost_in_its_part() -> None:
    assert off(50, (60, 30, 10, 0, 0)) == (30, 15, 5, 0, 0)
    assert off(10, (1, 1, 1, 0, 0)) == (1, 1, 1, 0, 0)
    assert off(1, (1, 1, 1, 0, 0)) == (0, 0, 1, 0, 0)  # running sums: 0, 0, 1
    assert off(5, (0, 0, 0, 0, 0)) == (0, 0, 0, 0, 0)
