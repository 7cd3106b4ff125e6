"""A flush is picked over days: crates of one flush within its plan cost the same a kilo."""

from fractions import Fraction
from itertools import accumulate

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from farm.actions.common import Draw
from farm.actions.growing.checks import check
from farm.actions.growing.harvesting import keep_spent, mark_spent, pick
from farm.actions.recording.correcting import correct_quantity, undo
from farm.models import Rate, RateOf
from farm.queries.costs.costs import cost_of
from farm.queries.growing.batches import batch_of
from farm.queries.growing.experience import Share, experience_of
from ledger.models import Charge, Lot, Role
from tests.farm.costed import blocks_at, costless_farm
from tests.farm.world import GRAM, KG, UNIT, World, assert_book_is_sound, fresh

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> World:
    """500 g a block are planned of the first flush, 200 g of the second, none of a third."""
    world = costless_farm()
    world.strain.third_mg = 0
    world.strain.save()
    return world


def crate(
    world: World, blocks: Lot, grams: int, flush: int = 1, *, minutes: int | None = None
) -> Lot:
    doing = world.doing(sure=True, minutes=minutes)
    return pick(doing, given=[Draw(fresh(blocks), 0)], flush=flush, firsts_mg=grams * GRAM).lots[-1]


def costs(*lots: Lot) -> list[int]:
    return [sum(fresh(lot).cost) for lot in lots]


def test_the_crates_of_two_flushes_picked_over_four_days(world: World) -> None:
    """8 / 28 of 200; 9 / 20 of 142.8572; 5 / 8 of 78.5715; 2 / 3 of 29.4644; then 200 / 24."""
    blocks = blocks_at(world, 40, 200)
    crates = [
        crate(world, blocks, 8_000),
        crate(world, blocks, 9_000),
        crate(world, blocks, 5_000, 2),
        crate(world, blocks, 2_000, 2),
    ]
    assert costs(*crates) == [57_1428, 64_2857, 49_1071, 19_6429]

    mark_spent(world.doing(), lot=fresh(blocks))
    # 8.3333 a kilo: 8, 9, 5 and 2 times 200 / 24.
    assert costs(*crates) == [66_6666, 75_0000, 41_6667, 16_6667]
    assert_book_is_sound()


def test_a_weight_that_is_corrected_moves_the_later_crates(world: World) -> None:
    blocks = blocks_at(world, 40, 200)
    first, second = crate(world, blocks, 8_000), crate(world, blocks, 9_000)
    correct_quantity(
        world.doing(sure=True), first.made_by, lot=first, role=Role.MADE, right_quantity=4 * KG
    )
    # 4 / 28 of 200; 9 / 24 of 171.4286.
    assert costs(first, second) == [28_5714, 64_2857]

    undo(world.doing(reason="typed twice"), first.made_by)
    # Nothing was picked before it then: 9 / 28 of 200.
    assert costs(second) == [64_2857]
    assert_book_is_sound()


def test_blocks_binned_between_two_days_take_their_part_of_the_first_along(world: World) -> None:
    """8 kg, 20 blocks binned, 4.5 kg: 4.5 / (4.5 + 10 - 4 - 4.5 + 4) of 142.8572."""
    blocks = blocks_at(world, 40, 200)
    crate(world, blocks, 8_000)
    doing = world.doing(reason="green mould", sure=True)
    check(doing, lot=fresh(blocks), colonised_percent=100, lost=20)

    assert costs(crate(world, blocks, 4_500)) == [64_2857]
    assert_book_is_sound()


def test_blocks_of_one_batch_in_two_rooms_go_on_from_one_flush(world: World) -> None:
    """8 kg of 40; 20 go to another room. Each half: 4.5 / (4.5 + 10 - 4 - 4.5 + 4) of 71.4286."""
    blocks = blocks_at(world, 40, 200)
    first = crate(world, blocks, 8_000)
    part = check(world.doing(), lot=fresh(blocks), colonised_percent=100, passed=20).lots[1]
    second, third = crate(world, blocks, 4_500), crate(world, part, 4_500)
    assert costs(second, third) == [32_1428, 32_1428]

    correct_quantity(
        world.doing(sure=True), first.made_by, lot=first, role=Role.MADE, right_quantity=4 * KG
    )
    # 85.7143 a half, of which 4.5 / (4.5 + 10 - 2 - 4.5 + 4).
    assert costs(second, third) == [32_1428, 32_1428]
    assert_book_is_sound()


def test_what_is_still_expected_of_a_batch_is_what_is_left_of_its_flush(world: World) -> None:
    blocks = blocks_at(world, 40, 200)
    crate(world, blocks, 8_000)
    part = check(world.doing(), lot=fresh(blocks), colonised_percent=100, passed=10).lots[1]
    check(world.doing(reason="pests", sure=True), lot=fresh(part), colonised_percent=100, lost=5)
    batch = batch_of(fresh(blocks))

    # 30 and 5 blocks: 15 - 6 + 6 kg and 2.5 - 1 + 1 kg.
    assert batch and (batch.picked_mg, batch.expected_mg) == (8 * KG, 17_500 * GRAM)


def test_blocks_of_a_part_binned_after_its_whole_was_picked_were_good(world: World) -> None:
    """8 kg of 40 leave 142.8572; 20 go elsewhere with 71.4286 and 5 of these are binned.

    They had given their part of the 8 kg, so all 20 were good, at 71.4286 / 20; of the batch, 40.
    """
    blocks = blocks_at(world, 40, 200)
    crate(world, blocks, 8_000)
    part = check(world.doing(), lot=fresh(blocks), colonised_percent=100, passed=20).lots[1]
    doing = world.doing(reason="pests", sure=True)
    check(doing, lot=fresh(part), colonised_percent=100, lost=5)
    cost, batch = cost_of(fresh(part)), batch_of(fresh(part))

    assert (cost.made.pieces, cost.good.pieces, cost.on_hand.pieces) == (20, 20, 15)
    assert cost.per_unit(cost.good) == 3_5714
    assert batch and (batch.started, batch.good) == (40, 40)

    mark_spent(world.doing(), lot=fresh(part))
    assert experience_of(world.strain).loss == Share(0, 20, (0.0,))
    mark_spent(world.doing(), lot=fresh(blocks))
    own = experience_of(world.strain)
    assert (own.loss.part, own.loss.whole) == (0, 40)
    assert own.flushes_mg[0] == 200 * GRAM  # 8 kg of 40


def test_blocks_of_a_part_binned_before_any_pick_were_not_good(world: World) -> None:
    """20 of 40 go elsewhere and 5 of these are binned, then both are picked: 15 and 35 good."""
    blocks = blocks_at(world, 40, 200)
    part = check(world.doing(), lot=fresh(blocks), colonised_percent=100, passed=20).lots[1]
    doing = world.doing(reason="pests", sure=True)
    check(doing, lot=fresh(part), colonised_percent=100, lost=5)
    crate(world, blocks, 8_000)
    crate(world, part, 6_000)
    batch = batch_of(fresh(part))

    assert cost_of(fresh(part)).good.pieces == 15
    assert batch and batch.good == 35
    mark_spent(world.doing(), lot=fresh(part))
    assert experience_of(world.strain).loss == Share(5, 20, (0.25,))


def test_kept_spent_blocks_leave_what_is_expected_to_the_picks(world: World) -> None:
    """Worth 2 kg: 2 / (2 + 20 - 8 + 8) of 142.8572; then 9 / (9 + 20 - 17 + 8) of the rest."""
    blocks = blocks_at(world, 40, 200)
    crate(world, blocks, 8_000)
    kept = keep_spent(
        world.doing(sure=True),
        lot=blocks,
        worth_money=20 * UNIT,
        crop_kg_money=10 * UNIT,
        kept_mg=30 * KG,
    ).lots[-1]
    # 12.9870, and 9 / 20 of 129.8702.
    assert costs(kept, crate(world, blocks, 9_000)) == [12_9870, 58_4415]


def test_room_while_waiting_falls_on_the_blocks_and_labour_on_its_crate(world: World) -> None:
    """8 kg; ten days of 40 blocks at 0.02 are 8.00; 9 kg with 6 minutes at 60.00 an hour."""
    Rate.objects.filter(of=RateOf.BLOCK_DAY).update(rate_money=200)
    blocks = blocks_at(world, 40, 200)
    first = crate(world, blocks, 8_000)
    world.wait(10)
    second = crate(world, blocks, 9_000, minutes=6)
    room = Charge.objects.get(entry=second.made_by, kind="room")

    assert (room.amount, room.lot) == (8 * UNIT, blocks)
    # 9 / 20 of 142.8572 + 8, and its own 6.00.
    assert costs(first, second) == [57_1428, 67_8857 + 6 * UNIT]
    mark_spent(world.doing(), lot=fresh(blocks))
    # One more day until it is spent, 0.80: 200 / 17 and 8.80 / 17 a kilo for both.
    assert costs(first, second) == [94_1176 + 4_1411, 105_8824 + 4_6589 + 6 * UNIT]
    assert_book_is_sound()


def test_room_falls_on_each_of_two_lots_that_are_picked_together(world: World) -> None:
    Rate.objects.filter(of=RateOf.BLOCK_DAY).update(rate_money=200)
    one, other = blocks_at(world, 40, 200), blocks_at(world, 10, 0)
    world.wait(10)
    given_ = [Draw(fresh(one), 8 * KG), Draw(fresh(other), 2 * KG)]
    lot = pick(world.doing(sure=True), given=given_, flush=1, firsts_mg=10 * KG).lots[-1]
    room = dict(Charge.objects.filter(entry=lot.made_by, kind="room").values_list("lot", "amount"))

    days = [(lot.made_by.happened_on - blocks.made_by.happened_on).days for blocks in (one, other)]
    assert room == {one.pk: 40 * days[0] * 200, other.pk: 10 * days[1] * 200}
    assert fresh(lot).room == room[one.pk] * 8 // 28 + room[other.pk] * 2 // 7
    assert_book_is_sound()


@given(
    weights=st.lists(st.integers(1, 4_999), min_size=2, max_size=6),
    cost=st.integers(1, 900),
    later=st.lists(st.integers(1, 9_999), max_size=3),
)
@settings(
    max_examples=6,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=list(HealthCheck),
)
def test_crates_of_one_flush_within_its_plan_cost_the_same_a_kilo(
    weights: list[int], cost: int, later: list[int]
) -> None:
    """Until spent those within plan; once spent all crates of the lot, whatever their flush."""
    with transaction.atomic():
        world = costless_farm()
        blocks = blocks_at(world, 40, cost)
        within = [
            grams
            for grams, sum_ in zip(weights, accumulate(weights), strict=True)
            if sum_ <= 20_000
        ]
        crates = [crate(world, blocks, grams, minutes=grams % 7) for grams in within]
        _same_a_kilo(crates, Fraction(cost * UNIT, 40 * 760))
        crates += [crate(world, blocks, grams, 2) for grams in later]
        mark_spent(world.doing(), lot=fresh(blocks))
        _same_a_kilo(crates, Fraction(cost * UNIT, sum(within) + sum(later)))
        assert_book_is_sound()
        transaction.set_rollback(True)


def _same_a_kilo(crates: list[Lot], gram_money: Fraction) -> None:
    """Without the labour of its picking, each carries so much a gram, to a unit a pick before."""
    for lot in map(fresh, crates):
        labour = sum(lot.made_by.charges.values_list("amount", flat=True))
        exact = gram_money * (lot.quantity // GRAM)
        assert abs(sum(lot.cost) - labour - exact) <= len(crates) + 1
