"""Bags become blocks, blocks move to fruiting: rates, planned loss, room."""

import json

import pytest

from farm.actions.common import Draw, last_day, post
from farm.actions.growing.blocks import fill_blocks, inoculate_blocks, move, move_to_fruiting
from farm.actions.growing.checks import check
from farm.kinds.growing import RECEIVE_SUPPLIES
from farm.kinds.tracing import HOLD
from farm.models import Stage
from ledger.drafts import MarkDraft
from ledger.errors import Malformed, NotEnough
from ledger.models import Charge
from tests.farm.world import (
    GRAM,
    UNIT,
    World,
    assert_book_is_sound,
    filled_bags,
    fresh,
    fruiting,
    grow,
    grow_blocks,
    grow_spawn,
    prepared_grain,
)


def test_the_block_recipe_is_57_0_percent_added_water(world: World) -> None:
    # Common practice, no source: 975 g of sawdust and 1,293 g of water weigh 2,268 g (5 lb).
    bags = filled_bags(world, 40, sterilised=False)
    said = json.loads(bags.made_by.particulars)

    assert (bags.quantity, bags.unit_mass_mg) == (40, 2_268 * GRAM)
    assert said["added_water_ppm"] == 570_106  # 1,293 / 2,268
    # 8 % of the sawdust is water as well: 1 - 0.92 * 975 / 2,268, and that over the dry matter
    assert said["moisture_wet_basis_ppm"] == 604_497
    assert said["moisture_dry_basis_ppm"] == 1_528_428


def test_bags_cost_their_materials_and_the_filling(world: World) -> None:
    bags = filled_bags(world, 40, sterilised=False)

    assert bags.materials == 156_000 + 100_000  # 39 kg at 0.40, forty bags at 0.25
    assert bags.own == 525_000  # 15 minutes, and 4 a block: 175 at 18.00 an hour


def test_it_refuses_a_recipe_for_grain(world: World) -> None:
    with pytest.raises(Malformed, match="is a recipe for grain, not for blocks"):
        fill_blocks(world.doing(), recipe=world.grain_recipe, count=4, draws=[])


def test_it_refuses_spawn_among_the_ingredients(world: World) -> None:
    _, _, spawn = grow_spawn(world)

    with pytest.raises(Malformed, match=f"{spawn.code} is grain spawn, not supplies"):
        draws = [Draw(spawn, GRAM)]
        fill_blocks(world.doing(), recipe=world.block_recipe, count=4, draws=draws)


def test_226_8_g_in_2_268_g_is_a_10_percent_rate(world: World) -> None:
    # Common practice, no source: 10 % of 2,268 g (5 lb) of substrate is 226.8 g (half a pound).
    blocks = grow_blocks(world, 40)
    said = json.loads(blocks.made_by.particulars)

    assert (blocks.quantity, blocks.unit_mass_mg) == (40, 2_494_800)
    assert said["spawn_mg_per_block"] == 226_800
    assert said["of_wet_substrate_ppm"] == 100_000
    assert said["of_finished_bag_ppm"] == 90_909  # 226.8 / 2,494.8
    assert said["of_dry_substrate_ppm"] == 252_843  # 226.8 / (0.92 * 975), 604,497 ppm moist


def test_blocks_carry_on_what_they_are_made_of(world: World) -> None:
    grown = grow(world, 40)
    card = grown.blocks.card

    assert (card.stage, card.strain, card.generation) == (Stage.BLOCKS, world.strain, 1)
    assert card.recipe == world.block_recipe
    assert grown.spawn.quantity - 40 * 226_800 == fresh(grown.spawn).quantity
    assert grown.blocks.placings.get().shelf == world.shelf
    assert_book_is_sound()


def test_it_refuses_bags_that_were_not_sterilised(world: World) -> None:
    _, _, spawn = grow_spawn(world)
    bags = filled_bags(world, 4, sterilised=False)

    with pytest.raises(Malformed, match=f"Lot {bags.code} was in no steriliser run"):
        inoculate_blocks(world.doing(), bags=bags, count=4, spawn=[Draw(spawn, 907_200)])


def test_it_refuses_spawn_of_two_strains(world: World) -> None:
    bags = filled_bags(world, 4)
    _, _, grey = grow_spawn(world, 1)
    _, _, white = grow_spawn(world, 1, world.other_strain)
    draws = [Draw(grey, 400 * GRAM), Draw(white, 400 * GRAM)]

    with pytest.raises(Malformed, match=r"2 strains .*Oyster · Grey, .*Lion's mane · White"):
        inoculate_blocks(world.doing(), bags=bags, count=4, spawn=draws)


def test_two_spawn_lots_of_one_strain_may_be_mixed(world: World) -> None:
    bags = filled_bags(world, 4)
    draws = [Draw(grow_spawn(world, 1)[2], 450 * GRAM) for _ in range(2)]

    blocks = inoculate_blocks(world.doing(), bags=bags, count=4, spawn=draws).lots[-1]

    assert blocks.unit_mass_mg == 2_268 * GRAM + 225 * GRAM
    assert blocks.edges_in.count() == 3


def test_it_refuses_blocks_without_spawn(world: World) -> None:
    with pytest.raises(Malformed, match="No spawn was named"):
        inoculate_blocks(world.doing(), bags=filled_bags(world, 4), count=4, spawn=[])


def test_it_refuses_grain_that_was_never_inoculated_as_spawn(world: World) -> None:
    draws = [Draw(prepared_grain(world), 1)]

    with pytest.raises(Malformed, match="is prepared grain, not grain spawn"):
        inoculate_blocks(world.doing(), bags=filled_bags(world, 4), count=4, spawn=draws)


def test_it_refuses_more_spawn_than_there_is(world: World) -> None:
    bags, (_, _, spawn) = filled_bags(world, 4), grow_spawn(world, 1)

    with pytest.raises(NotEnough, match=f"Lot {spawn.code} .* 0.64 kg short"):
        inoculate_blocks(world.doing(), bags=bags, count=4, spawn=[Draw(spawn, 2_000 * GRAM)])


def test_the_planned_two_of_forty_leave_without_cost(world: World) -> None:
    blocks = grow_blocks(world, 40)

    doing = world.doing(minutes=0, reason="green mould")
    check(doing, lot=blocks, colonised_percent=60, lost=2)  # floor(7 % of 40)

    now = fresh(blocks)
    assert (now.quantity, now.cost) == (38, blocks.cost)


def test_each_further_block_carries_its_share_out(world: World) -> None:
    blocks = grow_blocks(world, 40)

    doing = world.doing(minutes=0, reason="green mould")
    check(doing, lot=blocks, colonised_percent=60, lost=5)

    # Two leave free; three of the 38 left take 3/38 of what they had cost, rounded down.
    left = tuple(cost - cost * 3 // 38 for cost in blocks.cost)
    assert (fresh(blocks).quantity, fresh(blocks).cost) == (35, left)
    assert_book_is_sound()


def test_a_new_planning_figure_changes_no_past(world: World) -> None:
    blocks = grow_blocks(world, 40)
    world.strain.planned_loss_ppm = 0
    world.strain.save()

    doing = world.doing(minutes=0, reason="green mould")
    check(doing, lot=blocks, colonised_percent=60, lost=2)

    assert fresh(blocks).cost == blocks.cost


def test_the_move_to_fruiting_charges_the_days_of_incubation(world: World) -> None:
    blocks = fruiting(world, 40)

    entry = Charge.objects.get(kind="room").entry
    assert entry.kind == "move to fruiting"
    assert blocks.room == 128_000  # 16 days of 40 blocks at 0.02
    assert entry.charges.get(kind="own").amount == 135_000  # 45 minutes at 18.00 an hour
    assert blocks.placings.latest("pk").shelf == world.fruiting_shelf


def test_it_refuses_to_move_to_fruiting_twice(world: World) -> None:
    blocks = fruiting(world)

    with pytest.raises(Malformed, match=r"moved to fruiting on \w+ \d+ Oct 2026.*use “move”"):
        move_to_fruiting(world.doing(), lot=blocks, shelf=world.fruiting_shelf)


def test_the_same_move_sent_twice_has_one_effect(world: World) -> None:
    blocks, doing = grow_blocks(world), world.doing()

    first = move_to_fruiting(doing, lot=blocks, shelf=world.fruiting_shelf)
    again = move_to_fruiting(doing, lot=blocks, shelf=world.fruiting_shelf)

    assert (again.entry, again.fresh) == (first.entry, False)


def test_it_refuses_to_move_bags_to_fruiting(world: World) -> None:
    bags = filled_bags(world, 4)

    with pytest.raises(Malformed, match=f"Lot {bags.code} is filled bags, not blocks"):
        move_to_fruiting(world.doing(), lot=bags, shelf=world.fruiting_shelf)


def test_a_lot_on_hold_may_be_moved(world: World) -> None:
    blocks = grow_blocks(world)
    post(world.doing(reason="smells sour"), HOLD, [], marks=[MarkDraft(blocks, held=True)])

    move(world.doing(), lot=blocks, shelf=world.fridge_shelf)

    assert blocks.placings.latest("pk").shelf == world.fridge_shelf
    assert (fresh(blocks).cost, fresh(blocks).quantity) == (blocks.cost, 40)


def test_a_day_is_known_by_the_farms_own_clock(world: World) -> None:
    world.now = world.now.replace(hour=21, minute=30)  # an hour on it is past midnight in Madrid

    entry = world.received("sawdust", GRAM, UNIT).made_by

    assert (world.now.day, entry.happened_on.day) == (7, 8)
    assert last_day(entry.lots_made.get(), [RECEIVE_SUPPLIES]) == entry.happened_on
