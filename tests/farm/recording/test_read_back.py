"""What was recorded is read back: what, how much, of which lot, why, and what comes next."""

import re
from html import unescape
from typing import Any

import pytest
from django.test import Client

from ledger.models import Lot
from tests.conftest import signed_in
from tests.farm.filled import text, typed
from tests.farm.goods import crop, packs
from tests.farm.world import KG, World, filled_bags, fruiting

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(world: World) -> Client:
    return signed_in(world.owner)


def told(client: Client, address: str, **said: Any) -> str:
    """What the page says after a form was recorded."""
    page = text(client.post(address, typed(**said), follow=True))
    found = re.search(r'<li class="success"><strong>Done.</strong> (.*?)</li>', page)
    assert found
    return unescape(found[1])


def newest() -> Lot:
    return Lot.objects.order_by("-pk")[0]


def test_a_check_says_what_was_lost_and_to_what(world: World, client: Client) -> None:
    blocks = fruiting(world, 24)
    said = {"lot_list": blocks.code, "colonised_percent": "60"}
    lost = told(client, "/record/check/", lost="2", cause="green mould", **said)
    kept = told(client, "/record/check/", lost="0", **said)

    assert lost == (
        f"Checked: 24 blocks of lot {blocks.code}, 60 % grown through; 2 of 24 blocks lost: "
        "green mould; 22 blocks left."
    )
    assert kept == f"Checked: 22 blocks of lot {blocks.code}, 60 % grown through; none lost."


def test_a_check_of_a_part_says_which_lot_is_which(world: World, client: Client) -> None:
    blocks = fruiting(world, 40)
    words = told(
        client,
        "/record/check/",
        lot_list=blocks.code,
        colonised_percent="60",
        lost="2",
        passed="18",
        cause="pests",
        sure="on",
    )

    assert words.endswith(
        f"2 of 20 blocks lost: pests; 18 passed and are lot {newest().code} now, 20 blocks stay."
    )


def test_a_run_says_what_was_in_how_hot_and_how_long(world: World, client: Client) -> None:
    bags = filled_bags(world, 12, sterilised=False)
    words = told(
        client,
        "/record/steriliser-run/",
        steriliser=world.steriliser.pk,
        lots=bags.code,
        minutes_at_temperature="150",
        gauge_pa="15 psi",
    )

    assert words == (
        f"Sterilised: 12 bags of lot {bags.code}; 150 minutes at 103.4 kPa in "
        f"{world.steriliser}. Next: inoculate, once it has cooled."
    )


def test_a_pick_says_each_grade_and_which_blocks_gave_it(world: World, client: Client) -> None:
    blocks = fruiting(world, 4)
    words = told(
        client,
        "/record/pick/",
        blocks=blocks.code,
        flush="1",
        firsts_mg="1 kg",
        shelf=world.shelf.pk,
    )

    assert words.startswith(f"Picked: 1.00 kg · 2.20 lb firsts as lot {newest().code}. Fresh ")
    assert f"From 1.00 kg · 2.20 lb of lot {blocks.code}. On {world.shelf}." in words


def test_a_sale_says_where_and_for_how_much_to_who_may_see_it(world: World, client: Client) -> None:
    lot = packs(world, 10)
    address, said = f"/record/sell/?place={world.stall.pk}", {f"sold_{lot.pk}": "2", "sure": "on"}
    words = f"Sold: 2 packs of lot {lot.code}. At {world.stall}"

    assert told(client, address, **said, **{f"price_{lot.pk}": "4.20"}) == f"{words}, €8.40."
    assert told(signed_in(world.helper), address, **said) == f"{words}."


def test_what_is_weighed_again_or_thrown_away_says_what_went_and_why(
    world: World, client: Client
) -> None:
    lot = crop(world, 2 * KG)
    weighed = told(
        client, "/record/weigh-again/", lot_list=lot.code, weight_mg="1.5 kg", cause="sample"
    )
    binned = told(client, f"/record/throw-away/?lot={lot.code}", quantity="0.5 kg", cause="old")

    assert weighed.startswith(f"Weighed again: lot {lot.code} weighs 1.50 kg · 3.31 lb; ")
    assert weighed.endswith("0.50 kg · 1.10 lb water gone. Why: sample.")
    assert binned == f"Thrown away: 0.50 kg · 1.10 lb of lot {lot.code}. Why: old."
