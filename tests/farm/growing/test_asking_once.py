"""Pages about cost and plans ask the database as often for much as for little."""

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from farm.actions.common import Draw
from farm.actions.growing.checks import check
from farm.actions.growing.harvesting import mark_spent, pick
from farm.actions.store.packing import pack
from farm.models import PlaceKind, SellingPlace
from ledger.models import Lot
from tests.conftest import signed_in
from tests.farm.world import GRAM, KG, World, fresh, fruiting, grow_blocks

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(world: World) -> Client:
    return signed_in(world.owner)


def asked(client: Client, address: str) -> int:
    with CaptureQueriesContext(connection) as queries:
        assert client.get(address).status_code == 200
    return len(queries)


def packed(world: World, *crops: Lot) -> Lot:
    """Five packs of a kilo in all, of equal parts of some picks."""
    world.received("punnet", 5)
    draws = [Draw(fresh(crop), KG // len(crops)) for crop in crops]
    return fresh(pack(world.doing(), product=world.product, packs=5, draws=draws).lots[-1])


def picked_of(world: World, blocks: Lot) -> Lot:
    recorded = pick(world.doing(), given=[Draw(fresh(blocks), 0)], flush=1, firsts_mg=5 * KG)
    return fresh(recorded.lots[-1])


def finished(world: World) -> Lot:
    """Blocks picked once, and spent."""
    blocks = fruiting(world, 40)
    world.wait(9)
    picked_of(world, blocks)
    mark_spent(world.doing(), lot=fresh(blocks))
    return fresh(blocks)


def test_the_cost_of_packs_asks_no_more_for_packs_of_several_picks(
    client: Client, world: World
) -> None:
    blocks = fruiting(world, 40)
    world.wait(9)
    first, second = (picked_of(world, blocks) for _ in range(2))
    one, several = packed(world, first), packed(world, first, second)

    assert asked(client, f"/cost/{one.code}/") == asked(client, f"/cost/{several.code}/") < 20


def test_the_second_flush_asks_no_more_for_more_batches(client: Client, world: World) -> None:
    finished(world)
    before = asked(client, "/decisions/second-flush/")
    finished(world)

    assert asked(client, "/decisions/second-flush/") == before < 20


def test_the_cost_card_asks_no_more_for_more_selling_places(client: Client, world: World) -> None:
    grow_blocks(world)
    before = asked(client, "/card/")
    for name in ("Square", "Hall", "Gate"):
        SellingPlace.objects.create(name=name, kind=PlaceKind.STALL)

    assert asked(client, "/card/") == before


def test_the_cost_card_asks_no_more_with_something_sold_beside(
    client: Client, world: World
) -> None:
    grow_blocks(world)

    beside = asked(client, "/card/?trim_kg_money=4&spent_money=0.50&crop_kg_money=20")
    assert beside == asked(client, "/card/") < 20


def test_a_batch_against_its_plan_asks_no_more_for_more_picks_and_ingredients(
    client: Client, world: World
) -> None:
    blocks = fruiting(world, 40)
    address = f"/cost/{blocks.code}/against-plan/"
    world.wait(9)
    picked_of(world, blocks)
    before = asked(client, address)
    picked_of(world, blocks)
    world.block_recipe.lines.create(supply=world.supplies["rye"], quantity=GRAM)

    assert asked(client, address) == before < 20


def test_a_batch_against_its_plan_asks_no_more_for_parts_of_parts(
    client: Client, world: World
) -> None:
    """A check that passes some of a lot makes another lot; four in a row, each picked before."""
    lots = [fruiting(world, 40)]
    world.wait(9)
    picked_of(world, lots[0])
    for passed in (30, 20, 10, 5):
        sure = world.doing(sure=True)
        lots.append(check(sure, lot=fresh(lots[-1]), colonised_percent=100, passed=passed).lots[1])
        pick(world.doing(sure=True), given=[Draw(fresh(lots[-1]), 0)], flush=1, firsts_mg=KG)

    assert max(asked(client, f"/cost/{lot.code}/against-plan/") for lot in lots) < 20


def test_a_month_with_a_batch_against_its_plan_asks_less_than_twenty_times(
    client: Client, world: World
) -> None:
    finished(world)

    assert asked(client, f"/cost/{world.now:%Y-%m}/against-plan/") < 20


def test_the_question_of_drying_asks_less_than_twenty_times(client: Client, world: World) -> None:
    picked_of(world, fruiting(world, 40))

    assert asked(client, "/decisions/drying/") < 20
