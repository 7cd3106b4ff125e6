"""The cost card's arithmetic, against the worked chain of the project's reference notes."""

from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np
import pytest

from farm.actions.starting.starting import add_strain
from farm.beliefs import OTHERWISE, PICKED, PLANNED, SALEABLE, TRIM_PPM, planned
from farm.planning.card import ByProducts, Ingredient, card_of, whole_parts, without_own_hours
from farm.planning.chain import Chain
from farm.planning.drivers import steps_of
from farm.planning.outlook import outlook
from ledger.errors import Malformed
from tests.farm.card_cases import RATES, worked_plan


def money(amount: Fraction) -> float:
    return round(float(amount) / 10_000, 3)


# Computed in the project's reference notes, section 2.10, inputs illustrative: 1.25 lb a block.
@pytest.mark.parametrize(
    ("cost", "expected"),
    [
        ("block", 5.27),
        ("ready", 9.994),
        ("picked", 13.594),
        ("saleable", 14.776),
        ("packed", 18.176),
        ("sold", 21.038),
        ("placed", 28.588),
    ],
)
def test_it_repeats_the_worked_chain(cost: str, expected: float) -> None:
    assert money(getattr(card_of(worked_plan()).chain, cost)) == expected


def test_a_good_block_carries_the_lost_ones() -> None:
    chain = card_of(worked_plan()).chain

    # 5.27 / 0.93
    assert money(chain.block / chain.kept) == 5.667


def test_seven_blocks_lost_of_a_hundred_are_the_rate_of_seven_percent() -> None:
    plan = worked_plan()
    counted = replace(plan, batch=replace(plan.batch, lost_count=7, loss_ppm=0))

    assert card_of(counted).chain == card_of(plan).chain


def test_the_notebook_answer_stands_first_in_the_cascade() -> None:
    rung = card_of(worked_plan()).rungs[0]

    # 5.27 / 0.56699 = 9.2947: what "block cost divided by yield" would say.
    assert money(rung.total) == 9.295


def test_the_steps_add_up_to_every_named_cost() -> None:
    card = card_of(worked_plan())
    running = 0
    for rung, amount in zip(card.rungs, card.amounts(), strict=True):
        running += amount or 0
        assert running == round(rung.total)


def test_losses_divide_and_are_never_added_up() -> None:
    chain = card_of(worked_plan()).chain

    # 18.176 / 0.96 / 0.90 = 21.038; adding 4 % and 10 % would say 20.721.
    assert chain.sold == chain.packed / Fraction(96, 100) / Fraction(90, 100)


def test_without_own_hours_only_what_is_paid_is_left() -> None:
    card = card_of(without_own_hours(worked_plan()))

    # 1.67 + 0.60 = 2.27; / 0.93 / 0.56699 / 0.92 = 4.679; + 1.90 punnet; / 0.864; + 25/20.
    assert money(card.chain.block) == 2.27
    assert money(card.chain.placed) == 8.865


def test_half_the_hours_paid_stand_in_two_lines() -> None:
    lines = card_of(worked_plan(rates=replace(RATES, own_ppm=500_000))).lines

    # 5 min at 15 and 5 min at 18 an hour
    assert [(line.kind, money(line.cost)) for line in lines if line.kind in ("paid", "own")] == [
        ("paid", 1.25),
        ("own", 1.5),
    ]


def test_a_half_full_steriliser_costs_each_block_twice_as_much() -> None:
    plan = worked_plan(rates=replace(RATES, kwh_money=3_000))
    full = replace(plan, batch=replace(plan.batch, run_wh=48_000, load_blocks=40))
    half = replace(plan, batch=replace(plan.batch, run_wh=48_000, load_blocks=20))

    # 48 kWh at 0.30 are 14.40: 0.36 a block of 40, 0.72 of 20.
    cost = {line.label: line.cost for line in card_of(half).lines}["Steriliser"]
    assert cost == 7_200
    assert card_of(half).block_cost - card_of(full).block_cost == 3_600


def test_a_weighed_ingredient_costs_its_share_of_a_kilo() -> None:
    # 155 g of spawn at 6.20 a kilo
    assert Ingredient("Spawn", 155_000, 62_000).cost == 9_610


def test_rounded_parts_add_up_to_the_rounded_whole() -> None:
    assert whole_parts([Fraction(1, 3)] * 3) == [0, 1, 0]


@pytest.mark.parametrize(
    ("group", "name", "value"),
    [
        ("batch", "blocks", 0),
        ("batch", "loss_ppm", 1_000_000),
        ("crop", "flushes_mg", ()),
        ("crop", "unsold_ppm", 1_000_000),
        ("place", "day_mg", 0),
        ("place", "share_ppm", 1_000_000),
    ],
)
def test_it_refuses_to_divide_by_nothing(group: str, name: str, value: object) -> None:
    plan = worked_plan()
    broken = replace(plan, **{group: replace(getattr(plan, group), **{name: value})})

    with pytest.raises(Malformed, match="State more than zero"):
        card_of(broken)


def test_trim_is_taken_off_once_of_what_is_believed_to_be_saleable() -> None:
    oyster = planned("Oyster")

    # 500 g saleable are 500 / 0.92 = 543.478 g picked, to the gram; a picked figure stays.
    assert oyster.flushes_are == SALEABLE
    assert oyster.picked_mg == (543_000, 217_000, 65_000)
    assert oyster._replace(flushes_are=PICKED).picked_mg == oyster.flushes_mg
    for belief in (*PLANNED, OTHERWISE):
        left = Fraction(sum(belief.picked_mg) * (1_000_000 - TRIM_PPM), 1_000_000)
        assert abs(left - sum(belief.flushes_mg)) < 1_500


@pytest.mark.django_db
def test_a_new_farm_s_card_gives_as_much_saleable_as_is_believed() -> None:
    strain = add_strain(planned("Oyster"), "Grey")
    trimmed = Fraction(strain.first_mg * (1_000_000 - TRIM_PPM), 1_000_000)

    assert round(trimmed / 1_000) == 500


# --- what is sold beside the crop ------------------------------------------------------------


def beside(**said: Any) -> Chain[Fraction]:
    """12 kg of 40 blocks, none lost, 226.89 in all until it is picked; no labour of picking."""
    plan = worked_plan()
    batch = replace(
        plan.batch,
        blocks=40,
        loss_ppm=0,
        block_seconds=0,
        shelf_days=0,
        ingredients=(Ingredient("Block", 1, 56_722, is_weighed=False),),
    )
    crop = replace(plan.crop, flushes_mg=(300_000,), pick_seconds=0, trim_ppm=250_000)
    aside = ByProducts(**said)
    return card_of(replace(plan, batch=batch, crop=crop, by_products=aside)).chain


def test_trim_that_brings_nothing_leaves_its_cost_to_what_can_be_sold() -> None:
    # The design's worked number: 226.89 over 12 kg are 18.91, over the 9 that are no trim 25.21.
    chain = beside()

    assert (money(chain.picked), money(chain.saleable)) == (18.907, 25.21)


def test_trim_shares_by_worth_what_it_was_picked_for() -> None:
    # 3 kg at 4.00 beside 9 kg at 20.00: of 226.888 the 180.00 in 192.00, 212.7075 over 9 kg.
    chain = beside(trim_money=40_000, crop_money=200_000)

    assert money(chain.saleable) == round(226.888 * 180 / 192 / 9, 3)
    assert money(chain.picked) == 18.907


def test_trim_is_taken_off_at_what_it_brings() -> None:
    # IAS 2.14: 226.888 less 3 kg at 4.00, over 9 kg.
    chain = beside(trim_money=40_000, crop_money=200_000, taken_off=True)

    assert money(chain.saleable) == round((226.888 - 12) / 9, 3)


def test_spent_blocks_share_as_the_crop_would_that_is_worth_as_much() -> None:
    # As the book does it: 0.15 a block are 6.00 of 40, as 0.6 kg at 10.00 beside 12: 12 of 12.6.
    chain = beside(spent_money=1_500, crop_money=100_000)

    assert money(chain.ready) == round(226.888 / 12.6, 3)


def test_spent_blocks_are_taken_off_at_what_they_bring() -> None:
    assert money(beside(spent_money=1_500, taken_off=True).ready) == round(220.888 / 12, 3)


def test_a_by_product_takes_off_no_more_than_there_is() -> None:
    chain = beside(spent_money=90_000, trim_money=9_000_000, taken_off=True)

    assert chain.ready == chain.picked == chain.saleable == Fraction(0)


def test_sharing_by_worth_asks_what_the_crop_is_worth() -> None:
    with pytest.raises(Malformed, match="what a kilo of the crop is worth"):
        beside(trim_money=40_000)


def test_the_steps_add_up_with_what_is_sold_beside() -> None:
    plan = worked_plan(by_products=ByProducts(1_500, 40_000, 200_000))
    card = card_of(plan)
    labels = [rung.label for rung in card.rungs]

    assert labels.index("Less spent blocks sold") < labels.index("Picking")
    assert labels.index("Less trim sold") < labels.index("Saleable")
    assert sum(amount or 0 for amount in card.amounts()) == round(card.chain.placed)
    assert sum(steps_of(card).values()) == card.chain.placed


@pytest.mark.parametrize("taken_off", [True, False])
def test_the_range_counts_what_is_sold_beside_as_the_card_does(taken_off: bool) -> None:
    card = card_of(worked_plan(by_products=ByProducts(1_500, 40_000, 200_000, taken_off)))
    planned = {
        "yield": 0.56699,
        "loss": 0.07,
        "minutes": 1.0,
        "fridge": 0.04,
        "unsold": 0.10,
        "trim": 0.08,
    }
    found = outlook(card, {key: np.full(100, value) for key, value in planned.items()})

    assert found.ranges["placed"].median == round(card.chain.placed)
