"""A page of a wall sheet that waited on a phone: rows are entered, what is wrong waits."""

from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.utils import timezone

from farm.pages import sent_forms
from ledger.models import Entry, Lot, Waiting
from tests.conftest import signed_in
from tests.farm.day.test_wall_sheets import address_of
from tests.farm.filled import text
from tests.farm.kept import PIN, pinned
from tests.farm.world import World, assert_book_is_sound, farm_today, fruiting


@pytest.fixture
def client(world: World) -> Client:
    return signed_in(world.owner)


@pytest.fixture
def two(world: World) -> tuple[Lot, Lot]:
    return fruiting(world, 4), fruiting(world, 4)


def of_page(client: Client, address: str, **boxes: object) -> dict[str, Any]:
    """What a page of a sheet sends, with some boxes filled in."""
    form = client.get(address).context["form"]
    data = {name: form[name].value() or "" for name in form.fields}
    data["when"] = timezone.localtime(form["when"].initial).strftime("%Y-%m-%dT%H:%M")
    return {**data, **boxes}


def from_phone(client: Client, address: str, said: dict[str, Any]) -> dict[str, Any]:
    answer = client.post(address, said, headers={"Accept": "application/json"})
    assert answer.status_code == 200
    found: dict[str, Any] = answer.json()
    return found


def picks() -> int:
    return Entry.objects.filter(kind="pick").count()


def test_its_rows_are_entered_and_sent_twice_once(
    world: World, client: Client, two: tuple[Lot, Lot]
) -> None:
    address = address_of(world, "picks")
    said = of_page(client, address, **{f"firsts_{lot.pk}": "1.2 kg" for lot in two})

    answers = [from_phone(client, address, said) for _ in range(2)]

    assert [set(answer) for answer in answers] == [{"entered"}, {"entered"}]
    assert picks() == 2
    assert not Waiting.objects.exists()
    assert_book_is_sound()


def test_a_row_with_something_wrong_waits_without_those_that_were_entered(
    world: World, client: Client, two: tuple[Lot, Lot]
) -> None:
    good, bad = two
    address = address_of(world, "picks")
    boxes = {f"firsts_{good.pk}": "1.2 kg", f"firsts_{bad.pk}": "1.2 stone"}
    answer = from_phone(client, address, of_page(client, address, **boxes))

    assert answer["error"]["words"].startswith(f"{bad.code}: ")
    kept = sent_forms.kept_under(str(Waiting.objects.get().uuid))
    assert kept and kept.data[f"firsts_{bad.pk}"] == ["1.2 stone"]
    assert f"firsts_{good.pk}" not in kept.data
    assert picks() == 1


def test_what_waits_is_mended_on_its_page_and_answered(
    world: World, client: Client, two: tuple[Lot, Lot]
) -> None:
    bad = two[0]
    address = address_of(world, "picks")
    from_phone(client, address, of_page(client, address, **{f"firsts_{bad.pk}": "1.2 stone"}))
    waiting = f"{address}?waiting={Waiting.objects.get().uuid}"
    assert waiting.replace("&", "&amp;") in text(client.get("/unfinished/"))

    form = client.get(waiting).context["form"]
    shown = {name: form[name].value() or "" for name in form.fields}
    assert shown[f"firsts_{bad.pk}"] == "1.2 stone"
    client.post(waiting, shown | {f"firsts_{bad.pk}": "1.2 kg"})

    assert picks() == 1
    assert "Nothing to sort out" in text(client.get("/unfinished/"))


def test_a_rows_pin_is_never_kept(world: World, client: Client, two: tuple[Lot, Lot]) -> None:
    pinned(world.helper)
    lot, address = two[0], address_of(world, "picks")
    boxes = {f"firsts_{lot.pk}": "1 stone", f"initials_{lot.pk}": "HU", f"pin_{lot.pk}": PIN}
    from_phone(client, address, of_page(client, address, **boxes))

    assert f"initials_{lot.pk}" in Waiting.objects.get().payload
    assert PIN not in Waiting.objects.get().payload


def test_a_sheet_may_be_kept_and_its_page_is_among_those_that_are(
    world: World, client: Client, two: tuple[Lot, Lot]
) -> None:
    said = client.get("/phone-now.json").json()
    address = f"/wall-sheets/picks/{farm_today()}/1/"
    page = client.get(address, headers={"Ledger-Keep": "1"})

    assert address in said["pages"] and "/wall-sheets/*" in said["sent_to"]
    assert "Ledger-Keep" in page.headers
    # A photo is added where the form waits.
    assert 'type="file"' not in text(page)
    assert 'type="file"' in text(client.get(address))


def test_what_a_form_without_rows_says_stays_whole(world: World, client: Client) -> None:
    number = str(uuid4())
    said = {"uuid": number, "when": "2026-10-20T09:00", "own": "", "firsts_mg": "1 stone"}
    from_phone(client, "/record/pick/", said)

    kept = sent_forms.kept_under(number)
    assert kept and kept.data["firsts_mg"] == ["1 stone"]
