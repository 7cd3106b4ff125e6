"""Cultures count their transfers; a clone starts the count anew."""

import pytest

from farm.actions.common import Draw
from farm.actions.growing.cultures import buy_culture, clone_culture, transfer_culture
from farm.models import Stage
from ledger.errors import Malformed, NotEnough
from ledger.models import Charge, Lot
from tests.farm.world import GRAM, UNIT, World, assert_book_is_sound, fresh, grow_spawn, picked


def culture(world: World, transfers: int = 0) -> Lot:
    return buy_culture(
        world.doing(), strain=world.strain, portions=10, paid_money=20 * UNIT, transfers=transfers
    ).lots[0]


def test_a_bought_culture_is_counted_in_portions(world: World) -> None:
    lot = fresh(culture(world, transfers=3))

    assert (lot.quantity, lot.materials) == (10, 20 * UNIT)
    assert (lot.card.stage, lot.card.strain, lot.card.transfers) == (
        Stage.CULTURE,
        world.strain,
        3,
    )


def test_a_transfer_counts_one_more_and_carries_the_cost_on(world: World) -> None:
    source = culture(world, transfers=3)

    made = fresh(transfer_culture(world.doing(), source=source, used=2, portions=8).lots[-1])

    assert (made.quantity, made.card.transfers, made.card.strain) == (8, 4, world.strain)
    assert made.materials == 4 * UNIT  # two of the ten portions that cost 20.00
    assert fresh(source).quantity == 8
    assert_book_is_sound()


def test_a_transfer_takes_its_medium_along(world: World) -> None:
    rye = world.received("rye", 100 * GRAM, 3 * UNIT)
    draws = [Draw(rye, 50 * GRAM)]

    made = transfer_culture(world.doing(), source=culture(world), portions=8, medium=draws)

    assert fresh(made.lots[-1]).materials == 35_000  # 2.00 of culture, half of 3.00 of medium


def test_a_transfer_charges_its_standard_minutes(world: World) -> None:
    made = transfer_culture(world.doing(), source=culture(world), portions=8)

    # 10 minutes, and one a portion: 18 minutes at 18.00 an hour are 5.4000
    assert Charge.objects.get(entry=made.entry).amount == 54_000


def test_it_refuses_more_portions_than_the_culture_has(world: World) -> None:
    with pytest.raises(NotEnough, match="2 pieces short"):
        transfer_culture(world.doing(), source=culture(world), used=12, portions=8)


@pytest.mark.parametrize(("used", "portions"), [(0, 8), (1, 0)])
def test_it_refuses_a_transfer_of_nothing(world: World, used: int, portions: int) -> None:
    with pytest.raises(Malformed, match=r"0 portions.* cannot be"):
        transfer_culture(world.doing(), source=culture(world), used=used, portions=portions)


def test_it_refuses_to_transfer_what_is_no_culture(world: World) -> None:
    _, _, spawn = grow_spawn(world)

    with pytest.raises(Malformed, match=f"Lot {spawn.code} is grain spawn, not culture"):
        transfer_culture(world.doing(), source=spawn, portions=8)


def test_a_clone_keeps_the_strain_and_starts_its_count_anew(world: World) -> None:
    crop = picked(world)

    made = clone_culture(world.doing(), source=crop, piece_mg=5 * GRAM, portions=6).lots[-1]

    card = made.card
    assert (card.stage, card.strain) == (Stage.CULTURE, world.strain)
    assert (card.transfers, card.generation) == (0, None)
    assert fresh(crop).quantity == crop.quantity - 5 * GRAM
    assert_book_is_sound()


def test_it_refuses_to_clone_what_was_not_picked(world: World) -> None:
    with pytest.raises(Malformed, match="is culture, not picked"):
        clone_culture(world.doing(), source=culture(world), piece_mg=5 * GRAM, portions=6)
