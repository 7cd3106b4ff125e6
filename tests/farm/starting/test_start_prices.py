"""Prices of the starting workbook: of packs, and of what is loose by species, state and grade."""

import pytest

from farm.models import Farm, LooseGoods, PlaceKind, Price, SellingPlace
from farm.queries.selling.prices import prices_at
from tests.farm.starting.test_start_workbook import DAY, TODAY, problems, recorded
from tests.farm.world import UNIT, World


@pytest.mark.parametrize("unit", ["kg", "lb"])
def test_prices_of_loose_goods_are_in_force_by_state_and_grade(world: World, unit: str) -> None:
    Farm.objects.update(weight_unit=unit)
    recorded(world)
    prices = prices_at(SellingPlace.objects.get(name="Sunday market"), TODAY)

    assert {
        (goods.state, goods.grade): (price.unit_money, price.weight_unit, price.tax_included)
        for goods, price in prices.items()
        if isinstance(goods, LooseGoods)
    } == {
        ("fresh", "firsts"): (16 * UNIT, unit, True),
        ("fresh", "seconds"): (95_000, unit, False),
        ("dried", ""): (120 * UNIT, unit, True),
    }


def test_a_price_that_is_there_stays_as_it_is(world: World) -> None:
    """Blank is fresh firsts, of a price that is there as of one on the sheet."""
    place = SellingPlace.objects.create(name="Sunday market", kind=PlaceKind.STALL)
    Price.objects.create(species=world.species, place=place, from_day=DAY, pack_money=UNIT)
    recorded(world)

    found = Price.objects.filter(species=world.species, place=place, grade="firsts")
    assert [price.pack_money for price in found] == [UNIT]


def test_a_loose_price_twice_or_of_what_has_no_grade_is_named(world: World) -> None:
    where = ("Sunday market", DAY, 16, None)
    rows = [
        ("Oyster", None, None, *where),
        ("Oyster", "fresh", "firsts", *where),
        ("Oyster", "dried", "seconds", *where),
        ("Oyster, 300 g", "fresh", "firsts", *where),
        ("Enoki", None, None, *where),
    ]

    assert problems(world, prices=rows) == [
        ("Prices", 2, "From day"),
        ("Prices", 3, "From day"),
        ("Prices", 4, "Grade"),
        ("Prices", 5, "State"),
        ("Prices", 5, "Grade"),
        ("Prices", 6, "Product or species"),
    ]
