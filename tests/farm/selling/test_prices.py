"""Which price holds: agreed with the customer, else the place's list, else the product's own."""

from datetime import date, timedelta

import pytest
from django.db import IntegrityError, transaction

from farm.actions.orders.orders import Wanted
from farm.actions.selling.pricing import Terms
from farm.actions.selling.selling import SoldLine, sell
from farm.habits import short_day
from farm.models import AgreedPrice, Price, SaleLine
from farm.queries.accounts.invoices import sold_lines
from farm.queries.orders.orders import due_order
from farm.queries.selling.prices import Listed, listed_price, ordered_price, prices_at
from ledger.errors import Malformed
from tests.farm.goods import crop, money, packs
from tests.farm.sold import sold
from tests.farm.sold import wanted as ordered
from tests.farm.world import FIRST_DAY, GRAM, KG, UNIT, World

pytestmark = pytest.mark.django_db

SEPTEMBER = date(2026, 9, 7)


def agree(world: World, unit_money: int, **said: object) -> AgreedPrice:
    what = {} if "species" in said else {"product": world.product}
    return AgreedPrice.objects.create(
        customer=world.customer, unit_money=unit_money, **{"from_day": FIRST_DAY, **what, **said}
    )


def asked(world: World, day: date = SEPTEMBER) -> int | None:
    found = listed_price(world.kitchens, day, customer=world.customer, what=world.product)
    return found.unit_money if found else None


def test_the_list_of_the_place_holds_where_nothing_is_agreed(trade: World) -> None:
    assert asked(trade) == 5 * UNIT


def test_what_is_agreed_with_the_customer_goes_before_the_list(trade: World) -> None:
    agree(trade, 4 * UNIT)

    assert asked(trade) == 4 * UNIT
    found = prices_at(trade.kitchens, SEPTEMBER, trade.customer)[trade.product]
    assert found == Listed(4 * UNIT, False, f"agreed with The Anchor from {short_day(FIRST_DAY)}")


def test_an_agreed_price_holds_from_its_first_day_to_its_last(trade: World) -> None:
    agree(trade, 4 * UNIT, from_day=SEPTEMBER, until=SEPTEMBER)
    day = timedelta(days=1)

    around = [asked(trade, when) for when in (SEPTEMBER - day, SEPTEMBER, SEPTEMBER + day)]
    assert around == [5 * UNIT, 4 * UNIT, 5 * UNIT]


def test_the_products_own_price_holds_where_the_place_has_no_list(trade: World) -> None:
    Price.objects.create(product=trade.product, place=None, from_day=SEPTEMBER, pack_money=UNIT)
    assert asked(trade) == 5 * UNIT  # the place's list, though it is older

    Price.objects.filter(place=trade.kitchens).delete()

    assert asked(trade) == UNIT
    assert prices_at(trade.kitchens, SEPTEMBER)[trade.product].unit_money == UNIT


def test_a_product_has_one_own_price_a_day(trade: World) -> None:
    own = {"product": trade.product, "from_day": SEPTEMBER, "pack_money": UNIT}
    Price.objects.create(**own)

    with pytest.raises(IntegrityError), transaction.atomic():
        Price.objects.create(**own)


def test_the_agreed_price_says_whether_tax_is_in_it(trade: World) -> None:
    # 10 packs at 4.00 with 4 % tax. On top: 40.00 + 1.60; within: 40.00 / 1.04 = 38.4615.
    lot = packs(trade)
    agree(trade, 4 * UNIT)
    on_top = sold(trade, lot, 10, 4 * UNIT)
    AgreedPrice.objects.update(tax_included=True)
    within = sold(trade, lot, 10, 4 * UNIT)

    assert money(on_top.entry) == [(40 * UNIT, 16_000, 416_000)]
    assert money(within.entry) == [(384_600, 15_400, 40 * UNIT)]


def test_changing_a_price_changes_no_sale_of_the_past(trade: World) -> None:
    agreed = agree(trade, 4 * UNIT)
    entry = sold(trade, packs(trade), 10, 4 * UNIT).entry
    before = list(SaleLine.objects.values_list("net", "tax", "gross", "tax_ppm"))

    agreed.unit_money = 9 * UNIT
    agreed.save()
    Price.objects.all().delete()

    assert list(SaleLine.objects.values_list("net", "tax", "gross", "tax_ppm")) == before
    (line,) = sold_lines(entry.sale)
    assert line.unit_net == 4 * UNIT


def test_loose_goods_are_ordered_at_the_agreed_price_by_the_pound(trade: World) -> None:
    # 2 lb are 907,185 mg, rounded from 907,184.74; at 8.00 a pound 16.00.
    agree(trade, 8 * UNIT, species=trade.species, product=None, weight_unit="lb")
    lot = crop(trade, 2 * KG)
    order = ordered(trade, Wanted(trade.species, 907_185))
    due = due_order(order, order.due_on)
    assert due
    price = ordered_price(due, lot)

    assert price and (price.unit_money, price.weight_unit) == (8 * UNIT, "lb")
    entry = sell(
        trade.doing(),
        place=trade.kitchens,
        customer=trade.customer,
        lines=[SoldLine(lot, 907_185, 8 * UNIT, weight_unit="lb")],
    ).entry
    assert money(entry) == [(16 * UNIT, 0, 16 * UNIT)]
    # A paper states the kilogram: 8.00 / 0.45359237 = 17.6370.
    assert sold_lines(entry.sale)[0].unit_net == 176_370


def test_loose_goods_without_any_price_are_not_ordered(trade: World) -> None:
    with pytest.raises(Malformed, match="state the price of a kilogram or a pound"):
        ordered(trade, Wanted(trade.species, KG))


# --- discounts -------------------------------------------------------------------------------


def test_a_discount_is_rounded_to_the_cent_and_taxed_after_it() -> None:
    # 2.5 kg at 15.99 are 39.975, so 39.98; 5 % of it is 1.999, so 2.00 off: 37.98 and 10 % tax.
    amount = Terms(159_900, "kg", 100_000, tax_included=False, discount_ppm=50_000).of(2_500 * GRAM)

    assert (amount.net, amount.tax, amount.gross) == (379_800, 38_000, 417_800)


def test_a_discount_stands_on_the_paper_beside_the_price(trade: World) -> None:
    # 10 at 5.00, tax in it: 50.00 less 10 % is 45.00.
    lot = packs(trade)
    entry = sell(
        trade.doing(),
        place=trade.kitchens,
        customer=trade.customer,
        lines=[SoldLine(lot, 10, 5 * UNIT, discount_ppm=100_000)],
    ).entry

    (line,) = sold_lines(entry.sale)
    assert line.gross == 45 * UNIT
    assert (line.unit_net, line.discount_ppm) == (48_077, 100_000)  # 5.00 / 1.04 = 4.8077


@pytest.mark.parametrize("discount_ppm", [-1, 1_000_001])
def test_a_discount_is_between_nothing_and_all(trade: World, discount_ppm: int) -> None:
    lot = packs(trade)

    with pytest.raises(Malformed, match=f"Lot {lot.code}: a discount of"):
        sell(
            trade.doing(),
            place=trade.kitchens,
            customer=trade.customer,
            lines=[SoldLine(lot, 1, UNIT, discount_ppm=discount_ppm)],
        )
