"""A corrected pick stays whole: what its blocks gave comes to what was picked."""

import pytest

from farm.actions.common import Draw
from farm.actions.growing.harvesting import pick
from farm.actions.recording.correcting import correct_quantity
from farm.actions.store.packing import pack
from ledger.errors import Malformed
from ledger.models import Edge, Lot, Role
from tests.conftest import signed_in
from tests.farm.filled import text
from tests.farm.goods import crop, on_hand
from tests.farm.world import (
    KG,
    World,
    assert_book_is_sound,
    fresh,
    fruiting,
    picked,
    small_farm,
)


@pytest.fixture
def world(db: None) -> World:
    return small_farm()


def picked_from_two(world: World) -> tuple[Lot, Lot, Lot]:
    """12 kg of which one block lot gave 9 kg, the other 3 kg."""
    one, other = fruiting(world), fruiting(world)
    world.wait(9)
    draws = [Draw(one, 9 * KG), Draw(other, 3 * KG)]
    lot = pick(world.doing(), given=draws, flush=1, firsts_mg=12 * KG).lots[-1]
    return fresh(lot), one, other


def given(blocks: Lot) -> int:
    return sum(blocks.lines.filter(role=Role.USED).values_list("given_mg", flat=True))


def picked_from_one(world: World, blocks: Lot) -> Lot:
    return fresh(pick(world.doing(), given=[Draw(blocks, 0)], flush=1, firsts_mg=10 * KG).lots[-1])


def test_what_the_blocks_gave_follows_a_corrected_pick(world: World) -> None:
    lot, one, other = picked_from_two(world)

    correct_quantity(world.doing(), lot.made_by, lot=lot, role=Role.MADE, right_quantity=13 * KG)

    # 9 kg and 3 kg of 12 kg; of 13 kg 9.75 kg and 3.25 kg.
    assert (given(one), given(other)) == (9_750_000, 3_250_000)
    assert dict(Edge.objects.filter(dst=lot).values_list("src", "quantity")) == {
        one.pk: 9_750_000,
        other.pk: 3_250_000,
    }
    assert_book_is_sound()


def test_a_corrected_grade_leaves_the_other_grade_of_the_pick(world: World) -> None:
    blocks = fruiting(world)
    world.wait(9)
    firsts, seconds = pick(
        world.doing(), given=[Draw(blocks, 0)], flush=1, firsts_mg=10 * KG, seconds_mg=2 * KG
    ).lots[1:]

    correct_quantity(world.doing(), firsts.made_by, lot=seconds, role=Role.MADE, right_quantity=0)

    assert (on_hand(firsts), on_hand(seconds), given(blocks)) == (10 * KG, 0, 10 * KG)
    assert_book_is_sound()


def test_the_weight_that_a_block_lot_gave_is_corrected_within_the_pick(world: World) -> None:
    lot, one, other = picked_from_two(world)

    correct_quantity(world.doing(), lot.made_by, lot=one, role=Role.USED, right_quantity=8 * KG)

    assert (on_hand(lot), given(one), given(other)) == (12 * KG, 8 * KG, 4 * KG)
    assert_book_is_sound()


@pytest.mark.parametrize("right_mg", [0, 8 * KG])
def test_the_only_blocks_of_a_pick_gave_what_was_picked(world: World, right_mg: int) -> None:
    blocks = fruiting(world)
    world.wait(9)
    lot = picked_from_one(world, blocks)

    remedy = "Take that entry back" if right_mg == 0 else "Correct the weight of the picked lot"
    with pytest.raises(Malformed, match=f"Lot {blocks.code} .*{remedy}|{blocks.code}: .*{remedy}"):
        correct_quantity(
            world.doing(), lot.made_by, lot=blocks, role=Role.USED, right_quantity=right_mg
        )


def test_blocks_cannot_have_given_more_than_was_picked(world: World) -> None:
    lot, one, _ = picked_from_two(world)

    with pytest.raises(Malformed, match=f"{one.code}: .*gave too little"):
        correct_quantity(
            world.doing(), lot.made_by, lot=one, role=Role.USED, right_quantity=13 * KG
        )


def test_the_only_source_of_a_made_lot_is_not_corrected_to_nothing(world: World) -> None:
    crops = [crop(world, 4 * KG), crop(world, 4 * KG)]
    world.received("punnet", 40)
    draws = [Draw(each, 4 * KG) for each in crops]
    packing = pack(world.doing(), product=world.product, packs=40, draws=draws).entry
    correct_quantity(world.doing(), packing, lot=crops[0], role=Role.USED, right_quantity=0)

    with pytest.raises(Malformed, match=f"Lot {crops[1].code} is all .*Take that entry back"):
        correct_quantity(world.doing(), packing, lot=crops[1], role=Role.USED, right_quantity=0)
    assert on_hand(crops[0]) == 4 * KG


def test_all_that_was_picked_is_not_corrected_to_nothing(world: World) -> None:
    lot = picked(world)

    with pytest.raises(Malformed, match=f"Lot {lot.code} is all that was made"):
        correct_quantity(world.doing(), lot.made_by, lot=lot, role=Role.MADE, right_quantity=0)


def test_the_page_says_what_will_follow(world: World) -> None:
    lot, one, other = picked_from_two(world)
    client = signed_in(world.owner)
    address = f"/entries/{lot.made_by_id}/correct/"

    made = text(client.get(address, {"lot": lot.code, "role": "made"}))
    gave = text(client.get(address, {"lot": one.code, "role": "used"}))

    assert f"What {one.code}, {other.code} gave follows" in made
    assert f"What was picked stays; {other.code} share the difference" in gave
