"""Plan against actual: the parts add up to the whole; two published cases through the actions."""

from dataclasses import replace
from datetime import date

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from farm.actions.common import Draw
from farm.actions.growing.blocks import fill_blocks, inoculate_blocks
from farm.actions.growing.checks import check
from farm.actions.growing.harvesting import mark_spent, pick
from farm.models import Recipe, RecipeFor, RecipeVersion, Supply, Use
from farm.planning.variance import Factor
from farm.queries.costs.against_plan import BatchAgainst, batch_against, month_against
from farm.queries.growing.batches import batch_of
from farm.queries.months.months import month_of
from ledger.models import Flow, Item, Lot, Role
from tests.farm.planned import saved_plan
from tests.farm.season import season
from tests.farm.world import (
    GRAM,
    KG,
    UNIT,
    World,
    assert_book_is_sound,
    filled_bags,
    fresh,
    fruiting,
    grow_blocks,
    grow_spawn,
    run,
    small_farm,
)

pytestmark = pytest.mark.django_db

AS_BOUGHT = [["sawdust", 975 * GRAM, 4_000, True], ["block bag", 1, 2_500, False]]


def found_for(lot: Lot) -> BatchAgainst:
    found = batch_against(fresh(lot))
    assert found
    return found


def factor(found: BatchAgainst, name: str) -> Factor:
    return next(one for one in found.found.factors if one.name == name)


# --- published cases -------------------------------------------------------------------------


def blocks_with_one_ingredient(
    world: World, *, blocks: int, each: int, weighed: bool
) -> RecipeVersion:
    """A recipe of one ingredient, weighed in kilos or counted in pieces."""
    item = Item.objects.create(name="material", dimension="mass" if weighed else "count")
    supply = Supply.objects.create(item=item, use=Use.SUBSTRATE, piece_mg=0 if weighed else 5)
    world.supplies["material"] = supply
    fibre = Supply.objects.create(
        item=Item.objects.create(name="fibre", dimension="mass"), use=Use.SUBSTRATE
    )
    world.supplies["fibre"] = fibre
    recipe = Recipe.objects.create(name="One material", makes=RecipeFor.BLOCKS)
    version = RecipeVersion.objects.create(recipe=recipe, number=1, water_mg=1_293 * GRAM)
    version.lines.create(supply=supply, quantity=each)
    version.lines.create(supply=fibre, quantity=KG)
    return version


@pytest.mark.parametrize(
    ("used", "paid", "standard", "planned", "price", "quantity"),
    [
        # Cost accounting exercise 23-5 (a teaching blog): 450 used at 6.50, where 430 at 6.90.
        (450, 65_000, 430, 69_000, -180, 138),
        # The same exercise, larger: 183,200 lb at 5.80, where 185,000 at 6.00. Pieces for pounds.
        (183_200, 58_000, 185_000, 60_000, -36_640, -10_800),
    ],
)
def test_materials_differ_by_price_and_by_quantity(
    used: int, paid: int, standard: int, planned: int, price: int, quantity: int
) -> None:
    world, blocks = small_farm(), 10
    each = standard // blocks
    recipe = blocks_with_one_ingredient(world, blocks=blocks, each=each, weighed=False)
    spawn = grow_spawn(world, 2)[2]
    saved_plan(world, [["material", each, planned, False], ["fibre", KG, 0, True]], recipe=recipe)
    draws = [
        Draw(world.received("material", used, used * paid), used),
        Draw(world.received("fibre", blocks * KG, 0), blocks * KG),
    ]
    bags = fill_blocks(world.doing(), recipe=recipe, count=blocks, draws=draws).lots[-1]
    run(world, fresh(bags))
    lot = inoculate_blocks(
        world.doing(), bags=fresh(bags), count=blocks, spawn=[Draw(spawn, 2 * KG)]
    ).lots[-1]

    material = factor(found_for(lot), "material")

    assert material.price == price * UNIT
    assert material.quantity == quantity * UNIT
    assert material.actual - material.planned == (price + quantity) * UNIT


# --- the parts -------------------------------------------------------------------------------


def finished(world: World, *, lost: int, picked_mg: int) -> Lot:
    blocks = fruiting(world, 40)
    doing = world.doing(reason="green mould", sure=True)
    check(doing, lot=blocks, colonised_percent=100, lost=lost)
    pick(
        replace(world.doing(), sure=True),
        given=[Draw(fresh(blocks), 0)],
        flush=1,
        firsts_mg=picked_mg,
    )
    mark_spent(world.doing(), lot=fresh(blocks))
    return fresh(blocks)


def test_what_a_batch_used_is_what_the_book_put_into_it() -> None:
    world = small_farm()
    lot = finished(world, lost=4, picked_mg=20 * KG)
    batch = batch_of(lot)
    flows = Flow.objects.filter(entry__kind="pick", role=Role.MADE).exclude(lot=lot)
    lost = Flow.objects.filter(lot=lot, role=Role.LOST)

    # All of it is in the picks or left with the blocks lost beyond plan.
    assert batch and batch.cost == sum(sum(f.cost) for f in flows) - sum(sum(f.cost) for f in lost)
    assert_book_is_sound()


def test_the_four_parts_add_up_to_the_whole_difference() -> None:
    world = small_farm()
    saved_plan(world, AS_BOUGHT)
    found = found_for(finished(world, lost=5, picked_mg=17 * KG)).found

    assert found.actual - found.planned == sum(found.parts)
    assert sum(one.actual for one in found.factors) == found.actual


def test_blocks_lost_as_planned_and_weights_as_planned_make_no_difference() -> None:
    world = small_farm()
    saved_plan(world, AS_BOUGHT, loss_ppm=50_000, first_mg=500 * GRAM, second_mg=0)
    found = found_for(finished(world, lost=2, picked_mg=19 * KG)).found  # 38 good at 500 g

    assert found.loss == 0
    assert found.yielded == 0


def test_a_loss_beyond_plan_costs_what_the_missing_blocks_were_planned_to() -> None:
    world = small_farm()
    saved_plan(world, AS_BOUGHT, loss_ppm=50_000, first_mg=500 * GRAM, second_mg=0)
    found = found_for(finished(world, lost=21, picked_mg=9_500 * GRAM)).found
    planned = sum(one.planned for one in found.factors if one.name != "Hours of picking")

    # 19 good ones would have come of 20 started, at the planned loss: half of the 40.
    assert found.loss == planned - round(planned / 2)
    assert found.yielded == 0


def test_half_the_yield_costs_half_of_what_the_good_blocks_were_planned_to() -> None:
    world = small_farm()
    saved_plan(world, AS_BOUGHT, loss_ppm=0, first_mg=500 * GRAM, second_mg=0)
    found = found_for(finished(world, lost=0, picked_mg=10 * KG)).found
    planned = sum(one.planned for one in found.factors if one.name != "Hours of picking")

    assert found.loss == 0
    assert found.yielded == planned - round(planned / 2)


def test_a_card_saved_later_is_not_the_plan_of_what_was_started_before() -> None:
    world = small_farm()
    blocks = grow_blocks(world)
    world.wait(1)
    saved_plan(world, AS_BOUGHT)

    assert found_for(blocks).source.startswith("the recipe and planning figures in force")


def test_a_batch_that_was_split_counts_once() -> None:
    world = small_farm()
    blocks = grow_blocks(world, 40)
    part = check(world.doing(), lot=blocks, colonised_percent=100, passed=15).lots[1]

    assert found_for(part).batch.started == 40
    assert found_for(part).found == found_for(blocks).found


def test_blocks_still_growing_count_what_is_expected_of_them() -> None:
    world = small_farm()
    found = found_for(grow_blocks(world, 40))

    # Strain: 500, 200 and 60 g a block.
    assert found.got_mg == 40 * 760 * GRAM
    assert found.found.yielded == 0


# --- a month ---------------------------------------------------------------------------------


def test_a_batch_counts_in_the_month_it_was_finished() -> None:
    year = season()
    day: date = year.world.now.date()
    month = month_against(month_of(f"{day:%Y-%m}"))

    assert [one.batch.root.code for one in month.batches] == [year.grown.blocks.code]
    assert month_against(month_of("2026-09")).batches == ()


def add_batches(world: World, spawn: Lot, count: int) -> None:
    """Start batches of 4, lose 1 at a check that splits off 2, and the rest at a second."""
    for at in range(count):
        bags = filled_bags(world, 4)
        blocks = inoculate_blocks(
            world.doing(), bags=bags, count=4, spawn=[Draw(fresh(spawn), (900 + 10 * at) * GRAM)]
        ).lots[-1]
        bad = world.doing(reason="green mould", sure=True)
        part = check(bad, lot=blocks, colonised_percent=50, lost=1, passed=2).lots[1]
        for lot in (blocks, part):
            bad = world.doing(reason="green mould", sure=True)
            check(bad, lot=fresh(lot), colonised_percent=50, lost=fresh(lot).quantity)


def test_six_batches_ask_no_more_queries_than_two_and_each_is_held_as_alone() -> None:
    world = small_farm()
    spawn = grow_spawn(world, 6)[2]
    month = month_of(f"{world.now:%Y-%m}")
    asked = []
    for more in (2, 4):
        add_batches(world, spawn, more)
        with CaptureQueriesContext(connection) as queries:
            found = month_against(month)
        asked.append(len(queries))

    assert len(found.batches) == 6
    assert asked[0] == asked[1]
    assert [one.batch.started for one in found.batches] == [4] * 6
    assert len({one.found.actual for one in found.batches}) > 1  # more spawn, more cost
    for one in found.batches:
        assert one == batch_against(fresh(one.batch.root))


# --- pages -----------------------------------------------------------------------------------


def test_the_pages_show_the_difference_and_hand_it_out(owner: Client) -> None:
    year = season()
    code, day = year.grown.blocks.code, year.world.now.date()

    for key in (code, f"{day:%Y-%m}"):
        page = owner.get(f"/cost/{key}/against-plan/").content.decode()
        assert "Whole difference" in page
        assert "Quantity: used more or less than planned" in page
        for file in ("pdf", "xlsx"):
            assert owner.get(f"/cost/{key}/against-plan/?file={file}").status_code == 200


def test_it_finds_a_batch_or_a_month_from_what_was_typed(owner: Client, helper: Client) -> None:
    lot = grow_blocks(small_farm())

    assert (
        owner.get(f"/cost/?code={lot.code.lower()}")
        .headers["Location"]
        .endswith(f"/cost/{lot.code}/")
    )
    assert owner.get("/cost/?code=2026-9").headers["Location"].endswith("/2026-09/against-plan/")
    assert "No lot has the code" in owner.get("/cost/?code=ZZZZZ").content.decode()
    assert helper.get("/cost/2026-09/against-plan/").status_code == 403


def test_what_is_no_block_has_no_plan(owner: Client) -> None:
    year = season()

    assert owner.get(f"/cost/{year.packs.code}/against-plan/").status_code == 404
    assert owner.get("/cost/2026-13/against-plan/").status_code == 404
