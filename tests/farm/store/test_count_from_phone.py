"""A room is counted without a signal: blind, and held against what was there at that time."""

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from farm.actions.selling.selling import SoldLine, sell
from farm.models import StockCount
from ledger.models import Lot, Waiting
from tests.conftest import signed_in
from tests.farm.filled import text
from tests.farm.goods import crop
from tests.farm.recording.test_wall_from_phone import from_phone, of_page
from tests.farm.store.test_in_store import put_in_fridge
from tests.farm.world import KG, UNIT, World


@pytest.fixture
def client(world: World) -> Client:
    return signed_in(world.helper)


@pytest.fixture
def lot(world: World) -> Lot:
    world.now = timezone.now() - timedelta(hours=8)
    return put_in_fridge(world, crop(world, 10 * KG))


def address_of(world: World) -> str:
    return f"/store/counts/start/?room={world.fridge_shelf.room.pk}&what=all&hidden=on"


def counted(client: Client, world: World, **boxes: object) -> dict[str, Any]:
    """What a count says that was over an hour ago, on a phone whose clock is ten minutes fast."""
    clock = timezone.now() + timedelta(minutes=10)
    ended = {"phone_saved_at": clock - timedelta(hours=1), "phone_sent_at": clock}
    said = {name: moment.isoformat() for name, moment in ended.items()}
    return of_page(client, address_of(world), **boxes) | said


def test_each_room_with_something_in_it_is_kept_without_what_the_book_says(
    world: World, client: Client, lot: Lot
) -> None:
    said = client.get("/phone-now.json").json()
    page = client.get(address_of(world), headers={"Ledger-Keep": "1"})

    assert address_of(world) in said["pages"] and "/store/counts/start/" in said["sent_to"]
    assert page.headers["Ledger-Keep"] == "yes"
    assert lot.code in text(page) and "10.00" not in text(page)
    seen = client.get(address_of(world).removesuffix("&hidden=on"))
    assert "10.00" in text(seen) and "Ledger-Keep" not in seen.headers


def test_what_was_sold_between_the_count_and_its_arrival_is_no_difference(
    world: World, client: Client, lot: Lot
) -> None:
    said = counted(client, world, **{f"found_{lot.pk}": "10"})
    world.now = timezone.now() - timedelta(minutes=90)
    sell(
        world.doing(),
        place=world.kitchens,
        customer=world.customer,
        lines=[SoldLine(lot, 2 * KG, 9 * UNIT)],
    )

    answers = [from_phone(client, address_of(world), said) for _ in range(2)]

    assert [set(answer) for answer in answers] == [{"entered"}, {"entered"}]
    line = StockCount.objects.get().lines.get()
    # Sold half an hour after the count: 10 kg were found where 10 were, though 8 are there now.
    assert (line.book, line.found) == (10 * KG, 10 * KG)


def test_a_lot_that_came_after_the_last_visit_is_counted_by_its_code(
    world: World, client: Client, lot: Lot
) -> None:
    said = counted(client, world, **{f"found_{lot.pk}": "10"})
    late = put_in_fridge(world, crop(world, 3 * KG))

    said |= {"code_0": late.code, "amount_0": "3 kg"}
    answers = [from_phone(client, address_of(world), said) for _ in range(2)]

    assert [set(answer) for answer in answers] == [{"entered"}, {"entered"}]
    found = dict(StockCount.objects.get().lines.values_list("lot", "found"))
    assert found == {lot.pk: 10 * KG, late.pk: 3 * KG}


def test_a_count_with_something_wrong_in_it_is_mended_where_it_waits(
    world: World, client: Client, lot: Lot
) -> None:
    said = counted(client, world, **{f"found_{lot.pk}": "ten"})
    assert "cannot be read" in from_phone(client, address_of(world), said)["error"]["words"]
    waiting = f"/store/counts/start/?waiting={Waiting.objects.get().uuid}"
    assert waiting in text(client.get("/unfinished/"))

    shown = of_page(client, waiting)
    assert shown[f"found_{lot.pk}"] == "ten"
    client.post(waiting, shown | {f"found_{lot.pk}": "9.9", "when": said["when"]})

    count = StockCount.objects.get()
    assert count.room == world.fridge_shelf.room and count.hidden
    assert "Nothing to sort out" in text(client.get("/unfinished/"))
