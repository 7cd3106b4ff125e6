"""The range around the card: exact without spread, no end where too many batches give nothing."""

from dataclasses import replace

import numpy as np
import pytest

from farm.planning.card import card_of
from farm.planning.chain import Draws
from farm.planning.grown import Grown, Records
from farm.planning.outlook import COSTS, Came, Range, outlook, range_of, scorecard
from farm.planning.spread import drawn
from farm.planning.work import Worked, work_out
from farm.reports.costs.card_words import nothing_words, range_words
from tests.bench.ranges import WORLDS, World, study, within
from tests.farm.card_cases import worked_plan

CARD = card_of(worked_plan())
PLANNED = {
    "yield": 0.56699, "loss": 0.07, "minutes": 1.0, "fridge": 0.04, "unsold": 0.10, "trim": 0.08,
}  # fmt: skip


def alike(count: int = 1_000, **changed: Draws) -> dict[str, Draws]:
    return {**{key: np.full(count, value) for key, value in PLANNED.items()}, **changed}


@pytest.mark.parametrize("cost", COSTS)
def test_without_spread_it_is_the_card_itself(cost: str) -> None:
    expected = round(getattr(CARD.chain, cost))

    assert outlook(CARD, alike()).ranges[cost] == Range(expected, expected, expected)


def test_the_median_lies_near_the_card_and_between_low_and_high() -> None:
    found = outlook(CARD, drawn(CARD.plan, Records())).ranges["sold"]

    assert found.low and found.median and found.high
    assert found.low < found.median < found.high
    # Above it rather than below: losses and minutes stray further up than down.
    assert 1 < found.median / CARD.chain.sold < 1.08


def test_more_blocks_make_a_narrower_range() -> None:
    few = card_of(worked_plan(batch=replace(CARD.plan.batch, blocks=8)))
    widths = []
    for card in (few, CARD):
        found = outlook(card, drawn(card.plan, Records())).ranges["picked"]
        assert found.low and found.high
        widths.append(found.high - found.low)

    assert widths[0] > widths[1]


def test_what_alone_varies_is_the_only_cause() -> None:
    unsold = np.random.default_rng(1).uniform(0.05, 0.25, 1_000)
    causes = outlook(CARD, alike(unsold=unsold)).causes

    assert (causes[0].key, causes[0].narrows_ppm) == ("unsold", 1_000_000)
    assert {cause.narrows_ppm for cause in causes[1:]} == {0}


# --- batches that give nothing ---------------------------------------------------------------


def with_lost(lost: int, *, of: int) -> Worked:
    crops = tuple(Grown(40, 38, 0.05, 0.5 + 0.01 * at, 0.08) for at in range(of - lost))
    return work_out(CARD.plan, Records((*crops, *[Grown(40, 0, 1.0, 0.0, 0.0)] * lost)))


def test_one_lost_batch_in_twelve_stands_at_the_dear_end_and_is_counted_apart() -> None:
    without, found = (with_lost(lost, of=of).outlook.ranges for lost, of in ((0, 11), (1, 12)))

    assert found["picked"].high and without["picked"].high
    assert found["picked"].high > without["picked"].high
    assert nothing_words(found["picked"]) == "1 batch in 12 gives nothing"
    assert range_words(found["placed"], "EUR").endswith("per kg; 1 batch in 12 gives nothing")


def test_one_lost_batch_in_ten_leaves_a_dear_end_and_one_in_nine_does_not() -> None:
    tenth, ninth = (with_lost(1, of=of).outlook.ranges["placed"] for of in (10, 9))

    assert tenth.high is not None
    assert (ninth.high, ninth.low is None) == (None, False)
    assert "without a dear end: 1 batch in 9 gives nothing" in range_words(ninth, "EUR")


def test_where_all_is_lost_there_is_no_cost() -> None:
    found = with_lost(9, of=9).outlook

    assert found.ranges["picked"] == Range(None, None, None, nothing=1.0)
    assert range_words(found.ranges["picked"], "EUR").startswith("no cost")
    assert {cause.narrows_ppm for cause in found.causes} == {0}


def test_a_batch_that_is_picked_and_wholly_binned_has_a_cost_picked_and_none_sold() -> None:
    unsold = np.where(np.arange(1_000) < 200, 1.0, 0.1)
    found = outlook(CARD, alike(unsold=unsold)).ranges

    assert (found["packed"].nothing, found["sold"].nothing) == (0.0, 0.2)
    assert found["packed"].high is not None
    assert found["sold"].high is None


def test_free_blocks_that_are_lost_have_no_cost_either() -> None:
    rates = replace(CARD.plan.rates, own_hour_money=0, block_day_money=0)
    free = card_of(worked_plan(batch=replace(CARD.plan.batch, ingredients=()), rates=rates))
    loss = np.where(np.arange(1_000) < 50, 1.0, 0.07)
    found = outlook(free, alike(loss=loss)).ranges["picked"]

    # 0 / 0 is no free kilo.
    assert found == Range(0, 0, 0, nothing=0.05)


def test_a_range_reads_off_the_tenth_the_middle_and_the_ninth_of_ten() -> None:
    assert range_of(np.arange(1.0, 101.0)) == Range(11, 51, 90)


@pytest.mark.parametrize(
    ("share", "words"),
    [
        (0.0, ""),
        (0.0004, ""),
        (0.005, "1 batch in 200 gives nothing"),
        (0.25, "1 batch in 4 gives nothing"),
        (0.4, "2 batches in 5 give nothing"),
        (1.0, "every batch gives nothing"),
    ],
)
def test_how_many_give_nothing_is_said_in_plain_parts(share: float, words: str) -> None:
    assert nothing_words(Range(1, 1, 1, nothing=share)) == words


# --- what came true --------------------------------------------------------------------------


def test_a_scorecard_counts_what_came_true_inside() -> None:
    expected = Range(10, 12, 15)

    assert scorecard([Came(expected, 10), Came(expected, 15), Came(expected, 16)]) == (2, 3)


def test_a_batch_that_gave_nothing_is_inside_a_range_without_a_dear_end_only() -> None:
    assert not Came(Range(10, 12, 15), None).is_inside
    assert Came(Range(10, 12, None), None).is_inside
    assert Came(Range(10, 12, None), 900).is_inside
    assert not Came(Range(10, 12, None), 9).is_inside
    assert not Came(Range(None, None, None), 9).is_inside


@pytest.mark.parametrize("world", WORLDS, ids=lambda world: world.name)
def test_so_many_of_100_batches_fall_inside(world: World) -> None:
    # The truth is drawn and costed apart; ``python -m tests.bench.ranges`` does more of it.
    few = 120 if world.records else 20_000
    found = study(world, farms=few, batches=40 if world.records else 1)

    assert within(world, found), found.percents
