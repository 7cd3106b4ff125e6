"""The balance of a lot: all of it is somewhere, and what is not known is said."""

from dataclasses import replace

import pytest

from farm.actions.common import Draw
from farm.actions.selling.selling import SoldLine, sell
from farm.actions.store.storing import dry, throw_away, weigh_again
from farm.queries.tracing.balance import Balance, balances_of
from farm.queries.tracing.trace_events import moved_of
from farm.queries.tracing.traces import cards_of
from farm.reports.tracing.balance_rows import accounted_words, shares_words
from ledger.models import Lot
from tests.farm.season import season
from tests.farm.world import (
    GRAM,
    KG,
    UNIT,
    fresh,
    picked,
    small_farm,
)

pytestmark = pytest.mark.django_db


def balance_of(lot: Lot) -> Balance:
    return balances_of(cards_of([lot.pk]), moved_of([lot.pk]))[0]


def test_own_arithmetic_a_harvest_is_accounted_for_to_the_hundredth() -> None:
    """Own arithmetic: 9.85 kg is 5.20 sold, 3.95 here, 0.40 waste, 0.25 dried, 0.05 unexplained.

    (5.20 + 3.95 + 0.40 + 0.25) / 9.85 = 9.80 / 9.85 = 99.49 %.
    """
    world = small_farm()
    crop = picked(world, 9_850 * GRAM)
    # On the day it was picked no water is lost yet, so that all of it is unexplained.
    then = crop.made_by.happened_at
    same_day = [
        replace(world.doing(), happened_at=then, reason=reason, sure=True)
        for reason in ("", "old", "", "")
    ]
    sell(
        same_day[0],
        place=world.kitchens,
        customer=world.customer,
        lines=[SoldLine(crop, 5_200 * GRAM, 9 * UNIT)],
    )
    throw_away(same_day[1], lot=fresh(crop), quantity=400 * GRAM)
    dry(
        same_day[2],
        draws=[Draw(fresh(crop), 250 * GRAM)],
        dried_mg=26 * GRAM,
        temperature_milli_c=45_000,
        minutes_drying=600,
    )
    weigh_again(same_day[3], lot=fresh(crop), weight_mg=3_950 * GRAM)
    balance = balance_of(crop)

    assert balance.parts == (3_950 * GRAM, 250 * GRAM, 5_200 * GRAM, 0, 400 * GRAM, 50 * GRAM)
    assert balance.accounted_ppm == 994_924
    assert accounted_words(balance) == "99.49 % (9.80 kg of 9.85 kg)"
    assert balance.not_known == ("unexplained: missing at weighing again",)


def test_every_balance_adds_up_to_all_of_it() -> None:
    season()

    lots = Lot.objects.values_list("pk", flat=True)
    for balance in balances_of(cards_of(lots), moved_of(lots)):
        assert sum(balance.parts) == balance.whole, balance.code
        assert sum(balance.shares_tenths) == 1000, balance.code


def test_what_was_lost_stands_by_its_cause() -> None:
    lots = season()

    # 40 blocks: one lost, 39 spent.
    assert balance_of(lots.grown.blocks).lost == (("green mould", 1), ("spent", 39))


def test_water_inside_the_band_is_said_not_to_be_weighed_apart() -> None:
    balance = balance_of(season().firsts)

    assert balance.water > 0
    assert "water by the usual loss a day, not weighed apart" in balance.not_known
    assert "water" in shares_words(balance)


def test_what_was_counted_up_is_said_to_be_of_unknown_origin() -> None:
    world = small_farm()
    crop = picked(world, KG)
    lines = [SoldLine(crop, 1_100 * GRAM, 9 * UNIT)]
    sell(world.doing(), place=world.kitchens, customer=world.customer, lines=lines, count_up=True)
    balance = balance_of(crop)

    assert (balance.counted_up, balance.whole) == (100 * GRAM, 1_100 * GRAM)
    assert any(words.startswith("counted up") for words in balance.not_known)
    # 1.10 kg is accounted for of 1.00 kg made: more than all of it, and it says so.
    assert balance.accounted_ppm == 1_100_000
