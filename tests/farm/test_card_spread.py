"""The range around the card: repeatable, exact without spread, and right about four in five."""

from dataclasses import replace

import numpy as np
import pytest

from farm.planning.card import card_of
from farm.planning.spread import (
    COSTS,
    ENOUGH_RECORDS,
    Came,
    Own,
    Range,
    Spread,
    Stated,
    believed,
    moved,
    outlook,
    scorecard,
    spreads_of,
)
from tests.farm.card_cases import worked_plan

CARD = card_of(worked_plan())


def fixed(value: float, *, most: float = 5.0) -> Stated:
    return Stated(value, value, value, most=most)


NO_SPREAD = {
    "yield": fixed(0.56699),
    "loss": fixed(0.07),
    "minutes": fixed(1.0),
    "fridge": fixed(0.04),
    "unsold": fixed(0.10),
}


@pytest.mark.parametrize("cost", COSTS)
def test_without_spread_it_is_the_card_itself(cost: str) -> None:
    expected = round(getattr(CARD.chain, cost))

    assert outlook(CARD, NO_SPREAD).ranges[cost] == Range(expected, expected, expected)


def test_the_same_seed_gives_the_same_range() -> None:
    spreads = believed(CARD.plan)

    assert outlook(CARD, spreads, seed=7) == outlook(CARD, spreads, seed=7)
    assert outlook(CARD, spreads, seed=7).ranges != outlook(CARD, spreads, seed=8).ranges


def test_the_median_lies_near_the_card_and_between_low_and_high() -> None:
    found = outlook(CARD, believed(CARD.plan)).ranges["sold"]

    assert found.low < found.median < found.high
    # Above it rather than below: losses and minutes stray further up than down.
    assert 1 < found.median / CARD.chain.sold < 1.08


def test_more_blocks_make_a_narrower_range() -> None:
    few = card_of(worked_plan(batch=replace(CARD.plan.batch, blocks=8)))
    widths = [
        (found := outlook(card, believed(card.plan)).ranges["picked"]).high - found.low
        for card in (few, CARD)
    ]

    assert widths[0] > widths[1]


def test_what_alone_varies_is_the_only_cause() -> None:
    spreads = {**NO_SPREAD, "unsold": Stated(0.05, 0.10, 0.25)}
    causes = outlook(CARD, spreads).causes

    assert (causes[0].key, causes[0].narrows_ppm) == ("unsold", 1_000_000)
    assert {cause.narrows_ppm for cause in causes[1:]} == {0}


def test_one_batch_in_ten_lies_on_either_side_of_a_stated_range() -> None:
    drawn = Stated(0.3, 0.5, 0.9, most=10).draw(np.random.default_rng(1), 200_000)

    assert np.mean(drawn < 0.3) == pytest.approx(0.1, abs=0.003)
    assert np.mean(drawn > 0.9) == pytest.approx(0.1, abs=0.003)


def test_own_records_take_over_once_there_are_nine() -> None:
    records = [0.5] * ENOUGH_RECORDS

    assert isinstance(spreads_of(CARD.plan, {"yield": records})["yield"], Own)
    assert isinstance(spreads_of(CARD.plan, {"yield": records[1:]})["yield"], Stated)


def test_a_plan_apart_from_the_records_takes_their_spread_along() -> None:
    # Batches of 0.4 and 0.6 around 0.5; planned at 0.25 they are 0.2 and 0.3.
    assert moved([0.4, 0.6], 0.5, 0.25) == [0.2, 0.3]
    assert moved([0.0, 0.0], 0.0, 0.05) == []


def test_four_in_five_new_batches_fall_inside_a_range_made_of_own_records() -> None:
    # 400 farms with 19 batches each of a skewed true distribution; the 20th is the truth.
    random = np.random.default_rng(11)
    came = []
    for farm in range(400):
        yields = random.lognormal(-0.6, 0.25, 20)
        spreads: dict[str, Spread] = {**NO_SPREAD, "yield": Own(tuple(yields[:19]))}
        expected = outlook(CARD, spreads, seed=farm, draws=2_000).ranges["picked"]
        truth = outlook(CARD, {**NO_SPREAD, "yield": fixed(float(yields[19]))}, draws=1)
        came.append(Came(expected, truth.ranges["picked"].median))
    inside, of = scorecard(came)

    # 0.8 of 400 with a standard error of 2 %
    assert inside / of == pytest.approx(0.8, abs=0.05)


def test_a_scorecard_counts_what_came_true_inside() -> None:
    expected = Range(10, 12, 15)

    assert scorecard([Came(expected, 10), Came(expected, 15), Came(expected, 16)]) == (2, 3)
