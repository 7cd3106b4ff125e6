"""What came back of a sale gives back its part of the corrected price, no more and no less."""

import pytest

from farm.actions.recording.correcting import correct_quantity, undo
from farm.actions.selling.selling import SoldLine, sell, take_back
from farm.models import SaleLine, SellingCost
from ledger.models import Entry, Lot, Role
from tests.farm.goods import on_hand, packs
from tests.farm.world import UNIT, World, assert_book_is_sound, small_farm


@pytest.fixture
def world(db: None) -> World:
    return small_farm()


def sale_of(world: World, lot: Lot, quantity: int) -> Entry:
    return sell(
        world.doing(),
        place=world.kitchens,
        customer=world.customer,
        lines=[SoldLine(lot, quantity, 5 * UNIT)],
    ).entry


def line_of(entry: Entry) -> SaleLine:
    return SaleLine.objects.get(line__entry=entry)


def gross_total() -> int:
    return sum(SaleLine.objects.values_list("gross", flat=True))


def gross_at(entry: Entry) -> int:
    rows = SaleLine.objects.filter(line__entry__place=entry.place)
    return sum(rows.values_list("gross", flat=True))


def test_what_came_back_follows_a_corrected_price(world: World) -> None:
    lot = packs(world)
    sale = sale_of(world, lot, 10)
    backs = [take_back(world.doing(), sale_line=line_of(sale), quantity=n).entry for n in (4, 6)]

    correct_quantity(
        world.doing(), sale, lot=lot, role=Role.SOLD, right_quantity=10, right_money=45 * UNIT
    )

    # 4 of 10 at 45.00 are 18.00, the other 6 are 27.00.
    assert [gross_at(entry) for entry in (sale, *backs)] == [450_000, -180_000, -270_000]
    assert gross_total() == 0
    assert_book_is_sound()


def test_what_came_back_follows_a_corrected_quantity_and_its_share(world: World) -> None:
    world.kitchens.fee_ppm = 60_000
    world.kitchens.save()
    lot = packs(world)
    sale = sale_of(world, lot, 10)
    take_back(world.doing(), sale_line=line_of(sale), quantity=4)
    shares = SellingCost.objects.filter(what="share of takings")

    correct_quantity(
        world.doing(), sale, lot=lot, role=Role.SOLD, right_quantity=8, right_money=48 * UNIT
    )

    # 8 packs at 48.00, half of them back: 24.00; 6 % of it are 1.44.
    assert (gross_total(), sum(shares.values_list("amount", flat=True))) == (24 * UNIT, 14_400)


def test_an_undone_return_gives_back_what_its_correction_added(world: World) -> None:
    lot = packs(world)
    sale = sale_of(world, lot, 10)
    back = take_back(world.doing(), sale_line=line_of(sale), quantity=4)
    correct_quantity(
        world.doing(), sale, lot=lot, role=Role.SOLD, right_quantity=10, right_money=45 * UNIT
    )

    undo(world.doing(), back.entry)

    assert (on_hand(lot), gross_total()) == (30, 45 * UNIT)
