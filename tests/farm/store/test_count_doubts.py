"""Counts far from what was set up are asked about; a yes is taken, and stands with the entry.

The factors are own rules, no source: see farm/actions/store/count_doubts.py.
"""

import json
from dataclasses import replace

import pytest

from farm.actions.common import Draw
from farm.actions.growing.blocks import fill_blocks
from farm.actions.growing.checks import check
from farm.actions.orders.allotting import allocate
from farm.actions.questions import PlausibilityQuestion
from farm.actions.selling.stalls import load_stall
from farm.actions.store.check_weights import check_weights
from farm.models import Person
from ledger.book import Recorded
from ledger.errors import Malformed
from ledger.models import Lot
from tests.farm.goods import packs
from tests.farm.sold import order, selling_farm
from tests.farm.world import GRAM, KG, World, assert_book_is_sound, grow_blocks

MOULD = "green mould"


def looked_at(
    world: World, lot: Lot, *, lost: int = 0, passed: int | None = None, sure: bool = False
) -> Recorded:
    doing = world.doing(reason=MOULD if lost else "", sure=sure)
    return check(doing, lot=lot, colonised_percent=60, lost=lost, passed=passed)


def said_in(recorded: Recorded) -> dict[str, object]:
    said: dict[str, object] = json.loads(recorded.entry.particulars)
    return said


def test_more_lost_than_anybody_would_believe_is_asked_about(world: World) -> None:
    blocks = grow_blocks(world, 20)

    # Believed: 30 % of 20 is 6.
    with pytest.raises(PlausibilityQuestion, match=f"Lot {blocks.code}: 7 of 20 lost is more"):
        looked_at(world, blocks, lost=7)
    assert looked_at(world, blocks, lost=6).fresh


def test_losses_are_held_against_the_farms_own(world: World) -> None:
    blocks = grow_blocks(world, 100)
    for _ in range(5):
        looked_at(world, blocks, lost=2)

    # 2 of 100, of 98 and so on: 2.2 % at most, three times the middle 2.1 % is 6.2 %.
    with pytest.raises(PlausibilityQuestion, match=r"6 of 90 lost .* \(at most 2 % so far\)"):
        looked_at(world, blocks, lost=6)
    assert looked_at(world, blocks, lost=5).fresh


def test_passed_and_lost_that_changed_places_are_guessed(world: World) -> None:
    with pytest.raises(PlausibilityQuestion, match="Did passed and lost change places"):
        looked_at(world, grow_blocks(world, 20), lost=18, passed=2)


def test_a_few_left_uncounted_are_asked_about_and_half_a_lot_is_not(world: World) -> None:
    blocks = grow_blocks(world, 40)

    with pytest.raises(PlausibilityQuestion, match="39 of 40 are counted, the other is taken"):
        looked_at(world, blocks, passed=38, lost=1)
    assert looked_at(world, blocks, passed=20).fresh


def test_a_digit_left_out_is_asked_about(world: World) -> None:
    with pytest.raises(PlausibilityQuestion, match="4 of 40 are counted, the other 36 are taken"):
        looked_at(world, grow_blocks(world, 40), passed=4)


def test_lost_that_were_counted_among_the_passed_are_refused_with_a_guess(world: World) -> None:
    blocks = grow_blocks(world, 20)

    with pytest.raises(Malformed, match=r"20 on hand.*Are the 2 lost among the 20.*18 passed"):
        looked_at(world, blocks, lost=2, passed=20)


def test_the_answer_to_a_count_stands_with_its_check(world: World) -> None:
    said = said_in(looked_at(world, grow_blocks(world, 20), lost=7, sure=True))

    assert "7 of 20 lost is more than usual" in str(said["asked"])
    assert said["answer"] == "yes, that is right"
    assert_book_is_sound()


def filled(world: World, count: int, sawdust_mg: int, bags: int, **said: object) -> Recorded:
    draws = [
        Draw(world.received("sawdust", 100 * KG), sawdust_mg),
        Draw(world.received("block bag", 100), bags),
    ]
    doing = replace(world.doing(), **said)  # type: ignore[arg-type]
    return fill_blocks(doing, recipe=world.block_recipe, count=count, draws=draws)


def test_a_count_that_the_sawdust_does_not_go_into_is_asked_about(world: World) -> None:
    # 975 g a bag: 40 bags take 39 kg, and 86 lb are 39.009 kg.
    with pytest.raises(
        PlausibilityQuestion,
        match=r"86\.00 kg .* of sawdust for 40 filled, where "
        r"the recipe takes 39\.00 kg.*Pounds\? Then it is 39\.009 kg",
    ):
        filled(world, 40, 86 * KG, 40)
    assert filled(world, 40, 78 * KG, 40).fresh


def test_bags_that_are_not_as_many_as_were_filled_are_asked_about(world: World) -> None:
    with pytest.raises(PlausibilityQuestion, match="35 pieces of block bag for 40 filled"):
        filled(world, 40, 39 * KG, 35)
    assert filled(world, 40, 39 * KG, 44).fresh


def test_whoever_writes_pounds_is_asked_for_kilograms(world: World) -> None:
    pounds = Person.objects.get(pk=world.owner.pk)
    pounds.weight_unit = "lb"

    # 39 read off a kilo scale and typed as pounds are 17.69 kg.
    with pytest.raises(PlausibilityQuestion, match=r"Kilograms\? Then it is 39\.00 kg"):
        filled(world, 40, 17_690 * GRAM, 40, by=pounds)


def test_an_answer_about_a_pack_on_the_scale_stands_with_the_check_weights(world: World) -> None:
    lot = packs(world, 10)
    weighed = {"lot": lot, "tare_mg": 15 * GRAM, "gross_mg": [315 * GRAM]}

    with pytest.raises(PlausibilityQuestion):
        check_weights(world.doing(), **weighed)  # type: ignore[arg-type]
    recorded = check_weights(world.doing(sure=True), **weighed)  # type: ignore[arg-type]

    assert "a pack of 315 g" in str(said_in(recorded)["asked"])


def test_an_answer_about_a_load_stands_with_the_load(db: None) -> None:
    trade = selling_farm()
    lot, asked = packs(trade, 10), order(trade, 8)
    allocate(trade.doing(), order=asked, due_on=asked.due_on)
    loaded = {"place": trade.stall, "day": trade.now.date(), "lines": [Draw(lot, 10)]}

    with pytest.raises(PlausibilityQuestion, match="set aside for The Anchor"):
        load_stall(trade.doing(), **loaded)  # type: ignore[arg-type]
    recorded = load_stall(trade.doing(sure=True), **loaded)  # type: ignore[arg-type]

    kept = str(said_in(recorded)["asked"])
    assert f"8 pieces set aside for order {asked.pk}." in kept
    assert "The Anchor" not in kept, "an entry is never changed, and a name may be erased"
