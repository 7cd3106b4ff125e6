"""Selling and taking back: what leaves the lot, what it came to, what selling cost."""

import pytest

from farm.actions.questions import PlausibilityQuestion
from farm.actions.recording.correcting import correct_quantity
from farm.actions.selling.pricing import Terms, to_cent
from farm.actions.selling.selling import SoldLine, sell, take_back
from farm.models import PlaceKind, Price, Sale, SaleLine, SellingCost, SellingPlace
from ledger.book import Recorded
from ledger.errors import Conflict, Malformed, NotEnough
from ledger.models import Lot, Role
from tests.farm.goods import costs, crop, materials, money, net_total, on_hand, packs
from tests.farm.world import GRAM, KG, UNIT, World, assert_book_is_sound, fresh, small_farm


@pytest.fixture
def world(db: None) -> World:
    return small_farm()


def sold(
    world: World,
    lot: Lot,
    quantity: int,
    *,
    price: int = 5 * UNIT,
    count_up: bool = False,
    sure: bool = False,
) -> Recorded:
    """Sell to the customer of the kitchens; packs carry 4 % tax, within the price."""
    return sell(
        world.doing(sure=sure),
        place=world.kitchens,
        customer=world.customer,
        lines=[SoldLine(lot, quantity, price)],
        count_up=count_up,
    )


def first_line(recorded: Recorded) -> SaleLine:
    return SaleLine.objects.get(line__entry=recorded.entry)


# --- net, tax, gross -------------------------------------------------------------------------


def test_tax_within_the_price_is_taken_out_of_it(world: World) -> None:
    recorded = sold(world, packs(world), 10)

    # 10 at 5.00 are 50.00; 50.00 / 1.04 = 48.0769, so 48.08 net and 1.92 tax.
    assert money(recorded.entry) == [(480_800, 19_200, 500_000)]


def test_tax_on_top_of_the_price_is_added_to_it(world: World) -> None:
    Price.objects.filter(place=world.kitchens).update(tax_included=False)

    recorded = sold(world, packs(world), 3, price=49_900)

    # 3 at 4.99 are 14.97; * 1.04 = 15.5688, so 15.57 gross and 0.60 tax.
    assert money(recorded.entry) == [(149_700, 6_000, 155_700)]


@pytest.mark.parametrize(
    ("kind", "gross"),
    # 5.00 with 4 % on top is 5.20.
    [
        (PlaceKind.KITCHENS, 52_000),
        (PlaceKind.STALL, 50_000),
        (PlaceKind.DOOR, 50_000),
        (PlaceKind.BOXES, 50_000),
    ],
)
def test_without_a_price_row_the_kind_of_place_says_where_tax_is(
    world: World, kind: PlaceKind, gross: int
) -> None:
    place = SellingPlace.objects.create(name="Elsewhere", kind=kind)

    line = SoldLine(packs(world), 1, 5 * UNIT)
    recorded = sell(world.doing(sure=True), place=place, lines=[line])

    assert money(recorded.entry)[0][2] == gross


def test_the_price_row_of_the_day_counts_not_a_later_one(world: World) -> None:
    Price.objects.create(
        product=world.product,
        place=world.kitchens,
        from_day=world.now.date().replace(year=2027),
        pack_money=6 * UNIT,
        tax_included=False,
    )

    assert money(sold(world, packs(world), 1).entry)[0][2] == 50_000


def test_loose_goods_are_priced_by_the_kilogram(world: World) -> None:
    recorded = sold(world, crop(world), 2_345 * GRAM, price=15 * UNIT)

    # 2.345 kg at 15.00 are 35.175, half up 35.18; no product is named, so there is no tax.
    assert money(recorded.entry) == [(351_800, 0, 351_800)]


@pytest.mark.parametrize(
    ("mass_mg", "gross"),
    [
        (453_592, 120_000),  # 1 lb, 453,592.37 mg
        (1_133_981, 300_000),  # 2.5 lb
        (453_592_370, 120_000_000),  # 1000 lb
        (1_000_000, 264_600),  # a kilogram, 2.20462 lb, 26.4555
    ],
)
def test_loose_goods_are_priced_by_the_pound(mass_mg: int, gross: int) -> None:
    assert Terms(12 * UNIT, "lb", 0, tax_included=True).of(mass_mg).gross == gross


def test_half_a_pound_at_an_odd_price_is_rounded_as_it_was_typed() -> None:
    # 0.5 lb at 12.01 are 6.005, half up 6.01, though 226,796 mg are a little less.
    assert Terms(120_100, "lb", 0, tax_included=True).of(226_796).gross == 60_100


def test_the_unit_of_a_price_is_kept_so_that_a_correction_uses_it(world: World) -> None:
    lot = crop(world)
    line = SoldLine(lot, 907_185, 12 * UNIT, weight_unit="lb")
    sale = sell(world.doing(), place=world.kitchens, customer=world.customer, lines=[line]).entry

    fix = correct_quantity(world.doing(), sale, lot=lot, role=Role.SOLD, right_quantity=453_592)

    # 2 lb were 24.00, 1 lb is 12.00.
    assert money(fix.entry) == [(-12 * UNIT, 0, -12 * UNIT)]


def test_half_a_cent_is_rounded_up_and_a_return_like_its_sale() -> None:
    # 0.125 and 0.1249 of the currency unit.
    assert (to_cent(1_250, 1), to_cent(1_249, 1), to_cent(-1_250, 1)) == (1_300, 1_200, -1_300)


@pytest.mark.parametrize("included", [True, False])
def test_net_and_tax_always_add_up_to_gross(included: bool) -> None:
    for asked in range(100, 50_000, 700):
        amount = Terms(asked, "pack", 77_500, included).of(7)

        assert amount.net + amount.tax == amount.gross
        assert amount.net % 100 == amount.gross % 100 == 0


# --- what leaves the lot ---------------------------------------------------------------------


def test_a_sale_takes_its_cost_out_of_the_lot(world: World) -> None:
    lot = crop(world)

    recorded = sold(world, lot, 3 * KG)

    # 3 of 10 kg at 50.0000.
    assert materials(recorded, lot, Role.SOLD) == 150_000
    assert Sale.objects.get().customer == world.customer
    assert_book_is_sound()


def test_it_refuses_to_sell_more_than_is_in_the_lot(world: World) -> None:
    lot = packs(world)

    with pytest.raises(NotEnough, match=lot.code):
        sold(world, lot, 41)
    assert (on_hand(lot), Sale.objects.count()) == (40, 0)


def test_asked_once_what_is_missing_is_counted_up_without_cost(world: World) -> None:
    lot = crop(world)

    recorded = sold(world, lot, 12 * KG, count_up=True)

    assert dict(recorded.entry.lines.values_list("role", "quantity")) == {
        Role.COUNTED: 2 * KG,
        Role.SOLD: -12 * KG,
    }
    assert materials(recorded, lot, Role.SOLD) == 500_000
    assert_book_is_sound()


def test_nothing_is_counted_up_where_there_is_enough(world: World) -> None:
    recorded = sold(world, crop(world), KG, count_up=True)

    assert recorded.entry.lines.get().role == Role.SOLD


def test_blocks_are_not_sold_as_mushrooms(world: World) -> None:
    sawdust = world.received("sawdust", KG)

    with pytest.raises(Malformed, match=f"{sawdust.code} is supplies, not packed"):
        sold(world, sawdust, KG)


def test_a_form_sent_twice_writes_its_rows_once(world: World) -> None:
    lot, doing = crop(world), world.doing(minutes=60)
    lines = [SoldLine(lot, 12 * KG, 15 * UNIT)]

    first = sell(doing, place=world.kitchens, customer=world.customer, lines=lines, count_up=True)
    second = sell(doing, place=world.kitchens, customer=world.customer, lines=lines, count_up=True)

    assert (second.entry, second.fresh) == (first.entry, False)
    assert (SaleLine.objects.count(), len(costs(first.entry))) == (1, 1)


def test_the_same_form_with_another_quantity_is_a_conflict(world: World) -> None:
    lot, doing = crop(world), world.doing()
    sell(doing, place=world.kitchens, customer=world.customer, lines=[SoldLine(lot, KG, UNIT)])

    with pytest.raises(Conflict, match="sent before with other content"):
        sell(
            doing,
            place=world.kitchens,
            customer=world.customer,
            lines=[SoldLine(lot, 2 * KG, UNIT)],
        )


# --- what selling costs ----------------------------------------------------------------------


def test_a_delivery_costs_the_places_usual_minutes(world: World) -> None:
    world.kitchens.day_minutes = 40
    world.kitchens.save()

    # 40 minutes of the owner at 18.0000 an hour.
    assert costs(sold(world, packs(world), 1).entry) == {"hours": 120_000}


def test_a_helpers_minutes_are_paid_hours(world: World) -> None:
    recorded = sell(
        world.doing(by=world.helper, minutes=20),
        place=world.kitchens,
        customer=world.customer,
        lines=[SoldLine(crop(world), KG, UNIT)],
    )

    # 20 minutes at 15.0000 an hour.
    row = SellingCost.objects.get(entry=recorded.entry)
    assert (row.amount, row.own) == (50_000, False)


def test_the_place_takes_its_share_of_takings(world: World) -> None:
    world.kitchens.fee_ppm = 60_000
    world.kitchens.save()

    # 6 % of 50.00.
    assert costs(sold(world, packs(world), 10).entry) == {"share of takings": 30_000}


# --- taking back -----------------------------------------------------------------------------


def test_a_return_comes_back_to_a_lot_that_was_emptied(world: World) -> None:
    lot = crop(world)
    sale = sold(world, lot, 10 * KG)

    back = take_back(world.doing(), sale_line=first_line(sale), quantity=4 * KG)

    # 4 of the 10 kg that took 50.0000 along.
    assert materials(back, lot, Role.BACK) == 200_000
    assert fresh(lot).quantity == 4 * KG
    assert_book_is_sound()


def test_taken_back_in_steps_the_whole_price_goes_back(world: World) -> None:
    line = first_line(sold(world, packs(world), 3, price=33_333))

    # 3 at 3.3333 are 9.9999, so 10.00 gross and 9.62 net. Thirds of it: 3.33, 6.67, 10.00 and
    # 3.21, 6.41, 9.62 by then.
    steps = [take_back(world.doing(), sale_line=line, quantity=1).entry for _ in range(3)]
    assert [money(step)[0] for step in steps] == [
        (-32_100, -1_200, -33_300),
        (-32_000, -1_400, -33_400),
        (-32_100, -1_200, -33_300),
    ]
    assert net_total() == 0


def test_a_return_gives_its_share_of_takings_back(world: World) -> None:
    world.kitchens.fee_ppm = 60_000
    world.kitchens.save()
    line = first_line(sold(world, packs(world), 10))

    back = take_back(world.doing(), sale_line=line, quantity=5)

    # 6 % of 25.00.
    assert costs(back.entry) == {"share of takings": -15_000}


def test_it_refuses_more_back_than_was_sold(world: World) -> None:
    lot = packs(world)
    line = first_line(sold(world, lot, 10))

    with pytest.raises(NotEnough, match=lot.code):
        take_back(world.doing(), sale_line=line, quantity=11)


def test_a_return_does_not_come_back_again(world: World) -> None:
    sale = first_line(sold(world, packs(world), 10))
    back = take_back(world.doing(), sale_line=sale, quantity=1)

    with pytest.raises(Malformed, match="Choose the line of the sale"):
        take_back(world.doing(), sale_line=first_line(back), quantity=1)


def test_a_return_sent_twice_comes_back_once(world: World) -> None:
    lot = packs(world)
    line, doing = first_line(sold(world, lot, 10)), world.doing()

    for _ in range(2):
        take_back(doing, sale_line=line, quantity=2)

    assert (on_hand(lot), SaleLine.objects.count()) == (32, 2)


# --- a price that slipped --------------------------------------------------------------------


@pytest.mark.parametrize("price", [50 * UNIT, UNIT // 2])
def test_ten_times_the_list_or_a_tenth_is_asked_about_and_the_answer_kept(
    world: World, price: int
) -> None:
    lot = packs(world)

    # 5.00 is on the list: 50.00, and 0.50.
    with pytest.raises(PlausibilityQuestion, match=r"5\.00 .*Did a decimal mark slip"):
        sold(world, lot, 2, price=price)
    recorded = sold(world, lot, 2, price=price, sure=True)

    assert "decimal mark" in recorded.entry.particulars
    assert_book_is_sound()


@pytest.mark.parametrize("price", [4_999 * UNIT // 100, 51 * UNIT // 100, 0])
def test_a_cent_within_ten_times_the_list_is_taken_and_so_is_a_gift(
    world: World, price: int
) -> None:
    assert sold(world, packs(world), 2, price=price).fresh
