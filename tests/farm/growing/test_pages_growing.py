"""The growing actions' forms, each from both sides: what it takes and what it refuses."""

from collections.abc import Callable
from typing import Any, NamedTuple

import pytest
from django.test import Client

from farm.models import LotCard, Stage
from ledger.models import Lot
from tests.conftest import signed_in
from tests.farm.filled import last_entry, prefilled, send, text, typed
from tests.farm.world import (
    KG,
    World,
    fresh,
    fruiting,
    grow,
    grow_spawn,
    picked,
    prepared_grain,
    run,
)


@pytest.fixture
def client(world: World) -> Client:
    return signed_in(world.owner)


class Sent(NamedTuple):
    """A form's address, what is typed into it, and the field to spoil."""

    address: str
    values: dict[str, Any]
    spoilt: str


Maker = Callable[[World], Sent]


def buy_culture(world: World) -> Sent:
    values = {"strain": world.strain.pk, "portions": "20", "paid_money": "20"}
    return Sent("/record/buy-culture/", values, "portions")


def transfer_culture(world: World) -> Sent:
    culture, _, _ = grow_spawn(world)
    values = {"source_list": culture.code, "used": "1", "portions": "10"}
    return Sent("/record/transfer-culture/", values, "portions")


def clone_culture(world: World) -> Sent:
    values = {"source_list": picked(world).code, "piece_mg": "20 g", "portions": "4"}
    return Sent("/record/clone-culture/", values, "piece_mg")


def inoculate_grain(world: World) -> Sent:
    culture, _, _ = grow_spawn(world)
    grain = prepared_grain(world)
    run(world, grain)
    address = f"/record/inoculate-grain/?source={culture.code}"
    return Sent(address, {"grain_list": grain.code, "bags": "5", "amount": "5"}, "amount")


def expand_grain(world: World) -> Sent:
    """Grain from grain: the amount is weighed."""
    _, _, spawn = grow_spawn(world)
    grain = prepared_grain(world)
    run(world, grain)
    address = f"/record/inoculate-grain/?source={spawn.code}"
    return Sent(address, {"grain_list": grain.code, "bags": "5", "amount": "700 g"}, "amount")


def move_to_fruiting(world: World) -> Sent:
    values = {"lot_list": grow(world).blocks.code, "shelf": world.fruiting_shelf.pk}
    return Sent("/record/move-to-fruiting/", values, "shelf")


def move(world: World) -> Sent:
    values = {"lot_list": picked(world).code, "shelf": world.shelf.pk}
    return Sent("/record/move/", values, "shelf")


def spent(world: World) -> Sent:
    picked(world)
    blocks = LotCard.objects.get(stage=Stage.BLOCKS).lot
    return Sent("/record/spent/", {"lot_list": blocks.code, "all_of_them": "on"}, "all_of_them")


def throw_away(world: World) -> Sent:
    address = f"/record/throw-away/?lot={picked(world).code}"
    return Sent(address, {"quantity": "500 g", "cause": "old"}, "cause")


def dry(world: World) -> Sent:
    # 10 kg of oyster dry to about 1.2 kg
    crop = picked(world)
    values = {
        f"draws_{crop.pk}": "10 kg",
        "dried_mg": "1.2 kg",
        "temperature_milli_c": "55 C",
        "minutes_drying": "480",
        "dryer_wh": "4000",
    }
    return Sent("/record/dry/", values, "minutes_drying")


FORMS: list[Maker] = [buy_culture, transfer_culture, clone_culture, inoculate_grain, expand_grain,
         move_to_fruiting, move, spent, throw_away, dry]  # fmt: skip
names = [make.__name__.replace("_", " ") for make in FORMS]


@pytest.mark.parametrize("make", FORMS, ids=names)
def test_what_is_typed_right_is_recorded(world: World, client: Client, make: Maker) -> None:
    sent = make(world)
    answer = client.post(sent.address, typed(**sent.values), follow=True)

    kind = sent.address.split("/")[2].replace("-", " ")
    assert last_entry().kind == kind
    assert "Done." in text(answer)


@pytest.mark.parametrize("make", FORMS, ids=names)
def test_what_is_typed_wrong_is_refused_and_kept(world: World, client: Client, make: Maker) -> None:
    sent = make(world)
    before = last_entry().seq if Lot.objects.exists() else 0
    page = text(send(client, sent.address, **{**sent.values, sent.spoilt: "", "reason": "kept"}))

    assert "kept</textarea>" in page
    assert 'class="field wrong"' in page
    assert before == (last_entry().seq if Lot.objects.exists() else 0)


def test_grain_is_prepared_from_the_lots_that_the_recipe_asks_for(
    world: World, client: Client
) -> None:
    rye = world.received("rye", 10 * KG)
    world.received("grain bag", 10)
    address = f"/record/prepare-grain/?recipe={world.grain_recipe.pk}&count=10"
    shown = prefilled(client, address)
    client.post(address, shown | typed())

    # 10 x 885 g
    assert shown[f"draws_{rye.pk}"] == "8.85 kg"
    assert fresh(rye).quantity == 1_150_000


def test_all_of_a_lot_is_all_of_it_although_it_is_printed_to_the_gram(
    world: World, client: Client
) -> None:
    crop = picked(world, firsts_mg=10_000_400)
    address = f"/record/throw-away/?lot={crop.code}"
    shown = prefilled(client, address)
    client.post(address, shown | typed(cause="old"))

    assert shown["quantity"] == "10.00 kg"
    assert fresh(crop).quantity == 0


def test_two_lots_of_blocks_are_picked_together(world: World, client: Client) -> None:
    first, second = fruiting(world), fruiting(world)
    send(
        client,
        "/record/pick/",
        blocks=[first.code, second.code],
        flush="1",
        firsts_mg="12",
        when=f"{world.now:%Y-%m-%dT%H:%M}",
    )

    gave = last_entry().lines.filter(lot__in=[first, second]).values_list("given_mg", flat=True)
    # 12 kg from 40 and 40 blocks
    assert list(gave) == [6 * KG, 6 * KG]


def test_what_each_lot_gave_is_kept_where_it_was_weighed_apart(
    world: World, client: Client
) -> None:
    first, second = fruiting(world), fruiting(world)
    send(
        client,
        "/record/pick/",
        blocks=[first.code, second.code],
        flush="1",
        firsts_mg="12",
        when=f"{world.now:%Y-%m-%dT%H:%M}",
        **{f"gave_{first.pk}": "9 kg", f"gave_{second.pk}": "3 kg"},
    )

    lines = last_entry().lines.filter(lot__in=[first, second]).order_by("lot_id")
    assert [line.given_mg for line in lines] == [9 * KG, 3 * KG]


def test_grain_from_grain_counts_a_generation_more(world: World, client: Client) -> None:
    sent = expand_grain(world)
    client.post(sent.address, typed(**sent.values))
    newest = LotCard.objects.filter(stage=Stage.SPAWN).latest("lot_id")

    assert newest.generation == 2


def test_a_lot_is_chosen_from_the_list_or_typed_and_neither_is_required(
    world: World, client: Client
) -> None:
    """The first step is checked by the browser: two required boxes would let nobody through."""
    grow_spawn(world)
    grow_spawn(world)

    page = text(client.get("/record/inoculate-grain/"))

    assert 'name="source_list"' in page
    assert "required" not in page.partition('name="source_list"')[2].partition("</form>")[0]
