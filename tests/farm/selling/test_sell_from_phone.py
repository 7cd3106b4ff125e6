"""A sale to a customer, and what comes back, without a signal: names for whom reads them anyway."""

from typing import Any

import pytest
from django.test import Client

from farm.actions.selling.selling import take_back
from farm.models import AgreedPrice, Role, SaleLine
from ledger.models import Lot
from tests.conftest import person_in_role, signed_in
from tests.farm.filled import text
from tests.farm.goods import on_hand, packs
from tests.farm.recording.test_from_phone import from_phone
from tests.farm.sold import sold
from tests.farm.world import FIRST_DAY, UNIT, World, assert_book_is_sound

KEEP = {"Ledger-Keep": "1"}


@pytest.fixture
def client(world: World) -> Client:
    return signed_in(world.owner)


@pytest.fixture
def lot(world: World) -> Lot:
    return packs(world, 12)


def selling_to(world: World) -> str:
    return f"/record/sell/?place={world.kitchens.pk}"


def test_a_sale_names_its_customers_on_the_phone_and_takes_the_price_agreed(
    world: World, client: Client, lot: Lot
) -> None:
    AgreedPrice.objects.create(
        customer=world.customer,
        product=world.product,
        from_day=FIRST_DAY,
        unit_money=4 * UNIT,
        tax_included=True,
    )
    kept = text(client.get(selling_to(world), headers=KEEP))
    said: dict[str, Any] = {f"sold_{lot.pk}": "3", "customer": str(world.customer.pk)}
    answer = from_phone(client, selling_to(world), when="2026-09-08T09:00", **said)

    assert "The Anchor" in kept and "Price of" not in kept and "Discount" not in kept
    assert set(answer) == {"entered"}
    line = SaleLine.objects.get()
    assert (line.sale.customer, line.gross) == (world.customer, 12 * UNIT)


def test_a_seller_keeps_no_name_of_a_kitchen(world: World, lot: Lot) -> None:
    sold(world, lot, 2)
    seller = signed_in(person_in_role(Role.SELLER, "sam"))
    pages = seller.get("/phone-now.json").json()["pages"]
    kept = [text(seller.get(page, headers=KEEP)) for page in pages]

    assert selling_to(world) not in pages
    assert [page for page in kept if "The Anchor" in page or "Kitchens" in page] == []


def test_what_comes_back_is_kept_once_for_any_sale(world: World, client: Client, lot: Lot) -> None:
    line = sold(world, lot, 5).entry.lines.get().sale_line
    pages = client.get("/phone-now.json").json()["pages"]
    first = text(client.get("/record/take-back/", headers=KEEP))
    rest = text(client.get("/record/take-back/?sale_line=", headers=KEEP))

    assert [page for page in pages if "take-back" in page] == [
        "/record/take-back/",
        "/record/take-back/?sale_line=",
    ]
    assert f'value="{line.pk}"' in first and "The Anchor" in first
    assert "How much of it came back" in rest and 'data-said="sale_line"' in rest
    answer = from_phone(client, f"/record/take-back/?sale_line={line.pk}", quantity="2")
    assert set(answer) == {"entered"} and on_hand(lot) == 9
    assert_book_is_sound()


def test_more_than_was_sold_that_comes_back_is_to_be_sorted_out(
    world: World, client: Client, lot: Lot
) -> None:
    line = sold(world, lot, 5).entry.lines.get().sale_line
    take_back(world.doing(), sale_line=line, quantity=4)
    answer = from_phone(client, f"/record/take-back/?sale_line={line.pk}", quantity="2")

    assert f"Lot {lot.code}" in answer["kept"]["words"]
    assert "Take back unsold" in text(client.get("/unfinished/"))
    assert on_hand(lot) == 11
