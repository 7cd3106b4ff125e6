"""Advice on what came back unsold: dry it, discount it or bin it, worked by hand."""

from datetime import timedelta

import pytest

from farm.actions.common import Draw
from farm.actions.store.storing import dry
from farm.actions.tracing.holding import hold
from farm.models import Form, PackKind, Price, Product
from farm.queries.costs.left_over import BIN, DISCOUNT, DRY, KEEP, UNKNOWN, advice_for
from farm.reports.costs.left_over_rows import advice_words, told_words
from ledger.models import Lot
from tests.farm.goods import a_day, crop, packs
from tests.farm.world import FIRST_DAY, GRAM, KG, UNIT, World, fresh, small_farm


@pytest.fixture
def world(db: None) -> World:
    """A farm that dried 9 kg to 1 kg for 9.00, hours left out."""
    world = small_farm()
    dry(
        world.doing(minutes=30, sure=True),
        draws=[Draw(crop(world, 9 * KG), 9 * KG)],
        dried_mg=KG,
        temperature_milli_c=55_000,
        minutes_drying=600,
    )
    return world


def dried_at(world: World, kilo_money: int) -> None:
    """A jar of 100 g dried at a price a kilo, without tax."""
    jar = Product.objects.create(
        name="Dried oyster, 100 g",
        species=world.species,
        form=Form.DRIED,
        net_mg=100 * GRAM,
        pack=PackKind.AIRTIGHT,
    )
    Price.objects.create(
        product=jar, place=world.stall, from_day=FIRST_DAY, pack_money=kilo_money // 10
    )


def loose(world: World) -> Lot:
    return crop(world, 2 * KG)


def test_it_says_what_each_way_leaves_of_the_whole_lot(world: World) -> None:
    dried_at(world, 180 * UNIT)
    lot = loose(world)

    advice = advice_for([(lot, 2 * KG)], a_day(world))[0]

    # Dried: ten jars of a kilo take 30 s each to fill at 18.00 an hour, 1.50: 178.50 / 9 = 19.8333,
    # less half an own hour at 18.00 over 9 kg, 1.00: 18.8333 a kilo, 37.6667.
    # A punnet of 200 g at 5.00 with 4 % tax in it is 24.0385 a kilo net; half of it, 12.0192.
    assert advice.leaves == ((DRY, 376_667), (DISCOUNT, 240_384), (BIN, 0))
    assert advice.way == DRY
    assert advice_words(advice, "EUR").startswith("Dry it: dried it leaves about €37.67")


def test_a_cheap_dried_price_turns_the_advice(world: World) -> None:
    dried_at(world, 90 * UNIT)

    # Dried: 88.50 / 9 - 1 = 8.8333 a kilo, below 12.0192.
    assert advice_for([(loose(world), 2 * KG)], a_day(world))[0].way == DISCOUNT


def test_what_is_past_its_days_is_not_sold_fresh(world: World) -> None:
    dried_at(world, 90 * UNIT)
    lot = loose(world)

    advice = advice_for([(lot, 2 * KG)], a_day(world) + timedelta(days=6))[0]

    assert (advice.way, advice.days_left) == (DRY, 0)
    assert dict(advice.leaves)[DISCOUNT] == 0


def test_packs_are_weighed_by_what_they_declare(world: World) -> None:
    dried_at(world, 180 * UNIT)

    advice = advice_for([(packs(world), 5)], a_day(world))[0]

    # 5 x 200 g at 18.8333 a kilo.
    assert (advice.mass_mg, dict(advice.leaves)[DRY]) == (KG, 188_333)


def test_every_number_comes_with_its_source(world: World) -> None:
    dried_at(world, 180 * UNIT)

    told = [
        told_words(one, "EUR") for one in advice_for([(loose(world), KG)], a_day(world))[0].inputs
    ]

    assert ("Fresh for one dried, by weight", "9.00 to 1", "own: 1 dryings") in told
    assert (
        "Price, net of tax, a kilo dried",
        "€180.00",
        "farm details: the lowest price in force, net",
    ) in told


def test_without_a_dried_price_it_says_what_is_missing(world: World) -> None:
    advice = advice_for([(loose(world), KG)], a_day(world))[0]

    assert advice.way == DISCOUNT
    assert advice.missing == ("Price, net of tax",)


def test_without_any_price_it_advises_nothing(world: World) -> None:
    Price.objects.all().delete()

    advice = advice_for([(loose(world), KG)], a_day(world))[0]

    assert advice.way == UNKNOWN


def test_what_is_on_hold_or_dried_is_kept(world: World) -> None:
    lot = loose(world)
    hold(world.doing(reason="smells"), lots=[lot])
    jar = Lot.objects.select_related("item", "card").get(item__name="Dried Oyster")

    ways = [one.way for one in advice_for([(fresh(lot), KG), (jar, KG)], a_day(world))]

    assert ways == [KEEP, KEEP]
