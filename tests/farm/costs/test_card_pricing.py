"""Break-even, margin and markup against published cases; floors and targets of the card."""

from dataclasses import replace
from fractions import Fraction
from math import ceil

import pytest

from farm.planning.card import card_of
from farm.planning.pricing import (
    DayBreakEven,
    ask_of_pack,
    break_even,
    day_break_even,
    floor_ask,
    margin_of,
    markup_of,
    target_ask,
    target_price,
)
from ledger.errors import Malformed
from tests.farm.card_cases import worked_plan


# The first: Penn State ACCTG 211, adapted from OpenStax, Managerial Accounting (133.33 units).
# The last: OpenStax, Managerial Accounting 3.2, from memory. Between: course notes.
@pytest.mark.parametrize(
    ("fixed", "price", "variable", "units"),
    [
        ("20000", "400", "250", 134),
        ("13265.10", "29.50", "14.20", 867),
        ("20000", "13", "8", 4_000),
        ("108000", "18", "0", 6_000),
        ("18000", "100", "20", 225),
    ],
)
def test_it_breaks_even_as_published(fixed: str, price: str, variable: str, units: int) -> None:
    assert ceil(break_even(Fraction(fixed), Fraction(price), Fraction(variable))) == units


def test_a_wished_profit_takes_more_units() -> None:
    # Course notes: 20,000 fixed, 13 and 8 a unit, 15,000 wished: 35,000 / 5.
    units = break_even(Fraction(20_000), Fraction(13), Fraction(8), wished=Fraction(15_000))
    assert units == 7_000


def test_it_refuses_to_break_even_below_cost() -> None:
    with pytest.raises(Malformed, match="no number breaks even"):
        break_even(Fraction(100), Fraction(8), Fraction(8))


# The usual table of any retail arithmetic: margin = markup / (1 + markup).
@pytest.mark.parametrize(
    ("markup", "margin"),
    [
        (Fraction(1, 4), Fraction(1, 5)),
        (Fraction(1, 2), Fraction(1, 3)),
        (Fraction(1), Fraction(1, 2)),
    ],
)
def test_markup_and_margin_turn_into_each_other(markup: Fraction, margin: Fraction) -> None:
    assert (margin_of(markup), markup_of(margin)) == (margin, markup)


def test_a_margin_of_forty_percent_on_six_asks_ten_and_not_eight_forty() -> None:
    assert target_price(Fraction(6), Fraction(0), Fraction(2, 5)) == 10


def test_the_floor_divides_by_what_the_shares_leave() -> None:
    plan = worked_plan()
    card = card_of(replace(plan, place=replace(plan.place, share_ppm=50_000)))
    ask = floor_ask(card)

    # 28.58751 / 0.95 = 30.0921 a kilo; 6.0184 a punnet of 200 g, rounded up.
    assert round(float(ask.net_kg_money)) == 300_921
    assert ask.pack_money == 60_200
    assert ask.profit == 0


def test_tax_and_shares_are_taken_of_the_price_the_customer_pays() -> None:
    plan = worked_plan()
    taxed = replace(plan, place=replace(plan.place, share_ppm=50_000, tax_ppm=100_000))
    ask = ask_of_pack(card_of(taxed), 66_000)

    # 6.60 with 10 % tax is 6.00 net, 30.00 a kilo; 5 % of 33.00 leave with the takings.
    assert ask.net_kg_money == 300_000
    assert ask.cost == card_of(taxed).chain.placed + 16_500


def test_a_target_names_its_margin_and_its_markup() -> None:
    ask = target_ask(card_of(worked_plan()), Fraction(1, 5))

    # 28.588 / 0.8 = 35.735
    assert (ask.margin, ask.markup) == (Fraction(1, 5), Fraction(1, 4))


def test_a_day_breaks_even_in_kilos_packs_and_blocks() -> None:
    card = card_of(worked_plan())
    day = day_break_even(card, ask_of_pack(card, 60_000))

    # 151 / (30.00 - 21.0376) = 16.848 kg; 84.2 punnets; a block started sells 0.41915 kg.
    assert (day.packs, day.blocks) == (85, 41)
    assert day.weight_mg // 1_000_000 == 16


def test_a_place_that_costs_nothing_a_day_is_paid_for_at_once() -> None:
    plan = worked_plan()
    card = card_of(replace(plan, place=replace(plan.place, day_fee_money=0, day_seconds=0)))

    assert day_break_even(card, floor_ask(card)) == DayBreakEven(0, 0, 0)
