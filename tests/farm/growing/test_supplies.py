"""A delivery becomes one lot, at what was paid; sent twice it still is one."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from farm.actions.common import Draw, oldest_first
from farm.actions.growing.supplies import Delivery, receive_supplies
from farm.models import Stage
from ledger.errors import Conflict, Malformed
from ledger.models import Lot
from tests.farm.world import KG, UNIT, World, assert_book_is_sound, fresh


def test_a_delivery_is_a_lot_at_what_was_paid(world: World) -> None:
    lot = fresh(world.received("sawdust", 15 * KG, 6 * UNIT))

    assert (lot.quantity, lot.materials, lot.item.name) == (15 * KG, 6 * UNIT, "sawdust")
    assert_book_is_sound()


def test_the_suppliers_lot_and_the_shelf_are_kept(world: World) -> None:
    lot = receive_supplies(
        world.doing(),
        supply=world.supplies["rye"],
        quantity=25 * KG,
        paid_money=15 * UNIT,
        delivery=Delivery(
            supplier=world.supplier, supplier_lot="R-77", best_before=date(2027, 3, 1)
        ),
        shelf=world.shelf,
    ).lots[0]

    card = lot.card
    assert (card.stage, card.supplier, card.supplier_lot) == (Stage.SUPPLY, world.supplier, "R-77")
    assert card.best_before == date(2027, 3, 1)
    assert lot.placings.get().shelf == world.shelf


def test_a_counted_supply_states_what_a_piece_weighs(world: World) -> None:
    assert world.received("punnet", 100).unit_mass_mg == 15_000


def test_it_refuses_a_delivery_of_nothing(world: World) -> None:
    with pytest.raises(Malformed, match="sawdust: 0 cannot be bought"):
        world.received("sawdust", 0, UNIT)


def kilo_of_rye(world: World) -> dict[str, Any]:
    return {"supply": world.supplies["rye"], "quantity": KG, "paid_money": UNIT}


def test_a_form_sent_twice_has_one_effect(world: World) -> None:
    doing, stated = world.doing(), kilo_of_rye(world)

    first = receive_supplies(doing, **stated)
    again = receive_supplies(doing, **stated)

    assert (first.fresh, again.fresh) == (True, False)
    assert (again.entry, again.lots) == (first.entry, first.lots)


@pytest.mark.parametrize("changed", [{"quantity": 2 * KG}, {"paid_money": 2 * UNIT}])
def test_other_words_under_the_same_form_are_a_conflict(
    world: World, changed: dict[str, int]
) -> None:
    doing, stated = world.doing(), kilo_of_rye(world)
    receive_supplies(doing, **stated)

    with pytest.raises(Conflict, match="sent before with other content, as entry 1"):
        receive_supplies(doing, **stated | changed)


def test_another_reason_under_the_same_form_is_a_conflict(world: World) -> None:
    doing, stated = world.doing(), kilo_of_rye(world)
    receive_supplies(doing, **stated)

    with pytest.raises(Conflict):
        receive_supplies(replace(doing, reason="late"), **stated)


def test_the_oldest_lots_are_taken_first(world: World) -> None:
    old, new = world.received("punnet", 30), world.received("punnet", 50)

    assert oldest_first(world.supplies["punnet"], 40) == [Draw(old, 30), Draw(new, 10)]


def test_it_refuses_to_take_more_than_there_is(world: World) -> None:
    world.received("punnet", 30)

    with pytest.raises(Malformed, match="punnet: 40 pieces needed, 30 pieces on hand"):
        oldest_first(world.supplies["punnet"], 40)
    assert Lot.objects.get().quantity == 30
