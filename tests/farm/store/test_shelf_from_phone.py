"""A shelf in a cold room without a signal: what was weighed arrives later, and nothing is lost."""

from datetime import UTC, datetime

import pytest
from django.test import Client

from farm.actions.growing.blocks import move
from farm.actions.store.storing import throw_away
from ledger.models import Entry, Lot, Waiting
from tests.conftest import signed_in
from tests.farm.filled import text
from tests.farm.goods import crop
from tests.farm.recording.test_wall_from_phone import from_phone, of_page
from tests.farm.store.test_in_store import put_in_fridge
from tests.farm.world import KG, World, assert_book_is_sound


@pytest.fixture
def client(world: World) -> Client:
    return signed_in(world.helper)


@pytest.fixture
def two(world: World) -> tuple[Lot, Lot]:
    return put_in_fridge(world, crop(world, 10 * KG)), put_in_fridge(world, crop(world, 10 * KG))


def address_of(world: World) -> str:
    return f"/store/weigh/{world.fridge_shelf.pk}/"


def test_each_shelf_with_something_loose_is_kept(
    world: World, client: Client, two: tuple[Lot, Lot]
) -> None:
    said = client.get("/phone-now.json").json()
    page = client.get(address_of(world), headers={"Ledger-Keep": "1"})

    assert [one for one in said["pages"] if "weigh/" in one] == [address_of(world)]
    assert "/store/weigh/*" in said["sent_to"] and page.headers["Ledger-Keep"] == "yes"
    assert f"Weigh in {world.fridge_shelf}" in text(client.get("/not-sent/"))


def test_its_rows_are_entered_and_sent_twice_once(
    world: World, client: Client, two: tuple[Lot, Lot]
) -> None:
    boxes = {f"weight_{lot.pk}": "9.9" for lot in two}
    said = of_page(client, address_of(world), **boxes) | {"when": "2026-10-20T09:00"}

    answers = [from_phone(client, address_of(world), said) for _ in range(2)]

    assert [set(answer) for answer in answers] == [{"entered"}, {"entered"}]
    weighed = Entry.objects.filter(kind="weigh again")
    assert [one.happened_at for one in weighed] == [datetime(2026, 10, 20, 7, tzinfo=UTC)] * 2
    assert_book_is_sound()


def test_a_lot_that_was_moved_meanwhile_is_weighed_and_one_that_is_gone_is_to_be_sorted_out(
    world: World, client: Client, two: tuple[Lot, Lot]
) -> None:
    moved, gone = two
    said = of_page(client, address_of(world), **{f"weight_{lot.pk}": "9.9" for lot in two})
    move(world.doing(), lot=moved, shelf=world.shelf)
    throw_away(world.doing(reason="old"), lot=gone, quantity=10 * KG)

    answer = from_phone(client, address_of(world), said)

    assert answer["error"]["words"].startswith(f"{gone.code}: ")
    assert Entry.objects.get(kind="weigh again").lines.get().lot == moved
    waiting = f"{address_of(world)}?waiting={Waiting.objects.get().uuid}"
    assert waiting in text(client.get("/unfinished/"))
    form = client.get(waiting).context["form"]
    assert form[f"weight_{gone.pk}"].value() == "9.9" and f"weight_{moved.pk}" not in form.fields
