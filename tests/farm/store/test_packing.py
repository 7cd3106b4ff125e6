"""Packing: never short weight, never too generous unasked, packaging by itself."""

from typing import Any

import pytest

from farm.actions.common import Draw
from farm.actions.growing.blocks import move
from farm.actions.questions import PlausibilityQuestion
from farm.actions.recording.correcting import undo
from farm.actions.store.packing import pack
from farm.actions.tracing.holding import hold
from farm.models import LotCard, Stage
from farm.queries.stock import last_shelf, shelf_of
from farm.units import read_mass
from ledger.errors import Malformed, OnHold
from ledger.models import Edge, Line, Lot, Role
from tests.conftest import signed_in
from tests.farm.filled import text
from tests.farm.goods import crop, on_hand
from tests.farm.world import GRAM, KG, World, assert_book_is_sound, small_farm
from tests.published import UNECE_POUND_CENTI_MG


@pytest.fixture
def world(db: None) -> World:
    found = small_farm()
    found.received("punnet", 100)
    return found


def packed(world: World, packs: int, *draws: Draw, **said: Any) -> Lot:
    recorded = pack(world.doing(**said), product=world.product, packs=packs, draws=draws)
    return recorded.lots[-1]


def test_a_mixed_lot_of_packs_comes_of_all_its_picks(world: World) -> None:
    first, second = crop(world), crop(world)

    made = packed(world, 40, Draw(first, 5 * KG), Draw(second, 3 * KG))

    # Punnets are behind them as well; the picks are credited 25 and 15 of the 40.
    parts = dict(Edge.objects.filter(dst=made).values_list("src", "part"))
    assert (parts[first.pk], parts[second.pk]) == (25, 15)
    assert_book_is_sound()


def test_packs_stand_where_they_were_put(world: World) -> None:
    draws = [Draw(crop(world, 4 * KG), 4 * KG)]
    doing = world.doing()
    made = pack(doing, product=world.product, packs=20, draws=draws, shelf=world.fridge_shelf)

    assert shelf_of([made.lots[-1]]) == {made.lots[-1].pk: world.fridge_shelf}
    move(world.doing(), lot=made.lots[-1], shelf=world.shelf)
    assert shelf_of([made.lots[-1]]) == {made.lots[-1].pk: world.shelf}
    assert_book_is_sound()


def test_packs_without_a_place_have_none(world: World) -> None:
    assert shelf_of([packed(world, 20, Draw(crop(world, 4 * KG), 4 * KG))]) == {}


def test_the_next_packs_are_put_where_the_last_were(world: World) -> None:
    """A packing that was taken back says nothing of where the next goes."""
    shelves = [world.fridge_shelf, world.shelf]
    entries = [
        pack(
            world.doing(),
            product=world.product,
            packs=20,
            shelf=shelf,
            draws=[Draw(crop(world, 4 * KG), 4 * KG)],
        ).entry
        for shelf in shelves
    ]
    assert last_shelf("pack") == world.shelf

    undo(world.doing(reason="not packed"), entries[1])
    assert last_shelf("pack") == world.fridge_shelf


def test_the_form_offers_the_place_of_the_last_fresh_packs(world: World) -> None:
    pack(
        world.doing(),
        product=world.product,
        packs=20,
        shelf=world.fridge_shelf,
        draws=[Draw(crop(world, 4 * KG), 4 * KG)],
    )
    crop(world, 4 * KG)
    address = f"/record/pack/?product={world.product.pk}&packs=20"
    shown = text(signed_in(world.owner).get(address))

    assert f'<option value="{world.fridge_shelf.pk}" selected>' in shown
    assert last_shelf("pack", product__form="dried") is None


def test_packs_keep_the_number_that_they_were_packed_under(world: World) -> None:
    """GS1's own example, 9501101530003; another one given later renames no earlier pack."""
    world.product.gtin = "09501101530003"
    world.product.save()
    made = packed(world, 20, Draw(crop(world, 4 * KG), 4 * KG))
    world.product.gtin = ""
    world.product.save()

    assert LotCard.objects.get(lot=made).gtin == "09501101530003"


def test_the_oldest_pick_dates_the_packs(world: World) -> None:
    old = crop(world)
    day = world.now.date()
    world.wait(2)

    made = packed(world, 40, Draw(crop(world), 4 * KG), Draw(old, 4 * KG))

    card = LotCard.objects.get(lot=made)
    assert (card.stage, card.product, card.harvested_on) == (Stage.PACKS, world.product, day)
    # Oyster keeps six days in the fridge.
    assert card.best_before is not None
    assert (card.best_before - day).days == 6


def test_exactly_the_declared_weight_is_enough(world: World) -> None:
    lot = crop(world)

    packed(world, 40, Draw(lot, 8 * KG))

    assert on_hand(lot) == 2 * KG


def test_it_refuses_short_weight_by_a_milligram(world: World) -> None:
    lot = crop(world)

    with pytest.raises(Malformed, match=f"{lot.code}.*short weight.*or pack 39"):
        packed(world, 40, Draw(lot, 8 * KG - 1))


def test_half_pound_packs_take_half_an_avoirdupois_pound_each() -> None:
    """UNECE Recommendation 20, LBR: one pound is 0.453 592 37 kg, exactly."""
    assert UNECE_POUND_CENTI_MG * 20 == 907_184_740
    # 40 packs of half a pound are 20 lb: 9,071,847.4 mg, and half a pound is 226,796.185.
    assert (read_mass("20 lb", "kg"), read_mass("0.5 lb", "kg")) == (9_071_847, 226_796)


def test_a_tenth_over_is_given_away_and_kept(world: World) -> None:
    made = packed(world, 40, Draw(crop(world), 8_800 * GRAM))

    assert '"over_mg":800000' in made.made_by.particulars


def test_more_than_a_tenth_over_is_asked_about(world: World) -> None:
    lot = crop(world)

    with pytest.raises(PlausibilityQuestion, match="Did you mean 44 packs"):
        packed(world, 40, Draw(lot, 8_800 * GRAM + 1))


def test_a_generous_pack_passes_when_it_is_sure(world: World) -> None:
    made = packed(world, 40, Draw(crop(world), 10 * KG), sure=True)

    assert on_hand(made) == 40


def test_packs_past_their_best_before_are_asked_about(world: World) -> None:
    lot = crop(world)
    world.wait(world.species.fridge_days)
    packed(world, 1, Draw(lot, 200 * GRAM))  # the last day
    world.wait(1)

    with pytest.raises(PlausibilityQuestion, match=f"{lot.code}.*past their best before"):
        packed(world, 1, Draw(lot, 200 * GRAM))
    packed(world, 1, Draw(lot, 200 * GRAM), sure=True)


def test_packaging_is_drawn_oldest_first_by_itself(world: World) -> None:
    second = world.received("punnet", 100)

    packed(world, 110, Draw(crop(world, 22 * KG), 22 * KG))

    assert on_hand(second) == 90


def test_it_refuses_to_pack_without_packaging(world: World) -> None:
    with pytest.raises(Malformed, match="punnet: 110 pieces needed, 100 pieces on hand"):
        packed(world, 110, Draw(crop(world, 22 * KG), 22 * KG))


def test_a_pack_holds_what_its_label_says(world: World) -> None:
    mane = crop(world, species=world.other_strain.species)

    with pytest.raises(Malformed, match=f"{mane.code} is Lion's mane"):
        packed(world, 10, Draw(mane, 2 * KG))


def test_fresh_packs_are_filled_from_picks_only(world: World) -> None:
    made = packed(world, 40, Draw(crop(world), 8 * KG))

    with pytest.raises(Malformed, match=f"{made.code} is packed, not picked"):
        packed(world, 1, Draw(made, 1))


def test_a_held_lot_cannot_be_packed(world: World) -> None:
    lot = crop(world)
    hold(world.doing(reason="a bad smell"), [lot])

    with pytest.raises(OnHold, match=lot.code):
        packed(world, 40, Draw(lot, 8 * KG))


def test_a_form_sent_twice_packs_once(world: World) -> None:
    draws, doing = [Draw(crop(world), 8 * KG)], world.doing()

    first = pack(doing, product=world.product, packs=40, draws=draws)
    second = pack(doing, product=world.product, packs=40, draws=draws)

    assert (first.fresh, second.fresh) == (True, False)
    assert LotCard.objects.filter(stage=Stage.PACKS).count() == 1
    assert Line.objects.filter(role=Role.MADE).count() == 1
