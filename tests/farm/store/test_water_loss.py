"""What picks lose as water a day: rates worked by hand, and the belief until there are enough."""

import pytest

from farm.actions.recording.correcting import undo
from farm.actions.store.check_weights import check_weights
from farm.actions.store.storing import weigh_again
from farm.queries.store.water_loss import (
    ENOUGH,
    Kept,
    WaterLoss,
    daily_rate,
    loss_from,
    water_losses,
)
from tests.farm.goods import crop, packs
from tests.farm.world import GRAM, KG, World, small_farm


@pytest.fixture
def world(db: None) -> World:
    return small_farm()


def own_loss(world: World) -> WaterLoss:
    return water_losses()[Kept.LOOSE][world.species]


def weighed_after(world: World, days: int, weight_mg: int, reason: str = "") -> None:
    """10 kg, weighed again after some days."""
    lot = crop(world)
    world.wait(days)
    weigh_again(world.doing(sure=True, reason=reason), lot=lot, weight_mg=weight_mg)


def test_a_daily_rate_compounds() -> None:
    # 10 x 0.98 x 0.98 = 9.604 kg.
    assert daily_rate(10 * KG, 9_604 * GRAM, 2) == 20_000
    assert daily_rate(10 * KG, 9_900 * GRAM, 1) == 10_000


def test_until_there_are_enough_weighings_a_belief_stands(world: World) -> None:
    weighed_after(world, 1, 9_900 * GRAM)

    loss = own_loss(world)

    # The species may lose 2 % a day: 1 % is believed, 0 to 2 % its band. Own rule, no source.
    assert (loss.rate_ppm, loss.low_ppm, loss.high_ppm) == (10_000, 0, 20_000)
    assert (loss.weighings, loss.is_own) == (1, False)
    assert loss.source == "a belief; own from 10 weighings on, 1 so far"


def test_from_ten_weighings_on_the_median_stands_with_its_band(world: World) -> None:
    # 0.6, 0.7 ... 1.4 and once 3.0 % in a day; the middle of ten lies between 1.0 and 1.1 %.
    rates = [6_000, 7_000, 8_000, 9_000, 10_000, 11_000, 12_000, 13_000, 14_000, 30_000]

    loss = loss_from(rates, world.species)

    assert len(rates) == ENOUGH
    assert (loss.rate_ppm, loss.is_own) == (10_500, True)
    # A tenth of the way from the first to the last of ten: 0.9 steps from 0.6, 8.1 of 9.
    assert (loss.low_ppm, loss.high_ppm) == (6_900, 15_600)


def test_one_slip_of_the_scale_hardly_moves_it(world: World) -> None:
    rates = [10_000] * 9

    assert loss_from([*rates, 400_000], world.species).rate_ppm == 10_000


def test_its_own_weighings_replace_the_belief(world: World) -> None:
    for _ in range(ENOUGH):
        weighed_after(world, 2, 9_801 * GRAM)

    # 0.99 x 0.99 = 0.9801.
    assert (own_loss(world).rate_ppm, own_loss(world).source) == (10_000, "own: 10 weighings")


def test_what_has_a_cause_is_no_water(world: World) -> None:
    weighed_after(world, 1, 9 * KG, reason="sample")

    assert own_loss(world).weighings == 0


def test_a_weighing_on_the_same_day_says_nothing_of_a_day(world: World) -> None:
    weighed_after(world, 0, 9_995 * GRAM)

    assert own_loss(world).weighings == 0


def test_what_was_taken_back_does_not_count(world: World) -> None:
    lot = crop(world)
    world.wait(1)
    entry = weigh_again(world.doing(), lot=lot, weight_mg=9_900 * GRAM).entry
    undo(world.doing(), entry)

    assert own_loss(world).weighings == 0


def test_a_weight_some_days_on_is_rounded_half_up(world: World) -> None:
    loss = WaterLoss(20_000, 10_000, 30_000, 12, is_own=True)

    # 10 x 0.98^2, 0.97^2 and 0.99^2.
    assert loss.after(10 * KG, 2) == 9_604 * GRAM
    assert (loss.least_after(10 * KG, 2), loss.most_after(10 * KG, 2)) == (9_409_000, 9_801_000)
    # 25 mg x 0.98 = 24.5.
    assert loss.after(25, 1) == 25


# --- in packs --------------------------------------------------------------------------------


def checked_after(world: World, days: int, net_mg: int) -> None:
    """40 packs filled with 200 g each; two of them on the scale some days later, 15 g of tare."""
    lot = packs(world)
    world.wait(days)
    gross = [net_mg + 15 * GRAM] * 2
    check_weights(world.doing(), lot=lot, tare_mg=15 * GRAM, gross_mg=gross)


def test_packs_lose_as_crates_do_until_enough_were_weighed(world: World) -> None:
    checked_after(world, 1, 199 * GRAM)

    loss = water_losses()[Kept.PACKED][world.species]

    assert (loss.rate_ppm, loss.weighings, loss.is_own) == (10_000, 1, False)
    assert loss.source.startswith("as in crates (a belief")


def test_packs_have_a_loss_of_their_own_from_ten_check_weights_on(world: World) -> None:
    for _ in range(ENOUGH):
        checked_after(world, 1, 199 * GRAM)

    loss = water_losses()[Kept.PACKED][world.species]

    # 1 g of 200 in a day.
    assert (loss.rate_ppm, loss.source) == (5_000, "own: 10 check weights")


def test_packs_weighed_on_the_day_they_were_filled_say_nothing(world: World) -> None:
    checked_after(world, 0, 200 * GRAM)

    assert water_losses()[Kept.PACKED][world.species].weighings == 0
