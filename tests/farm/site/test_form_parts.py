"""Parts that every form shows alike: what was refused, and lots to tick."""

import pytest
from django.test import Client

from tests.conftest import signed_in
from tests.farm.filled import send, text
from tests.farm.world import World, fruiting

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(world: World) -> Client:
    return signed_in(world.owner)


def test_a_field_that_was_refused_is_named_at_the_top(world: World, client: Client) -> None:
    refused = text(send(client, "/record/pick/", blocks=fruiting(world).code, flush="1"))

    assert '<a href="#id_firsts_mg">Firsts</a>: This is needed.' in refused

    nothing_ticked = text(send(client, "/record/pick/", flush="1", firsts="1"))
    assert '<a href="#id_blocks">From which blocks</a>: This is needed.' in nothing_ticked
    assert 'id="id_blocks"' in nothing_ticked


def test_what_was_chosen_stands_alone_and_the_rest_is_folded(world: World, client: Client) -> None:
    blocks, other = fruiting(world), fruiting(world)
    chosen, folded = text(client.get(f"/record/pick/?blocks={blocks.code}")).split(
        "<summary>Others"
    )

    assert f'value="{blocks.code}"' in chosen and f'value="{other.code}"' not in chosen
    assert f'value="{other.code}"' in folded
    assert "Others" not in text(client.get("/record/pick/"))


def test_the_water_of_a_filling_is_told_before_it_is_recorded(world: World, client: Client) -> None:
    water_g = world.block_recipe.water_mg // 1000
    page = text(client.get(f"/record/fill-blocks/?recipe={world.block_recipe.pk}&count=40"))

    assert f"Add {water_g * 40 / 1000:.2f} kg" in page
    assert "of water in each." in page
