"""Grain is prepared by recipe, sterilised, and inoculated; generations are counted."""

import json

import pytest

from farm.actions.common import Draw
from farm.actions.growing.checks import check
from farm.actions.growing.grain import inoculate_grain, prepare_grain
from farm.models import LotCard, Stage, Use
from farm.queries.costs.costs import cost_of
from farm.templatetags.farm_format import amount_of
from ledger.errors import Malformed, NotEnough
from ledger.models import Lot
from tests.conftest import signed_in
from tests.farm.filled import text, typed
from tests.farm.world import (
    GRAM,
    World,
    assert_book_is_sound,
    filled_bags,
    fresh,
    grow_spawn,
    prepared_grain,
    run,
)


def spawn_from(world: World, source: Lot, amount: int, bags: int = 10) -> Lot:
    grain = prepared_grain(world, bags)
    run(world, grain)
    made = inoculate_grain(world.doing(), grain=grain, bags=bags, source=source, amount=amount)
    return fresh(made.lots[-1])


def test_the_grain_recipe_is_34_9_percent_added_water(world: World) -> None:
    # Common practice, no source: 885 g of grain and 475 g of water weigh 1,360 g.
    grain = prepared_grain(world, 7)
    said = json.loads(grain.made_by.particulars)

    assert (grain.quantity, grain.unit_mass_mg) == (7, 1_360 * GRAM)
    assert said["added_water_ppm"] == 349_265  # 475 / 1,360
    # 12 % of the grain is water as well: 1 - 0.88 * 885 / 1,360
    assert said["moisture_wet_basis_ppm"] == 427_353


def test_grain_costs_what_its_lots_cost_and_the_labour(world: World) -> None:
    grain = prepared_grain(world, 10)

    # 8.85 kg at 0.60 and ten bags at 0.30
    assert grain.materials == 53_100 + 30_000
    # 20 minutes, and 3 a bag: 50 minutes at 18.00 an hour
    assert grain.own == 150_000


def test_the_minutes_stated_replace_the_standard_time(world: World) -> None:
    draws = [Draw(world.received("rye", 885_000), 885_000), Draw(world.received("grain bag", 1), 1)]
    doing = world.doing(by=world.helper, minutes=10)

    made = prepare_grain(doing, recipe=world.grain_recipe, bags=1, draws=draws)

    assert fresh(made.lots[-1]).paid == 25_000  # 10 minutes at 15.00 an hour


def test_it_refuses_a_recipe_for_blocks(world: World) -> None:
    with pytest.raises(Malformed, match="Sawdust v1 is a recipe for blocks, not for grain"):
        prepare_grain(world.doing(), recipe=world.block_recipe, bags=1, draws=[])


def test_it_refuses_an_ingredient_that_no_lot_gave(world: World) -> None:
    draws = [Draw(world.received("rye", 885_000), 885_000)]

    with pytest.raises(Malformed, match="Rye v1 takes grain bag: name the lot"):
        prepare_grain(world.doing(), recipe=world.grain_recipe, bags=1, draws=draws)


def test_spawn_of_a_culture_is_the_first_generation(world: World) -> None:
    culture, grain, spawn = grow_spawn(world, 10)

    assert (spawn.card.stage, spawn.card.generation, spawn.card.bags) == (Stage.SPAWN, 1, 10)
    assert spawn.quantity == 10 * 1_360 * GRAM
    assert (culture.quantity, grain.quantity) == (10, 0)


def test_each_expansion_counts_one_generation_and_keeps_the_transfers(world: World) -> None:
    _, _, first = grow_spawn(world, 10)

    second = spawn_from(world, first, 1_360 * GRAM)
    third = spawn_from(world, second, 1_360 * GRAM)

    assert [lot.card.generation for lot in (first, second, third)] == [1, 2, 3]
    assert third.card.transfers == first.card.transfers
    assert third.quantity == 11 * 1_360 * GRAM
    assert_book_is_sound()


def test_it_refuses_grain_that_was_not_sterilised(world: World) -> None:
    culture, _, _ = grow_spawn(world)
    grain = prepared_grain(world)

    with pytest.raises(Malformed, match=f"Lot {grain.code} was in no steriliser run"):
        inoculate_grain(world.doing(), grain=grain, bags=7, source=culture, amount=7)


def test_it_refuses_more_bags_than_were_prepared(world: World) -> None:
    culture, _, _ = grow_spawn(world)
    grain = prepared_grain(world, 7)
    run(world, grain)

    with pytest.raises(NotEnough, match=f"Lot {grain.code} .* 2 pieces short"):
        inoculate_grain(world.doing(), grain=grain, bags=9, source=culture, amount=7)


def test_it_refuses_filled_bags_as_grain(world: World) -> None:
    culture, _, _ = grow_spawn(world)
    bags = filled_bags(world, 4)

    with pytest.raises(Malformed, match=f"{bags.code} is filled bags, not prepared grain"):
        inoculate_grain(world.doing(), grain=bags, bags=4, source=culture, amount=4)


def test_planned_spoilage_of_grain_leaves_in_whole_bags_without_cost(world: World) -> None:
    culture, _, _ = grow_spawn(world)
    spawn = spawn_from(world, culture, 10, bags=50)  # 4 % of 50: two bags

    doing = world.doing(minutes=0, reason="wet spot / sour")
    check(doing, lot=spawn, colonised_percent=30, lost=2)

    now = fresh(spawn)
    assert now.quantity == 48 * 1_360 * GRAM
    assert now.cost == spawn.cost


def in_jars(world: World) -> None:
    jars = world.supplies["grain bag"]
    jars.use = Use.JARS
    jars.save()


def test_grain_made_in_jars_is_counted_in_jars(world: World) -> None:
    in_jars(world)
    lot = prepared_grain(world, 7)

    assert amount_of(lot.quantity, lot, world.farm) == "7 jars"
    assert cost_of(lot).unit == "jar"


def test_spawn_of_grain_in_jars_is_in_jars_by_count_and_by_weight(world: World) -> None:
    """Also the part that a check splits off, and what is said of the check."""
    in_jars(world)
    _, _, spawn = grow_spawn(world)
    client = signed_in(world.owner)
    said = typed(
        lot_code=spawn.code,
        colonised_percent="40",
        passed="4",
        lost="1",
        cause="green mould",
        when=f"{world.now:%Y-%m-%dT%H:%M}",
        sure="on",
    )
    answer = text(client.post("/record/check/", said, follow=True))
    part = LotCard.objects.filter(stage=Stage.SPAWN).latest("pk")
    page = text(client.get(f"/lots/{part.lot.code}/"))

    assert LotCard.objects.get(lot=spawn).in_jars and part.in_jars
    assert f"5 jars of lot {spawn.code}" in answer and "1 of 5 jars lost" in answer
    assert "<dt>Jars</dt><dd>4</dd>" in page and f"{4 * 1_360 / 1_000:.2f} kg" in page


def test_a_bag_with_jar_in_its_name_is_no_jar(world: World) -> None:
    world.grain_recipe.recipe.name = "Rye, jar-sized bag"
    world.grain_recipe.recipe.save()
    _, grain, spawn = grow_spawn(world)

    assert amount_of(7, grain, world.farm) == "7 bags"
    assert not LotCard.objects.filter(lot__in=(grain, spawn), in_jars=True).exists()
