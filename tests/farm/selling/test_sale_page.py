"""A sale's page: whose it was, where, and what it comes to now, with what was struck."""

import re

import pytest
from django.test import Client

from farm.actions.recording.correcting import correct_quantity, undo
from farm.actions.selling.selling import SoldLine, sell, take_back
from farm.models import SalesTax
from farm.queries.sales import Sums, sale_now
from ledger.models import Entry, Lot, Role
from tests.conftest import signed_in
from tests.farm.filled import text
from tests.farm.goods import crop, packs
from tests.farm.sold import selling_farm
from tests.farm.world import FIRST_DAY, KG, UNIT, World

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> World:
    """Packs carry 4 % within their price, loose oyster 10 % on top of it."""
    farm = selling_farm()
    SalesTax.objects.create(
        species=farm.species, state="fresh", from_day=FIRST_DAY, rate_ppm=100_000
    )
    return farm


@pytest.fixture
def client(world: World) -> Client:
    return signed_in(world.owner)


@pytest.fixture
def lots(world: World) -> tuple[Lot, Lot]:
    return packs(world), crop(world)


@pytest.fixture
def sale(world: World, lots: tuple[Lot, Lot]) -> Entry:
    """10 packs at 5.20, tax in it: 52.00, of it 2.00 tax; 3 kg at 10.00: 30.00 and 3.00 tax."""
    lines = [SoldLine(lots[0], 10, 52_000), SoldLine(lots[1], 3 * KG, 10 * UNIT)]
    return sell(
        world.doing(minutes=0, sure=True),
        place=world.kitchens,
        customer=world.customer,
        lines=lines,
    ).entry


def plain(page: str) -> str:
    """The words of the page; what is struck stands in brackets."""
    marked = re.sub(r"<del>(.*?)</del>", r"[\1]", page)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", marked)).replace("\u00a0", " ")


def test_it_names_the_customer_the_place_and_the_money(
    world: World, client: Client, sale: Entry
) -> None:
    page = plain(text(client.get(f"/entries/{sale.seq}/")))

    assert f"Where Kitchens Customer The Anchor {world.customer.number}" in page
    assert "All of it €80.00 €5.00 €85.00" in page
    assert "[" not in page


def test_what_changed_since_is_struck_and_what_stands_is_beside_it(
    world: World, client: Client, sale: Entry, lots: tuple[Lot, Lot]
) -> None:
    correct_quantity(world.doing(), sale, lot=lots[1], role=Role.SOLD, right_quantity=2 * KG)
    row = sale.lines.get(lot=lots[0]).sale_line
    back = take_back(world.doing(minutes=0), sale_line=row, quantity=4).entry

    # 2 kg at 10.00: 20.00 and 2.00; 6 of 10 packs: 31.20, of it 1.20 tax.
    now = sale_now(sale.sale)
    assert [lot.now for lot in now.lots] == [
        Sums(300_000, 12_000, 312_000, 6),
        Sums(20 * UNIT, 2 * UNIT, 22 * UNIT, 2 * KG),
    ]
    assert (now.now.net, now.now.tax, now.now.gross) == (50 * UNIT, 32_000, 532_000)
    page = plain(text(client.get(f"/entries/{sale.seq}/")))
    assert "All of it [€80.00] €50.00 [€5.00] €3.20 [€85.00] €53.20" in page
    assert "[10 packs] 6 packs" in page
    assert f"Entry {back.seq} ," in page

    of_return = plain(text(client.get(f"/entries/{back.seq}/")))
    assert f"Sale Entry {sale.seq}" in of_return
    assert "Customer The Anchor" in of_return
    assert "What it changed of the sale’s money" in of_return


def test_a_sale_taken_back_comes_to_nothing(world: World, client: Client, sale: Entry) -> None:
    undo(world.doing(), sale)

    page = plain(text(client.get(f"/entries/{sale.seq}/")))
    assert "All of it [€80.00] €0.00 [€5.00] €0.00 [€85.00] €0.00" in page


def test_a_sale_to_nobody_says_so(world: World, client: Client, lots: tuple[Lot, Lot]) -> None:
    entry = sell(world.doing(minutes=0), place=world.stall, lines=[SoldLine(lots[0], 1, 52_000)])

    page = plain(text(client.get(f"/entries/{entry.entry.seq}/")))
    assert "Customer nobody by name" in page
