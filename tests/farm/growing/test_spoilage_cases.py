"""Published cases of spoilage and stock, driven through the farm's actions.

Units are blocks; money is in whole units of the currency. The sources' figures are theirs, the
setting is ours.
"""

from datetime import date

import pytest
from django.test import Client

from farm.actions.common import Draw, oldest_first
from farm.actions.growing.blocks import fill_blocks
from farm.actions.growing.checks import check
from farm.actions.growing.supplies import Delivery, receive_supplies, top_up
from farm.models import Recipe, RecipeFor, RecipeVersion, Supply, Use
from ledger.errors import Malformed
from ledger.models import Item, Lot
from tests.farm.costed import blocks_at, costless_farm, lost, whole
from tests.farm.filled import last_entry, send, text
from tests.farm.world import (
    KG,
    UNIT,
    World,
    assert_book_is_sound,
    fresh,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> World:
    return costless_farm()


# --- spoilage --------------------------------------------------------------------------------


def test_normal_spoilage_makes_the_good_dearer_and_abnormal_is_a_loss(world: World) -> None:
    """550 units cost 2,200; 500 good, 30 normal, 20 abnormal spoiled (an exam's answer, seen)."""
    blocks = blocks_at(world, 550, 2_200, planned_ppm=54_546)  # 30 of 550
    passed = check(
        world.doing(reason="green mould"), lot=blocks, colonised_percent=80, passed=500, lost=50
    ).lots[1]

    assert whole(passed) == 2_120 * UNIT
    assert lost(passed) == 80 * UNIT
    assert whole(passed) // 500 == 42_400
    assert whole(blocks) == 0
    assert_book_is_sound()


def test_spoilage_at_an_inspection_on_the_way(world: World) -> None:
    """The second of two departments, first in first out (a managerial accounting text, seen).

    At the start 2,000 units, 40 % done, at 2,824; in come 8,000 at 3,680; conversion 2,226, which
    is 0.30 a whole unit; inspection at 80 %; 7,350 go out, 150 are spoiled, 100 of them normal;
    2,500 stay, 30 % done. Published: finished 8,202, abnormal loss 35, at the end 1,375. The 882
    of material added at the end (0.12 x 7,350) is left out: blocks take none after their spawn.
    """
    begun = blocks_at(world, 2_000, 2_824)
    started = blocks_at(world, 8_000, 3_680, planned_ppm=18_250)  # 146, of which 100 go along
    # 2,000 lack 60 %: 1,200 x 0.30.
    check(world.doing(minutes=360), lot=begun, colonised_percent=100)
    # 5,500 come to 80 %: 4,400 x 0.30. The 5,350 passed go on to the end: 1,070 x 0.30.
    passed = check(
        world.doing(minutes=1_320, reason="green mould"),
        lot=started,
        colonised_percent=80,
        passed=5_350,
        lost=150,
    ).lots[1]
    check(world.doing(minutes=321), lot=fresh(passed), colonised_percent=100)
    # 2,500 come to 30 %: 750 x 0.30.
    check(world.doing(minutes=225), lot=fresh(started), colonised_percent=30)

    assert lost(passed) == 35 * UNIT
    assert whole(started) == 1_375 * UNIT
    assert whole(begun) + whole(passed) == (8_202 - 882) * UNIT
    assert_book_is_sound()


def test_the_spoiled_are_split_into_normal_and_abnormal(world: World) -> None:
    """25,000 to account for, 18,500 out, 4,000 stay: 2,500 spoiled; normal is 10 % of the good.

    Published (a cost accounting text, seen): 1,850 normal and 650 abnormal. The rate is on good
    output, so the plan of the lot is stated as 1,850 of the 21,000 that were inspected.
    """
    blocks = blocks_at(world, 25_000, 25_000, planned_ppm=88_120)  # 2,203, of which 1,850 go along
    passed = check(
        world.doing(reason="green mould"),
        lot=blocks,
        colonised_percent=80,
        passed=18_500,
        lost=2_500,
    ).lots[1]

    # A unit costs 1.00 when it is inspected.
    assert lost(passed) == 650 * UNIT
    assert whole(passed) == (18_500 + 1_850) * UNIT


def test_looked_over_without_an_inspection_the_plan_goes_first(world: World) -> None:
    """40 blocks at 211, 7 %: two leave free, the next three carry three of 38 parts: own rule."""
    blocks = blocks_at(world, 40, 0, planned_ppm=70_000)
    check(world.doing(minutes=211), lot=blocks, colonised_percent=50)
    check(world.doing(reason="green mould"), lot=fresh(blocks), colonised_percent=60, lost=5)

    # 211 / 38 x 3, at 1/10,000 rounded down.
    assert lost(blocks) == 211 * UNIT * 3 // 38


# --- stock: first in first out, and the average of a topped-up bin ---------------------------


def one_material(world: World) -> RecipeVersion:
    item = Item.objects.create(name="material", dimension="mass")
    world.supplies["material"] = Supply.objects.create(item=item, use=Use.SUBSTRATE)
    recipe = Recipe.objects.create(name="Material", makes=RecipeFor.BLOCKS)
    version = RecipeVersion.objects.create(recipe=recipe, number=1, water_mg=KG)
    version.lines.create(supply=world.supplies["material"], quantity=100 * KG)
    return version


def received(world: World, kg: int, price: int) -> Lot:
    return world.received("material", kg * KG, kg * price * UNIT)


def issued(world: World, recipe: RecipeVersion, draws: list[Draw]) -> int:
    filled = fill_blocks(
        world.doing(),
        recipe=recipe,
        count=sum(draw.quantity for draw in draws) // (100 * KG),
        draws=draws,
    )
    return whole(filled.lots[-1])


def test_the_oldest_lots_first_is_first_in_first_out(world: World) -> None:
    """200 at 10, 300 at 12, 400 out, 400 at 15, 300 out (open study notes, seen)."""
    recipe = one_material(world)
    supply = world.supplies["material"]
    received(world, 200, 10)
    received(world, 300, 12)
    first = issued(world, recipe, oldest_first(supply, 400 * KG))
    received(world, 400, 15)
    second = issued(world, recipe, oldest_first(supply, 300 * KG))
    left = Lot.objects.filter(item=supply.item)

    assert (first, second) == (4_400 * UNIT, 4_200 * UNIT)
    assert sum(sum(lot.cost) for lot in left) == 3_000 * UNIT


def test_a_topped_up_bin_is_the_moving_average(world: World) -> None:
    """The same deliveries poured into one bin: 4,480 and 4,272 out, 2,848 left (the same notes)."""
    recipe = one_material(world)
    first_sacks = [received(world, 200, 10), received(world, 300, 12)]
    filled = fresh(top_up(world.doing(), lots=first_sacks).lots[-1])
    first = issued(world, recipe, [Draw(filled, 400 * KG)])
    again = top_up(world.doing(), lots=[fresh(filled), received(world, 400, 15)]).lots[-1]
    second = issued(world, recipe, [Draw(fresh(again), 300 * KG)])

    assert (first, second) == (4_480 * UNIT, 4_272 * UNIT)
    assert whole(again) == 2_848 * UNIT
    assert_book_is_sound()


def test_a_bin_takes_one_supply_and_two_lots_at_least(world: World) -> None:
    one_material(world)
    sack, rye = received(world, 200, 10), world.received("rye", KG)

    for lots in ([sack], [sack, sack], [sack, rye], []):
        with pytest.raises(Malformed, match="two or more lots of one supply"):
            top_up(world.doing(), lots=lots)


def test_a_bin_keeps_the_earliest_best_before_and_the_supplier(world: World) -> None:
    one_material(world)
    supply = world.supplies["material"]
    days = (date(2027, 3, 1), date(2027, 2, 1))
    sacks = [
        receive_supplies(
            world.doing(),
            supply=supply,
            quantity=KG,
            paid_money=UNIT,
            delivery=Delivery(supplier=world.supplier, best_before=day),
        ).lots[0]
        for day in days
    ]
    card = top_up(world.doing(), lots=sacks, shelf=world.shelf).lots[-1].card

    assert (card.best_before, card.supplier) == (days[1], world.supplier)


def test_the_form_tops_a_bin_up(owner: Client, world: World) -> None:
    one_material(world)
    sacks = [received(world, 200, 10), received(world, 300, 12)]
    sent = send(owner, "/record/top-up/", lots=[sack.code for sack in sacks])

    assert sent.status_code == 302, text(sent)
    assert Lot.objects.get(made_by=last_entry()).quantity == 500 * KG
