"""A photo that waited on a phone finds what its form became, by the form's own number."""

from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from farm.models import Photo, Record, Role
from ledger.models import Entry, Lot
from tests.conftest import person_in_role, signed_in
from tests.farm.filled import send
from tests.farm.records.test_photos import jpeg, sent
from tests.farm.world import World, fruiting, picked


@pytest.fixture
def entry(world: World) -> Entry:
    picked(world)
    return Entry.objects.get(kind="pick")


@pytest.fixture
def client(world: World) -> Client:
    return signed_in(world.owner)


def from_phone(client: Client, *numbers: object, content: bytes = b"") -> dict[str, Any]:
    said = {"of": [str(number) for number in numbers], **sent(content or jpeg())}
    answer = client.post("/photos/", said, headers={"Accept": "application/json"})
    assert answer.status_code == 200
    found: dict[str, Any] = answer.json()
    return found


def test_it_is_kept_beside_the_entry_of_its_form_and_sent_twice_once(
    client: Client, entry: Entry
) -> None:
    answers = [from_phone(client, entry.uuid) for _ in range(2)]

    assert [set(answer) for answer in answers] == [{"entered"}, {"entered"}]
    assert answers[0]["entered"]["address"] == f"/entries/{entry.seq}/"
    assert Photo.objects.get().entry == entry


def test_it_is_kept_beside_a_record_as_well(client: Client) -> None:
    number = uuid4()
    send(client, "/records/maintenance/add/", uuid=str(number), what="fan", work="cleaned", note="")

    assert set(from_phone(client, number)) == {"entered"}
    assert Photo.objects.get().record is not None


def test_it_is_kept_beside_every_row_that_was_entered(client: Client, world: World) -> None:
    picked(world)
    entries = list(Entry.objects.all()[:2])

    from_phone(client, uuid4(), *(entry.uuid for entry in entries))

    assert {photo.entry_id for photo in Photo.objects.all()} == {entry.pk for entry in entries}


def test_it_waits_while_its_form_is_to_be_sorted_out(client: Client, world: World) -> None:
    blocks: Lot = fruiting(world, 4)
    number = uuid4()
    said = {"blocks": [blocks.code], "flush": "1", "firsts_mg": "1.2 stone"}
    before = {"uuid": str(number), "when": "2026-10-20T09:00", "own": "", **said}
    client.post("/record/pick/", before, headers={"Accept": "application/json"})

    assert set(from_phone(client, number)) == {"kept"}
    assert not Photo.objects.exists()

    client.post("/record/pick/", before | {"firsts_mg": "1.2 kg"})
    assert set(from_phone(client, number)) == {"entered"}


def test_what_is_no_photo_is_refused_with_words(client: Client, entry: Entry) -> None:
    answer = from_phone(client, entry.uuid, content=b"<svg onload=alert(1)>")

    assert "not a photo that can be read" in answer["error"]["words"]
    assert not Photo.objects.exists()


def test_a_number_that_is_none_names_nothing(client: Client, entry: Entry) -> None:
    assert set(from_phone(client, "'; drop table")) == {"kept"}


def test_nobody_adds_one_to_what_they_do_not_see(entry: Entry) -> None:
    seller = signed_in(person_in_role(Role.SELLER, "sam"))

    assert set(from_phone(seller, entry.uuid)) == {"kept"}
    assert not Photo.objects.exists()


def test_none_is_kept_beside_private_words(client: Client, world: World) -> None:
    number = uuid4()
    values = {"who": "Hugo", "symptoms": "injury", "note": ""}
    send(client, "/records/illness/add/", uuid=str(number), **values)

    assert Record.objects.get().uuid == number
    assert set(from_phone(client, number)) == {"kept"}
