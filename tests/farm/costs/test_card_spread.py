"""How batches vary: worked numbers of the log yield, shares moved on their odds, own records."""

from dataclasses import replace
from fractions import Fraction
from math import exp, log, sqrt

import numpy as np
import pytest

from farm.planning.card import card_of
from farm.planning.grown import Grown, Records, on_odds
from farm.planning.spread import (
    BELIEF_WEIGHS,
    ENOUGH_RECORDS,
    batch_scatter,
    drawn,
    log_yield,
    sources_of,
)
from tests.farm.card_cases import worked_plan

CARD = card_of(worked_plan())
WAS = {"yield": 0.5, "loss": 0.07, "trim": 0.08, "fridge": 0.04, "unsold": 0.1}


def grew(kilos: float, *, loss: float = 0.05, blocks: int = 20, trim: float = 0.08) -> Grown:
    return Grown(blocks, round(blocks * (1 - loss)), loss, kilos, trim)


def scattered(count: int, spread: float, blocks: int = 20) -> list[Grown]:
    """Batches of which the log yields' s^2, with the belief's four, is the spread squared."""
    belief = BELIEF_WEIGHS * (0.12**2 + 0.25**2 / blocks)
    away = sqrt(((BELIEF_WEIGHS + count - 1) * spread**2 - belief) / (count // 2 * 2))
    signs = [1, -1] * (count // 2) + [0] * (count % 2)
    return [Grown(blocks, blocks, 0.0, 0.5 * exp(away * sign), 0.08) for sign in signs]


# --- yields ----------------------------------------------------------------------------------


def test_a_batch_scatters_twelve_percent_and_its_blocks_twenty_five() -> None:
    # 0.12^2 + 0.25^2 / 25 = 0.0144 + 0.0025
    assert batch_scatter(25) == pytest.approx(0.0169)


def test_a_new_farm_doubts_its_own_mean_by_a_quarter() -> None:
    found = log_yield(0.5, [], 25)

    assert (found.middle, found.doubt) == (log(0.5), 0.25)
    assert found.scatter == pytest.approx(0.13)


def test_nine_batches_that_scatter_a_fifth_leave_a_doubt_of_six_percent() -> None:
    # The design's worked number: 1 / sqrt(1 / 0.25^2 + 9 / 0.2^2) = 1 / sqrt(241) = 6.44 %.
    found = log_yield(0.5, scattered(9, 0.20), 20)

    assert found.scatter == pytest.approx(0.20)
    assert round(found.doubt, 4) == 0.0644


def test_the_middle_weighs_belief_and_own_mean_alike() -> None:
    # Of 241 parts, 16 are the belief's and 225 the farm's.
    found = log_yield(1.0, scattered(9, 0.20), 20)

    assert found.middle == pytest.approx(log(0.5) * 225 / 241)


def test_one_own_batch_adds_to_the_mean_and_nothing_to_the_scatter() -> None:
    found = log_yield(0.5, [Grown(25, 25, 0.0, 0.5, 0.08)], 25)

    assert found.scatter == pytest.approx(0.13)
    assert found.doubt == pytest.approx(1 / sqrt(16 + 1 / 0.0169))


def test_a_small_plan_scatters_more_than_the_batches_it_is_read_from() -> None:
    # (0.0144 + 0.0625 / 8) / (0.0144 + 0.0625 / 60) = 0.0222125 / 0.0154417
    large = log_yield(0.5, scattered(8, 0.20, blocks=60), 60)
    small = log_yield(0.5, scattered(8, 0.20, blocks=60), 8)

    assert (small.scatter / large.scatter) ** 2 == pytest.approx(0.0222125 / 0.01544167)
    assert small.doubt == large.doubt


def test_eight_in_ten_draws_of_a_new_farm_lie_within_its_doubt_and_scatter() -> None:
    kilos = drawn(CARD.plan, Records(), count=200_000)["yield"]
    apart = 1.2815515655 * sqrt(0.25**2 + 0.12**2 + 0.25**2 / 100)
    inside = np.abs(np.log(kilos / 0.56699)) < apart

    assert np.mean(inside) == pytest.approx(0.8, abs=0.004)


# --- shares ----------------------------------------------------------------------------------


def by_newton(shares: list[float], mean: float) -> float:
    """Find the factor on the odds in another way: Newton's method on the mean, in fractions."""
    odds = [Fraction(share) / (1 - Fraction(share)) for share in shares]
    factor = Fraction(1)
    for _ in range(60):
        moved = [factor * one / (1 + factor * one) for one in odds]
        slopes = [one / (1 + factor * one) / (1 + factor * one) for one in odds]
        step = (sum(moved, -len(odds) * Fraction(mean))) / sum(slopes, Fraction(0))
        factor = max(factor - step, factor / 2).limit_denominator(10**15)
        if abs(step) < Fraction(1, 10**14):
            break
    return float(factor)


@pytest.mark.parametrize("mean", [0.01, 0.07, 0.3, 0.5, 0.9, 0.99])
@pytest.mark.parametrize("shares", [[0.1, 0.3], [0.02, 0.05, 0.4, 0.97], [0.07] * 9])
def test_shares_move_by_the_one_factor_on_their_odds_that_brings_their_mean(
    shares: list[float], mean: float
) -> None:
    moved = on_odds(shares, mean)
    factor = by_newton(shares, mean)

    assert sum(moved) / len(moved) == pytest.approx(mean, rel=1e-9)
    for was, now in zip(shares, moved, strict=True):
        assert now / (1 - now) == pytest.approx(factor * was / (1 - was), rel=1e-6)


def test_a_tenth_and_three_tenths_at_a_half_have_the_root_of_21_as_their_factor() -> None:
    low, high = on_odds([0.1, 0.3], 0.5)

    # 1/9 x 4.5826 = 0.5092 of odds; 3/7 x 4.5826 = 1.9640
    assert low == pytest.approx(0.50918 / 1.50918, abs=1e-5)
    assert high == pytest.approx(1.96396 / 2.96396, abs=1e-5)


def test_exactly_nothing_and_exactly_all_stay_where_the_others_move() -> None:
    assert on_odds([0.0, 0.1, 0.3, 1.0, 0.0], 0.5) == [0.0, *on_odds([0.1, 0.3], 0.5), 1.0, 0.0]
    assert on_odds([0.0, 1.0, 0.0], 0.5) == [0.0, 1.0, 0.0]
    assert on_odds([], 0.5) == []


def test_a_mean_of_nothing_or_of_all_takes_the_others_along() -> None:
    assert on_odds([0.0, 0.1, 1.0], 0.0) == [0.0, 0.0, 1.0]
    assert on_odds([0.0, 0.1, 1.0], 1.0) == [0.0, 1.0, 1.0]


def test_no_share_leaves_nothing_to_one_however_far_it_is_moved() -> None:
    for mean in (1e-6, 1 - 1e-6):
        assert all(0 <= share <= 1 for share in on_odds([1e-9, 0.5, 1 - 1e-9], mean))


def test_records_stay_as_they_are_where_nothing_else_was_typed() -> None:
    records = Records((grew(0.4), grew(0.6)), (0.03,), (0.2,), 0.5)

    assert records.moved(WAS, dict(WAS)) == records


def test_a_typed_yield_takes_all_yields_along_and_is_what_is_believed() -> None:
    moved = Records((grew(0.4), grew(0.6)), believed_kg=0.7).moved(WAS, {**WAS, "yield": 0.25})

    assert [one.kilos for one in moved.batches] == [0.2, 0.3]
    assert moved.believed_kg == 0.25


def test_a_typed_loss_moves_the_batches_but_not_those_lost_whole() -> None:
    batches = (grew(0.5, loss=0.1), grew(0.5, loss=0.3), grew(0.0, loss=1.0))
    moved = Records(batches).moved(WAS, {**WAS, "loss": 0.5})

    assert [one.loss for one in moved.batches] == [*on_odds([0.1, 0.3], 0.5), 1.0]


def test_what_is_saved_is_read_back_the_same() -> None:
    records = Records((grew(0.4), grew(0.0, loss=1.0)), (0.03, 0.0), (0.2, 1.0), 0.5)

    assert Records.read(records.as_json()) == records


# --- own records -----------------------------------------------------------------------------


def nine_and(*more: Grown) -> Records:
    return Records((*(grew(0.4 + 0.02 * at, loss=0.01 * (at + 1)) for at in range(9)), *more))


def test_own_records_take_over_once_there_are_nine() -> None:
    assert sources_of(nine_and())["yield"] == "the farm's own, 9 batches"
    fewer = Records(nine_and().batches[1:])
    assert sources_of(fewer)["yield"] == "common practice, no source, and 8 own batches"
    assert sources_of(fewer)["loss"] == "common practice, no source"
    shares = Records(fridge=(0.1,) * ENOUGH_RECORDS)
    assert sources_of(shares)["fridge"] == "the farm's own, 9 lots"


def test_nine_own_batches_are_drawn_and_no_doubt_is_added() -> None:
    # As large as the plan, so that they are drawn as they were.
    plan = replace(CARD.plan, batch=replace(CARD.plan.batch, blocks=20))
    records = Records(tuple(grew(0.4 + 0.02 * at, loss=0.0) for at in range(9)))
    kilos = drawn(plan, records)["yield"]

    assert kilos.min() == pytest.approx(0.4)
    assert kilos.max() == pytest.approx(0.56)
    assert np.median(kilos) == pytest.approx(0.48, abs=0.003)


def test_a_small_plan_draws_the_records_of_large_batches_wider() -> None:
    records = Records(tuple(grew(0.5 * exp(0.1 * at), loss=0.0, blocks=60) for at in range(-4, 5)))
    small = replace(CARD.plan, batch=replace(CARD.plan.batch, blocks=8))
    kilos = drawn(small, records)["yield"]

    wider = sqrt(0.0222125 / 0.01544167)
    assert np.log(kilos.max() / 0.5) == pytest.approx(0.4 * wider)


def test_a_batch_lost_whole_is_drawn_as_often_as_it_came() -> None:
    records = nine_and(grew(0.5), grew(0.5), grew(0.0, loss=1.0))
    loss = drawn(CARD.plan, records, count=12_000)["loss"]

    assert np.sum(loss == 1) == 1_000
    assert loss[loss < 1].max() <= 0.091


def test_a_batch_that_fruited_and_gave_nothing_is_one_without_a_crop() -> None:
    loss = drawn(CARD.plan, nine_and(grew(0.0, loss=0.1)), count=1_000)["loss"]

    assert np.sum(loss == 1) == 100


def test_records_of_nothing_and_of_all_are_drawn_as_often_as_they_came() -> None:
    unsold = (0.0, 0.0, 0.0, 0.05, 0.1, 0.1, 0.15, 0.2, 0.3, 1.0)
    found = drawn(CARD.plan, Records(unsold=unsold), count=100_000)["unsold"]

    assert np.mean(found == 0) == pytest.approx(0.3, abs=0.006)
    assert np.mean(found == 1) == pytest.approx(0.1, abs=0.004)
    between = found[(found > 0) & (found < 1)]
    assert (between.min(), between.max()) == (0.05, 0.3)


def test_loss_and_yield_of_one_batch_are_drawn_together() -> None:
    records = Records(tuple(grew(0.6 - 0.04 * at, loss=0.05 * at, blocks=100) for at in range(9)))
    found = drawn(CARD.plan, records)

    assert np.corrcoef(found["yield"], found["loss"])[0, 1] < -0.9


def test_the_luck_of_few_blocks_is_drawn_on_top_of_the_records_of_many() -> None:
    records = Records(tuple(grew(0.5, loss=0.1, blocks=60) for _ in range(9)))
    small = replace(CARD.plan, batch=replace(CARD.plan.batch, blocks=8))
    loss = drawn(small, records, count=100_000)["loss"]

    # What 8 blocks scatter more than 60: 0.1 x 0.9 x (1/8 - 1/60) = 0.00975, of 9 whole blocks.
    assert np.var(loss) == pytest.approx(0.1 * 0.9 * (1 / 8 - 1 / 60), rel=0.05)
    assert np.mean(loss) == pytest.approx(0.1, abs=0.002)


def test_one_block_is_lost_as_often_as_blocks_are_lost() -> None:
    plan = replace(CARD.plan, batch=replace(CARD.plan.batch, blocks=1))
    loss = drawn(plan, Records(), count=100_000)["loss"]

    assert set(np.unique(loss)) == {0.0, 1.0}
    assert np.mean(loss) == pytest.approx(0.08, abs=0.02)


def test_fewer_than_nine_records_draw_their_whole_losses_too() -> None:
    records = Records((grew(0.5), grew(0.5), grew(0.5), grew(0.0, loss=1.0)))
    loss = drawn(CARD.plan, records, count=1_000)["loss"]

    assert np.mean(loss == 1) == 0.25
    assert np.median(loss[loss < 1]) == pytest.approx(0.05, abs=0.01)


def test_where_all_was_lost_no_batch_gives_anything() -> None:
    for count in (1, 9):
        records = Records((grew(0.0, loss=1.0),) * count)
        assert np.all(drawn(CARD.plan, records, count=100)["loss"] == 1)


def test_minutes_are_a_fifth_fewer_to_a_third_more_in_eight_of_ten() -> None:
    minutes = drawn(CARD.plan, Records(), count=200_000)["minutes"]

    assert np.mean(minutes < 0.8) == pytest.approx(0.1, abs=0.003)
    assert np.mean(minutes > 1.35) == pytest.approx(0.1, abs=0.003)


def test_a_believed_share_has_half_to_twice_its_odds_in_eight_of_ten() -> None:
    unsold = drawn(CARD.plan, Records(), count=200_000)["unsold"]

    # 10 % are odds of 1 to 9: half are 1 to 18, twice 2 to 9.
    assert np.mean(unsold < 1 / 19) == pytest.approx(0.1, abs=0.003)
    assert np.mean(unsold > 2 / 11) == pytest.approx(0.1, abs=0.003)


def test_the_same_seed_draws_the_same_batches() -> None:
    first, again, other = (drawn(CARD.plan, nine_and(), seed=seed, count=50) for seed in (7, 7, 8))

    assert all(np.array_equal(first[key], again[key]) for key in first)
    assert not np.array_equal(first["yield"], other["yield"])
