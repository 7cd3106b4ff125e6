"""The till: taps kept once, taken back, priced as the page showed them, and within limits."""

from dataclasses import replace
from uuid import uuid4

import pytest

from farm.actions.common import Doing, Draw
from farm.actions.selling.selling import SoldLine, sell
from farm.actions.selling.stalls import load_stall, settle_stall
from farm.actions.selling.till import set_price, tap
from farm.models import Discount, Given, Person, Price, Role, StallDay, Tap, TapOf
from farm.queries.selling.till import TillGoods, last_tap, till_goods
from ledger.errors import Conflict, Malformed
from ledger.models import Lot
from tests.conftest import person_in_role, signed_in
from tests.farm.filled import text
from tests.farm.goods import a_day, crop, packs
from tests.farm.world import GRAM, KG, UNIT, World, small_farm


@pytest.fixture
def world(db: None) -> World:
    return small_farm()


@pytest.fixture
def lot(world: World) -> Lot:
    return packs(world)


@pytest.fixture
def load(world: World, lot: Lot) -> StallDay:
    return loaded(world, lot, 40)


@pytest.fixture
def seller(db: None) -> Person:
    return person_in_role(Role.SELLER, "sam")


def loaded(world: World, lot: Lot, quantity: int) -> StallDay:
    entry = load_stall(
        world.doing(), place=world.stall, day=a_day(world), lines=[Draw(lot, quantity)]
    ).entry
    return StallDay.objects.get(entry=entry)


def goods(load: StallDay) -> TillGoods:
    (one,) = till_goods(load)
    return one


def test_a_tap_counts_one_at_the_listed_price(world: World, load: StallDay, lot: Lot) -> None:
    for _ in range(3):
        tap(world.doing(), stall_day=load, item=lot.item)

    one = goods(load)
    assert (one.sold, one.left, one.taken_money) == (3, 37, 15 * UNIT)


def test_a_sample_leaves_the_stall_without_money(world: World, load: StallDay, lot: Lot) -> None:
    tap(world.doing(), stall_day=load, item=lot.item, of=TapOf.SAMPLE)

    one = goods(load)
    assert (one.sold, one.left, one.taken_money) == (0, 39, 0)
    assert one.tapped == {Given.SAMPLE: 1}


def test_a_tap_sent_twice_counts_once(world: World, load: StallDay, lot: Lot) -> None:
    doing = world.doing()

    first = tap(doing, stall_day=load, item=lot.item)

    assert tap(doing, stall_day=load, item=lot.item) == first
    assert Tap.objects.count() == 1


def test_the_same_number_with_the_opposite_tap_is_a_conflict(
    world: World, load: StallDay, lot: Lot
) -> None:
    doing = world.doing()
    tap(doing, stall_day=load, item=lot.item)

    with pytest.raises(Conflict, match="sent before with other content"):
        tap(doing, stall_day=load, item=lot.item, quantity=-1)


def test_the_last_tap_is_taken_back_as_it_was(world: World, load: StallDay, lot: Lot) -> None:
    tap(world.doing(), stall_day=load, item=lot.item)
    tap(world.doing(), stall_day=load, item=lot.item, of=TapOf.GIFT)

    tap(world.doing(), stall_day=load, item=lot.item, quantity=-1)

    one = goods(load)
    assert (one.sold, one.tapped[TapOf.GIFT], one.left) == (1, 0, 39)
    last = last_tap(load, lot.item)
    assert last and last.of == TapOf.SOLD


def test_nothing_is_taken_back_where_nothing_was_tapped(
    world: World, load: StallDay, lot: Lot
) -> None:
    tap(world.doing(), stall_day=load, item=lot.item)
    tap(world.doing(), stall_day=load, item=lot.item, quantity=-1)

    with pytest.raises(Malformed, match="nothing is tapped that could be taken back"):
        tap(world.doing(), stall_day=load, item=lot.item, quantity=-1)


def test_taps_beyond_the_load_are_kept_and_said_beside_the_product(world: World, lot: Lot) -> None:
    load, client = loaded(world, lot, 2), signed_in(world.owner)
    pages = [f"/stall/till/{load.pk}/", f"/record/settle-stall/?stall_day={load.pk}"]
    for _ in range(2):
        tap(world.doing(), stall_day=load, item=lot.item)
    assert 'class="caution over" role="status" hidden' in text(client.get(pages[0]))

    tap(world.doing(), stall_day=load, item=lot.item)

    now, evening = (text(client.get(page)) for page in pages)
    assert 'role="status"><strong>1</strong> more than the 2 packs loaded.' in now
    assert "3 sold, 0 left" in now
    assert "1 pack more tapped than loaded" in evening
    assert f'name="back_item{lot.item_id}" value="0"' in evening


def test_what_was_not_loaded_is_not_tapped(world: World, load: StallDay) -> None:
    other = crop(world)

    with pytest.raises(Malformed, match=f"{other.item} was not loaded for Saturday market"):
        tap(world.doing(), stall_day=load, item=other.item)


def test_a_tap_of_nothing_is_refused(world: World, load: StallDay, lot: Lot) -> None:
    with pytest.raises(Malformed, match="0 cannot be tapped"):
        tap(world.doing(), stall_day=load, item=lot.item, quantity=0)


def test_a_tap_that_comes_after_the_settling_is_kept(
    world: World, load: StallDay, lot: Lot
) -> None:
    settle_stall(world.doing(), stall_day=load, brought_back={}, prices={})

    tap(world.doing(), stall_day=load, item=lot.item)

    assert Tap.objects.filter(stall_day=load).count() == 1


# --- prices ----------------------------------------------------------------------------------


def test_a_price_holds_from_now_on_and_not_before(world: World, load: StallDay, lot: Lot) -> None:
    tap(world.doing(), stall_day=load, item=lot.item)
    set_price(world.doing(), stall_day=load, item=lot.item, unit_money=4 * UNIT, why=Discount.LATE)
    tap(world.doing(), stall_day=load, item=lot.item)

    one = goods(load)
    assert (one.list_money, one.unit_money) == (5 * UNIT, 4 * UNIT)
    assert one.taken_money == 9 * UNIT


def test_a_late_tap_keeps_the_price_that_its_page_showed(
    world: World, load: StallDay, lot: Lot
) -> None:
    set_price(world.doing(), stall_day=load, item=lot.item, unit_money=4 * UNIT, why=Discount.LATE)

    tap(world.doing(), stall_day=load, item=lot.item, unit_money=5 * UNIT)

    assert goods(load).taken_money == 5 * UNIT


def test_a_till_price_is_never_above_the_list(world: World, load: StallDay, lot: Lot) -> None:
    with pytest.raises(Malformed, match=r"5\.01.* is above the listed .*5\.00.* details, prices"):
        set_price(
            world.doing(), stall_day=load, item=lot.item, unit_money=50_100, why=Discount.OTHER
        )


def test_a_price_says_why(world: World, load: StallDay, lot: Lot) -> None:
    with pytest.raises(Malformed, match="“because” is no reason here"):
        set_price(world.doing(), stall_day=load, item=lot.item, unit_money=UNIT, why="because")


def test_a_price_sent_twice_is_set_once(world: World, load: StallDay, lot: Lot) -> None:
    doing: Doing = world.doing()
    for _ in range(2):
        set_price(doing, stall_day=load, item=lot.item, unit_money=4 * UNIT, why=Discount.LATE)

    assert load.till_prices.count() == 1
    with pytest.raises(Conflict, match="sent before with another number"):
        set_price(doing, stall_day=load, item=lot.item, unit_money=UNIT, why=Discount.LATE)


@pytest.mark.parametrize(("asked", "allowed"), [(4 * UNIT, True), (4 * UNIT - 1, False)])
def test_a_seller_goes_down_to_the_limit_of_the_place(
    world: World, seller: Person, load: StallDay, lot: Lot, asked: int, allowed: bool
) -> None:
    # 20 % of 5.00 is 1.00.
    world.stall.discount_ppm = 200_000
    world.stall.save()
    load.refresh_from_db()
    doing = world.doing(by=seller)

    if allowed:
        set_price(doing, stall_day=load, item=lot.item, unit_money=asked, why=Discount.LATE)
        assert goods(load).unit_money == asked
    else:
        with pytest.raises(Malformed, match="A seller may take off 20 % at Saturday market"):
            set_price(doing, stall_day=load, item=lot.item, unit_money=asked, why=Discount.LATE)


def test_a_sellers_tap_cannot_name_a_lower_price_either(
    world: World, seller: Person, load: StallDay, lot: Lot
) -> None:
    with pytest.raises(Malformed, match="A seller may take off 0 %"):
        tap(world.doing(by=seller), stall_day=load, item=lot.item, unit_money=UNIT)
    assert not Tap.objects.exists()


def test_the_owner_may_take_off_any(world: World, load: StallDay, lot: Lot) -> None:
    tap(world.doing(), stall_day=load, item=lot.item, unit_money=UNIT)

    assert goods(load).taken_money == UNIT


# --- what is loose ---------------------------------------------------------------------------


def test_what_is_loose_needs_a_price_first(world: World) -> None:
    lot = crop(world)
    load = loaded(world, lot, 5 * KG)

    with pytest.raises(Malformed, match="no price is known"):
        tap(world.doing(), stall_day=load, item=lot.item, quantity=250 * GRAM)


def test_what_is_loose_comes_to_its_weight_half_up_to_the_cent(world: World) -> None:
    lot = crop(world)
    load = loaded(world, lot, 5 * KG)
    set_price(
        world.doing(), stall_day=load, item=lot.item, unit_money=15 * UNIT, why=Discount.OTHER
    )

    tap(world.doing(), stall_day=load, item=lot.item, quantity=2_345 * GRAM)
    tap(world.doing(), stall_day=load, item=lot.item, quantity=100 * GRAM)
    tap(world.doing(), stall_day=load, item=lot.item, quantity=-1)

    # 2.345 kg at 15.00 are 35.175; the other was taken back whole.
    one = goods(load)
    assert (one.sold, one.taken_money) == (2_345 * GRAM, 351_800)


def test_lots_of_one_product_are_one_button(world: World) -> None:
    first, second = packs(world, 30), packs(world, 10)
    lines = [Draw(first, 30), Draw(second, 10)]
    entry = load_stall(world.doing(), place=world.stall, day=a_day(world), lines=lines).entry

    one = goods(StallDay.objects.get(entry=entry))

    assert (one.loaded, one.lots) == (40, (first, second))


def test_a_product_without_a_listed_price_has_none_until_it_is_set(
    world: World, load: StallDay, lot: Lot
) -> None:
    Price.objects.all().delete()
    assert goods(load).unit_money is None

    set_price(world.doing(), stall_day=load, item=lot.item, unit_money=4 * UNIT, why=Discount.OTHER)

    assert (goods(load).list_money, goods(load).unit_money) == (4 * UNIT, 4 * UNIT)


def test_taps_alone_sell_nothing_from_the_book(world: World, load: StallDay, lot: Lot) -> None:
    """The lot is whole until the day is settled: it may still be sold elsewhere by mistake."""
    tap(replace(world.doing(), uuid=uuid4()), stall_day=load, item=lot.item)

    sell(
        world.doing(),
        place=world.kitchens,
        customer=world.customer,
        lines=[SoldLine(lot, 40, 5 * UNIT)],
    )

    assert goods(load).sold == 1
