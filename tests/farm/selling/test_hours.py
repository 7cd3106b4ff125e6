"""Every action charges its hours or asks for none: no typed minute is dropped."""

import pytest
from django.test import Client

from farm.actions.common import Draw
from farm.actions.selling.selling import SoldLine, sell, take_back
from farm.actions.selling.stalls import load_stall
from farm.kinds import TIMED
from farm.models import SaleLine, StandardTime
from farm.pages.all_actions import DEEDS
from farm.pages.lookups.lookup_forms import TIMES
from ledger.models import Entry
from tests.conftest import signed_in
from tests.farm.filled import text
from tests.farm.goods import a_day, costs, crop, packs
from tests.farm.world import KG, UNIT, World, picked

FREE = {
    "receive-supplies", "top-up", "buy-culture", "move", "spent", "weigh-again", "throw-away",
    "hold", "release", "keep-spent-blocks", "give-away", "check-weights",
}  # fmt: skip


@pytest.fixture
def client(world: World) -> Client:
    """The owner, of a farm where selling takes its standard times."""
    for kind, usual in TIMED.items():
        StandardTime.objects.filter(action=kind).update(minutes=usual.minutes)
    return signed_in(world.owner)


def delivered(world: World) -> Entry:
    lines = [SoldLine(crop(world), KG, UNIT)]
    return sell(world.doing(), place=world.kitchens, customer=world.customer, lines=lines).entry


def test_only_what_charges_labour_asks_for_minutes() -> None:
    assert {deed.slug for deed in DEEDS if not deed.kind.takes_time} == FREE


def test_every_standard_time_is_one_that_an_action_charges() -> None:
    assert set(TIMED) == {action for action, _ in TIMES}


def test_a_form_that_charges_nothing_asks_for_no_minutes(world: World, client: Client) -> None:
    picked(world)

    assert "Minutes it took" not in text(client.get("/record/weigh-again/"))
    assert "Minutes it took" in text(client.get("/record/pick/"))


@pytest.mark.usefixtures("client")
def test_a_delivery_costs_the_standard_time_where_the_place_has_none(world: World) -> None:
    # 10 minutes of the owner at 18.0000 an hour.
    assert costs(delivered(world)) == {"hours": 3 * UNIT}


@pytest.mark.usefixtures("client")
def test_a_sale_at_a_stall_leaves_its_hours_to_the_settling(world: World) -> None:
    lines = [SoldLine(crop(world), KG, UNIT)]

    assert "hours" not in costs(sell(world.doing(), place=world.stall, lines=lines).entry)


@pytest.mark.usefixtures("client")
def test_a_load_and_a_return_cost_their_hours(world: World) -> None:
    load = load_stall(
        world.doing(), place=world.stall, day=a_day(world), lines=[Draw(packs(world), 5)]
    ).entry
    line = SaleLine.objects.get(line__entry=delivered(world))
    back = take_back(world.doing(minutes=20), sale_line=line, quantity=KG).entry

    # 30 minutes at 18.0000 an hour, the standard time; 20 as stated.
    assert (costs(load)["hours"], costs(back)["hours"]) == (9 * UNIT, 6 * UNIT)


def test_the_hint_says_what_will_be_charged(world: World, client: Client) -> None:
    kitchens = f"/record/sell/?place={world.kitchens.pk}"
    assert "Blank: the standard time, 10 min" in text(client.get(kitchens))

    world.kitchens.day_minutes = 40
    world.kitchens.save()

    assert "Blank: the usual time of" in text(client.get(kitchens))
    stall = text(client.get(f"/record/sell/?place={world.stall.pk}"))
    assert "charged when its day is settled" in stall
