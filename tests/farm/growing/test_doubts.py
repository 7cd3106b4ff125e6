"""Doubtful numbers are asked about by the farm's own records; the answer stands with the entry.

The factors are own rules, no source: see farm/actions/doubts.py.
"""

import json
from dataclasses import replace
from uuid import uuid4

import pytest

from farm.actions.common import Draw
from farm.actions.growing.blocks import inoculate_blocks
from farm.actions.growing.harvesting import mark_spent, pick
from farm.actions.growing.runs import sterilise
from farm.actions.questions import PlausibilityQuestion
from farm.models import Person
from farm.queries.growing.usual_values import ENOUGH, usual_of
from ledger.book import Recorded
from ledger.errors import Malformed
from ledger.models import Entry, Lot
from tests.conftest import signed_in
from tests.farm.filled import text
from tests.farm.world import (
    GRAM,
    KG,
    World,
    assert_book_is_sound,
    filled_bags,
    fruiting,
    grow_blocks,
    grow_spawn,
)


def pick_kg(world: World, blocks: Lot, grams: int, *, sure: bool = False) -> Recorded:
    return pick(
        world.doing(sure=sure),
        given=[Draw(blocks, 0)],
        flush=1,
        firsts_mg=grams * GRAM,
        shelf=world.fridge_shelf,
    )


@pytest.fixture
def finished(world: World) -> World:
    """Five lots of four blocks that gave 1.8 to 2.2 kg each, the middle one 500 g a block."""
    for grams in (1800, 1900, 2000, 2100, 2200):
        blocks = fruiting(world, 4)
        pick_kg(world, blocks, grams)
        mark_spent(world.doing(), lot=blocks)
    return world


def test_pounds_typed_as_kilos_are_asked_about_with_what_they_would_be(finished: World) -> None:
    blocks = fruiting(finished, 4)

    # 4.4 kg of 4 blocks are 1.1 kg each; 4.4 lb are 1.996 kg, 499 g each.
    with pytest.raises(
        PlausibilityQuestion, match=r"0\.50 kg .* is usual \(5 lots.*Pounds\?.*1\.996 kg"
    ):
        pick_kg(finished, blocks, 4400)


def test_twice_the_usual_is_taken_and_a_gram_more_a_block_is_asked_about(finished: World) -> None:
    # The middle is 500 g a block, so 4.000 kg of four is twice as much.
    assert pick_kg(finished, fruiting(finished, 4), 4000).fresh
    with pytest.raises(PlausibilityQuestion, match=r"1\.001 kg .* a block"):
        pick_kg(finished, fruiting(finished, 4), 4004)


def test_a_tenth_of_the_usual_is_taken_and_less_is_asked_about(finished: World) -> None:
    # A slipped decimal mark: 0.2 kg of four blocks is 50 g each, a tenth of the middle.
    assert pick_kg(finished, fruiting(finished, 4), 200).fresh
    with pytest.raises(PlausibilityQuestion, match="is usual"):
        pick_kg(finished, fruiting(finished, 4), 199)


def pounds(person: Person) -> Person:
    """The same person, who writes pounds."""
    person.weight_unit = "lb"
    return person


def test_kilos_typed_as_pounds_are_asked_about_with_what_they_would_be(finished: World) -> None:
    blocks, doing = fruiting(finished, 4), finished.doing(by=pounds(finished.helper))
    given = {"given": [Draw(blocks, 0)], "flush": 1}

    # 2 read off a kilo scale and typed as pounds are 907 g: 226 g a block, half of 500 and less.
    with pytest.raises(PlausibilityQuestion, match=r"226\.8 g .*Kilograms\? Then it is 2\.00 kg"):
        pick(doing, **given, firsts_mg=907_185)  # type: ignore[arg-type]
    # Half of the flush, picked today: not asked of whoever writes kilos.
    assert pick_kg(finished, blocks, 907).fresh


def test_a_pick_never_planned_so_small_is_asked_of_whoever_writes_pounds(world: World) -> None:
    blocks, doing = fruiting(world, 4), world.doing(by=pounds(world.helper))

    # Planned: 500 g of each of four; a third is 667 g.
    with pytest.raises(PlausibilityQuestion, match=r"other unit\?.*Kilograms\? .* 1\.32 kg"):
        pick(doing, given=[Draw(blocks, 0)], flush=1, firsts_mg=598_742)


def test_what_was_asked_and_answered_stands_with_the_entry(finished: World) -> None:
    said = json.loads(pick_kg(finished, fruiting(finished, 4), 4400, sure=True).entry.particulars)

    assert said["asked"].endswith("Pounds? Then it is 1.996 kg · 4.40 lb.")
    assert said["answer"] == "yes, that is right"
    assert_book_is_sound()


def test_a_yes_to_what_was_not_doubtful_is_not_written_down(world: World) -> None:
    said = json.loads(pick_kg(world, fruiting(world, 4), 2000, sure=True).entry.particulars)

    assert "asked" not in said


def test_all_that_is_doubtful_is_asked_at_once(world: World) -> None:
    blocks = grow_blocks(world, 4)

    with pytest.raises(PlausibilityQuestion) as asked:
        pick_kg(world, blocks, 9_000)

    assert "never moved to fruiting" in asked.value.question
    assert "other unit" in asked.value.question


def test_more_than_the_blocks_weigh_themselves_needs_a_note_before_it_is_asked_about(
    world: World,
) -> None:
    blocks = fruiting(world, 4)
    picked = {"given": [Draw(blocks, 0)], "flush": 1, "firsts_mg": 10 * KG}
    said = rf"10\.00 kg .* more than .* themselves weigh: 4 blocks of lot {blocks.code}, 9\.979 kg"

    # A block weighs the 2,268 g of its recipe and 226.8 g of spawn: four weigh 9,979 g.
    with pytest.raises(Malformed, match=rf"{said}.*4\.536 kg.*under Note or Why") as refused:
        pick(world.doing(sure=True), **picked)  # type: ignore[arg-type]
    assert not isinstance(refused.value, PlausibilityQuestion)
    with pytest.raises(PlausibilityQuestion, match=said):
        pick(world.doing(reason="bags filled heavier"), **picked)  # type: ignore[arg-type]
    doing = world.doing(reason="bags filled heavier", sure=True)
    entry = pick(doing, **picked).entry  # type: ignore[arg-type]
    assert "themselves weigh" in json.loads(entry.particulars)["asked"]
    assert_book_is_sound()


def test_an_answered_form_sent_twice_is_entered_once(world: World) -> None:
    blocks, doing = fruiting(world, 4), world.doing(sure=True)
    given = {"given": [Draw(blocks, 0)], "flush": 1, "firsts_mg": 9 * KG}

    assert pick(doing, **given).fresh  # type: ignore[arg-type]
    assert not pick(doing, **given).fresh  # type: ignore[arg-type]
    assert Entry.objects.filter(kind="pick").count() == 1


def test_a_spawn_rate_that_nobody_would_use_is_asked_about(world: World) -> None:
    (*_, spawn), bags = grow_spawn(world), filled_bags(world, 4)
    sterilise(
        world.doing(),
        steriliser=world.steriliser,
        lots=[bags],
        minutes_at_temperature=150,
        temperature_milli_c=121_000,
    )
    doing = world.doing()

    # 20 g in four bags of 2.27 kg and more is under half a percent.
    with pytest.raises(PlausibilityQuestion, match="% of the wet substrate"):
        inoculate_blocks(doing, bags=bags, count=4, spawn=[Draw(spawn, 20 * GRAM)])
    recorded = inoculate_blocks(
        replace(doing, sure=True), bags=bags, count=4, spawn=[Draw(spawn, 20 * GRAM)]
    )
    assert "asked" in json.loads(recorded.entry.particulars)


def test_hours_typed_as_minutes_of_a_run_are_asked_about(world: World) -> None:
    bags = filled_bags(world, 4)

    with pytest.raises(PlausibilityQuestion, match=r"3 minutes at temperature.*Hours"):
        sterilise(
            world.doing(),
            steriliser=world.steriliser,
            lots=[bags],
            minutes_at_temperature=3,
            temperature_milli_c=100_000,
        )


def test_a_price_ten_times_the_last_is_asked_about_and_nine_times_is_not(world: World) -> None:
    world.received("sawdust", 100 * KG, 400_000)  # 40.00 for 100 kg

    with pytest.raises(PlausibilityQuestion, match=r"400\.00 for this.*40\.00.*decimal mark"):
        world.received("sawdust", 100 * KG, 4_000_000)
    assert world.received("sawdust", 100 * KG, 3_600_000)


def test_a_tenth_of_the_last_price_is_asked_about(world: World) -> None:
    world.received("sawdust", 100 * KG, 400_000)

    with pytest.raises(PlausibilityQuestion, match=r"4\.00 for this"):
        world.received("sawdust", 100 * KG, 40_000)


def test_a_delivery_weighed_in_pounds_is_asked_about_by_its_price(world: World) -> None:
    world.received("sawdust", 50 * KG, 200_000)  # 20.00 for 50 kg

    # 110 lb are 49.90 kg, which cost 20.00 as well.
    with pytest.raises(PlausibilityQuestion, match=r"Is the weight right\? Pounds\? .*49\.895 kg"):
        world.received("sawdust", 110 * KG, 200_000)
    assert world.received("sawdust", 80 * KG, 200_000)


def test_too_few_numbers_say_nothing_of_what_is_usual() -> None:
    few, enough = list(range(1, ENOUGH)), list(range(1, ENOUGH + 1))
    found = usual_of(enough)

    assert usual_of(few) is None
    assert found is not None
    assert (found.middle, found.least, found.most, found.count) == (3, 1, 5, 5)


def test_whoever_sees_no_prices_is_asked_without_the_usual_one(world: World) -> None:
    world.received("sawdust", 100 * KG, 400_000)  # 40.00 for 100 kg
    said = {
        "supply": str(world.supplies["sawdust"].pk),
        "quantity": "100 kg",
        "paid_money": "400",
        "supplier": str(world.supplier.pk),
        "uuid": str(uuid4()),
        "when": f"{world.now:%Y-%m-%dT%H:%M}",
    }
    asked = {
        person: text(signed_in(person).post("/record/receive-supplies/", said))
        for person in (world.helper, world.owner)
    }

    assert "This price is far from the usual one" in asked[world.helper]
    assert "€40.00" not in asked[world.helper]
    assert "€40.00" in asked[world.owner]
