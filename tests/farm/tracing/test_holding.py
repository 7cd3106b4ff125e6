"""Lots on hold: what they may not do, what they still may, and how they come off it."""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import pytest

from farm.actions.common import Doing, Draw
from farm.actions.growing.harvesting import pick
from farm.actions.recording.correcting import undo
from farm.actions.selling.selling import SoldLine, sell, take_back
from farm.actions.store.storing import throw_away, weigh_again
from farm.actions.tracing.holding import hold, release
from farm.models import SaleLine
from ledger.book import Recorded
from ledger.errors import Malformed, OnHold
from ledger.models import Lot
from tests.farm.goods import crop, on_hand
from tests.farm.world import KG, UNIT, World, assert_book_is_sound, fresh, fruiting, small_farm


@pytest.fixture
def world(db: None) -> World:
    return small_farm()


def held(world: World, lot: Lot) -> Lot:
    hold(world.doing(reason="a customer was ill"), [lot])
    return fresh(lot)


def sold(world: World, lot: Lot) -> Recorded:
    return sell(
        world.doing(),
        place=world.kitchens,
        customer=world.customer,
        lines=[SoldLine(lot, KG, UNIT)],
    )


def test_a_held_lot_cannot_be_sold(world: World) -> None:
    lot = held(world, crop(world))

    with pytest.raises(OnHold, match=f"{lot.code} is on hold .* Release it with a reason"):
        sold(world, lot)


def test_a_released_lot_is_sold_again(world: World) -> None:
    lot = held(world, crop(world))

    release(world.doing(reason="the laboratory found nothing"), [lot])

    assert sold(world, lot).fresh
    assert_book_is_sound()


def test_several_lots_are_held_at_once(world: World) -> None:
    lots = [crop(world), crop(world)]

    hold(world.doing(reason="one sour grain batch"), lots)

    assert [fresh(lot).held for lot in lots] == [True, True]


@pytest.mark.parametrize("act", [hold, release])
def test_a_hold_and_its_release_need_a_reason(
    world: World, act: Callable[[Doing, list[Lot]], Recorded]
) -> None:
    lot = crop(world)

    with pytest.raises(Malformed, match=f"{lot.code}.*needs its reason"):
        act(world.doing(reason=" "), [lot])


def test_an_undone_hold_holds_no_longer(world: World) -> None:
    lot = crop(world)
    entry = hold(world.doing(reason="a mistake"), [lot]).entry

    undo(world.doing(), entry)

    assert not fresh(lot).held


def test_a_held_lot_may_be_weighed_and_binned(world: World) -> None:
    lot = held(world, crop(world))

    weigh_again(world.doing(sure=True), lot=lot, weight_mg=9 * KG)
    throw_away(world.doing(reason="recalled"), lot=lot, quantity=9 * KG)

    assert on_hand(lot) == 0


def test_what_was_sold_comes_back_to_a_held_lot(world: World) -> None:
    lot = crop(world)
    line = SaleLine.objects.get(line__entry=sold(world, lot).entry)
    held(world, lot)

    take_back(world.doing(), sale_line=line, quantity=KG)

    assert on_hand(lot) == 10 * KG


def test_picks_from_held_blocks_are_born_on_hold(world: World) -> None:
    blocks = held(world, fruiting(world))
    world.wait(9)

    made = pick(world.doing(), given=[Draw(blocks, 0)], flush=1, firsts_mg=KG).lots[-1]

    assert fresh(made).held


def test_a_sale_before_the_hold_is_accepted_with_a_reason(world: World) -> None:
    lot = held(world, crop(world))
    earlier = replace(
        world.doing(reason="Saturday's sheet, entered on Monday"),
        happened_at=world.now - timedelta(hours=2),
    )

    assert sell(
        earlier, place=world.kitchens, customer=world.customer, lines=[SoldLine(lot, KG, UNIT)]
    ).fresh


def test_a_sale_before_the_hold_is_refused_without_a_reason(world: World) -> None:
    lot = held(world, crop(world))
    earlier = replace(world.doing(), happened_at=world.now - timedelta(hours=2))

    with pytest.raises(OnHold, match=lot.code):
        sell(
            earlier, place=world.kitchens, customer=world.customer, lines=[SoldLine(lot, KG, UNIT)]
        )


def test_a_sale_after_the_hold_is_refused_with_any_reason(world: World) -> None:
    lot = held(world, crop(world))

    with pytest.raises(OnHold, match=lot.code):
        sell(
            world.doing(reason="please"),
            place=world.kitchens,
            customer=world.customer,
            lines=[SoldLine(lot, KG, UNIT)],
        )
