"""Picks weigh, share cost by weight, and settle when the blocks are spent."""

from dataclasses import replace

import pytest

from farm.actions.common import Doing, Draw, post
from farm.actions.growing.checks import check
from farm.actions.growing.harvesting import mark_spent, pick
from farm.actions.questions import PlausibilityQuestion
from farm.kinds.tracing import HOLD
from farm.models import Grade, Rate, Stage
from ledger.book import Recorded
from ledger.drafts import MarkDraft
from ledger.errors import Malformed
from ledger.models import Charge, Entry, Line, Lot, Role
from tests.farm.world import (
    GRAM,
    KG,
    PAID,
    UNIT,
    World,
    assert_book_is_sound,
    filled_bags,
    fresh,
    fruiting,
    grow_blocks,
    picked,
)


def pick_from(
    world: World, *lots: Lot, firsts_mg: int, flush: int = 1, doing: Doing | None = None
) -> Recorded:
    draws = [Draw(lot, 0) for lot in lots]
    return pick(doing or world.doing(), given=draws, flush=flush, firsts_mg=firsts_mg)


def given_by(recorded: Recorded, lot: Lot) -> int:
    return Line.objects.get(entry=recorded.entry, lot=lot, role=Role.USED).given_mg


@pytest.fixture
def block_of_five(world: World, monkeypatch: pytest.MonkeyPatch) -> Lot:
    """One block that cost 5.0000 and no hours; 500 g and 200 g are expected of it."""
    for name in PAID:
        monkeypatch.setitem(PAID, name, 5 * UNIT if name == "block bag" else 0)
    Rate.objects.update(rate_money=0)
    world.strain.third_mg = 0
    world.strain.save()
    return fruiting(world, 1)


def test_a_pick_is_a_lot_of_its_flush_grade_and_day(world: World) -> None:
    crop = picked(world, 10 * KG)

    card = crop.card
    assert (crop.quantity, crop.item.name) == (10 * KG, "Fresh Oyster, firsts")
    assert (card.stage, card.flush, card.grade) == (Stage.CROP, 1, Grade.FIRSTS)
    assert (card.strain, card.species) == (world.strain, world.species)
    assert card.harvested_on == crop.made_by.happened_on
    assert crop.placings.get().shelf == world.fridge_shelf


def test_the_blocks_stay_and_owe_what_is_still_expected(world: World) -> None:
    blocks = fruiting(world, 40)

    recorded = pick_from(world, blocks, firsts_mg=20 * KG)

    line = recorded.entry.lines.get(lot=blocks)
    assert (line.quantity, line.given_mg) == (0, 20 * KG)
    assert (line.turn, line.pieces) == (1, 40)
    assert (line.turn_mg, line.later_mg) == (40 * 500 * GRAM, 40 * 260 * GRAM)  # 200 g and 60 g
    assert (fresh(blocks).quantity, fresh(blocks).shares_open) == (40, True)


def test_unweighed_lots_share_the_pick_by_their_blocks(world: World) -> None:
    thirty, ten = fruiting(world, 30), fruiting(world, 10)

    recorded = pick_from(world, thirty, ten, firsts_mg=5_620 * GRAM)

    assert (given_by(recorded, thirty), given_by(recorded, ten)) == (4_215 * GRAM, 1_405 * GRAM)


def test_only_what_was_not_weighed_apart_is_shared(world: World) -> None:
    one, other = fruiting(world, 10), fruiting(world, 10)
    draws = [Draw(one, 3 * KG), Draw(other, 0)]

    recorded = pick(world.doing(), given=draws, flush=1, firsts_mg=4 * KG, trim_mg=KG)

    assert (given_by(recorded, one), given_by(recorded, other)) == (3 * KG, 2 * KG)


@pytest.mark.parametrize("weights", [(3 * KG, 3 * KG), (6 * KG, 0), (5 * KG, 0), (4 * KG, KG // 2)])
def test_it_refuses_weights_that_do_not_add_up(world: World, weights: tuple[int, int]) -> None:
    lots = fruiting(world, 10), fruiting(world, 10)
    draws = [Draw(lot, mg) for lot, mg in zip(lots, weights, strict=True)]

    with pytest.raises(Malformed, match=r"weights by lot come to .*the pick to 5\.00 kg"):
        pick(world.doing(), given=draws, flush=1, firsts_mg=5 * KG)


def test_firsts_and_seconds_share_by_mass_and_trim_takes_nothing(world: World) -> None:
    blocks = fruiting(world, 10)

    recorded = pick(
        world.doing(),
        given=[Draw(blocks, 0)],
        flush=1,
        firsts_mg=3 * KG,
        seconds_mg=KG,
        trim_mg=KG // 2,
    )

    firsts, seconds, trim = (fresh(lot) for lot in recorded.lots[1:])
    whole = tuple(a + b for a, b in zip(firsts.cost, seconds.cost, strict=True))
    assert firsts.cost == tuple(cost * 3 // 4 for cost in whole)
    assert (trim.quantity, sum(trim.cost)) == (KG // 2, 0)
    assert [lot.card.grade for lot in (firsts, seconds, trim)] == list(Grade)
    assert given_by(recorded, blocks) == 4_500 * GRAM
    assert_book_is_sound()


def test_trim_alone_takes_all(world: World) -> None:
    blocks = fruiting(world, 10)

    recorded = pick(world.doing(), given=[Draw(blocks, 0)], flush=1, firsts_mg=0, trim_mg=KG)

    trim = fresh(recorded.lots[1])
    assert trim.card.grade == Grade.TRIM
    assert trim.materials > 0
    assert_book_is_sound()


def test_a_pick_charges_its_minutes_by_the_kilogram(world: World) -> None:
    crop = picked(world, 10 * KG)

    # 5 minutes, and 4.5 a kilogram: 50 minutes at 18.00 an hour
    assert Charge.objects.get(entry=crop.made_by, kind="own").amount == 150_000


def test_a_pick_charges_the_room_since_the_blocks_came_to_fruit(world: World) -> None:
    crop = picked(world, 10 * KG, count=40)

    assert Charge.objects.get(entry=crop.made_by, kind="room").amount == 9 * 40 * 200


def test_a_later_pick_charges_the_room_since_the_last(world: World) -> None:
    blocks = fruiting(world, 40)
    world.wait(9)
    pick_from(world, blocks, firsts_mg=20 * KG)
    world.wait(12)

    second = pick_from(world, blocks, firsts_mg=8 * KG, flush=2)

    assert Charge.objects.get(entry=second.entry, kind="room").amount == 12 * 40 * 200


def test_flushes_share_5_00_as_3_57_and_1_43(world: World, block_of_five: Lot) -> None:
    first = pick_from(world, block_of_five, firsts_mg=500 * GRAM).lots[1]
    world.wait(world.strain.flush_gap_days)
    second = pick_from(world, block_of_five, firsts_mg=200 * GRAM, flush=2).lots[1]

    # 500 of 700 g expected take 5.0000 * 5 / 7 = 3.5714; the last flush takes the rest.
    assert fresh(first).materials == 35_714
    assert fresh(second).materials == 14_286
    assert_book_is_sound()


def test_spent_blocks_share_all_cost_by_what_was_picked(world: World, block_of_five: Lot) -> None:
    first = pick_from(world, block_of_five, firsts_mg=500 * GRAM).lots[1]
    world.wait(world.strain.flush_gap_days)
    second = pick_from(world, block_of_five, firsts_mg=150 * GRAM, flush=2).lots[1]

    mark_spent(world.doing(), lot=block_of_five)

    # 5.0000 * 500 / 650 = 3.8461, rounded down; 150 g take the rest.
    assert (fresh(first).materials, fresh(second).materials) == (38_461, 11_539)
    assert not fresh(block_of_five).shares_open
    assert_book_is_sound()


def test_blocks_spent_without_a_pick_are_all_loss(world: World) -> None:
    blocks = fruiting(world, 4)

    entry = mark_spent(world.doing(), lot=blocks).entry

    assert entry.reason == "spent without a pick"
    assert tuple(-cost for cost in entry.flows.get(lot=blocks).cost) == blocks.cost
    assert_book_is_sound()


def test_blocks_binned_after_a_pick_carry_no_cost(world: World) -> None:
    blocks = fruiting(world, 40)
    pick_from(world, blocks, firsts_mg=20 * KG)
    held = fresh(blocks).cost

    doing = world.doing(minutes=0, reason="green mould")
    check(doing, lot=blocks, colonised_percent=100, lost=10)

    assert (fresh(blocks).quantity, fresh(blocks).cost) == (30, held)


def test_it_refuses_to_pick_from_spent_blocks(world: World) -> None:
    blocks = fruiting(world, 4)
    mark_spent(world.doing(), lot=blocks)

    with pytest.raises(Malformed, match=f"Lot {blocks.code} has no blocks left"):
        pick_from(world, blocks, firsts_mg=KG)


def test_it_refuses_to_pick_from_bags(world: World) -> None:
    with pytest.raises(Malformed, match="is filled bags, not blocks"):
        pick_from(world, filled_bags(world, 4), firsts_mg=KG)


def test_it_refuses_a_pick_of_nothing_or_from_nothing(world: World) -> None:
    with pytest.raises(Malformed, match="0 mg picked cannot be"):
        pick_from(world, fruiting(world, 4), firsts_mg=0)
    with pytest.raises(Malformed, match="no lot named"):
        pick_from(world, firsts_mg=KG)


def test_it_asks_about_blocks_that_were_never_moved_to_fruiting(world: World) -> None:
    blocks = grow_blocks(world, 4)

    with pytest.raises(PlausibilityQuestion, match="never moved to fruiting") as asked:
        pick_from(world, blocks, firsts_mg=KG)

    assert asked.value.question.endswith("Was it picked where it stood?")
    assert asked.value.lots == (blocks.code,)


def test_a_yes_picks_them_and_charges_the_room_since_inoculation(world: World) -> None:
    blocks = grow_blocks(world, 4)
    world.wait(25)

    doing = world.doing(sure=True)
    recorded = pick_from(world, blocks, firsts_mg=KG, doing=doing)

    assert Charge.objects.get(entry=recorded.entry, kind="room").amount == 25 * 4 * 200


def test_it_asks_about_9_kg_from_4_blocks(world: World) -> None:
    blocks = fruiting(world, 4)  # 500 g a block are planned

    with pytest.raises(PlausibilityQuestion, match=r"9\.00 kg .* from 4 blocks.* other unit"):
        pick_from(world, blocks, firsts_mg=9 * KG)


@pytest.mark.parametrize(("firsts_mg", "flush"), [(6 * KG, 1), (2_400 * GRAM, 2)])
def test_three_times_the_plan_is_taken_without_a_question(
    world: World, firsts_mg: int, flush: int
) -> None:
    blocks = fruiting(world, 4)
    if flush == 2:
        pick_from(world, blocks, firsts_mg=2 * KG)
        world.wait(world.strain.flush_gap_days)

    with pytest.raises(PlausibilityQuestion, match=r"where .* was planned"):
        pick_from(world, blocks, firsts_mg=firsts_mg + 1, flush=flush)
    assert pick_from(world, blocks, firsts_mg=firsts_mg, flush=flush).fresh


def test_a_yes_takes_the_weight_as_it_is(world: World) -> None:
    blocks, doing = fruiting(world, 4), world.doing()
    with pytest.raises(PlausibilityQuestion):
        pick_from(world, blocks, firsts_mg=9 * KG, doing=doing)

    recorded = pick_from(world, blocks, firsts_mg=9 * KG, doing=replace(doing, sure=True))

    assert fresh(recorded.lots[1]).quantity == 9 * KG


def test_a_pick_sent_twice_has_one_effect(world: World) -> None:
    blocks, doing = fruiting(world, 4), world.doing()

    first = pick_from(world, blocks, firsts_mg=KG, doing=doing)
    again = pick_from(world, blocks, firsts_mg=KG, doing=doing)

    assert (again.entry, again.lots, again.fresh) == (first.entry, first.lots, False)
    assert Lot.objects.filter(card__stage=Stage.CROP).count() == 1


def test_picks_from_held_blocks_are_born_on_hold(world: World) -> None:
    blocks = fruiting(world, 4)
    post(world.doing(reason="sour spawn"), HOLD, [], marks=[MarkDraft(blocks, held=True)])

    recorded = pick_from(world, blocks, firsts_mg=KG)

    assert fresh(recorded.lots[1]).held


def test_no_action_that_takes_time_is_free(world: World) -> None:
    picked(world)
    free = ["receive supplies", "buy culture"]  # what is paid for them is their cost

    entries = Entry.objects.exclude(kind__in=free)

    assert all(entry.charges.filter(kind="own", amount__gt=0).exists() for entry in entries)
    assert entries.count() == 8
