"""A shared device: another takes over by initials and PIN, without anybody signing out."""

import pytest
from django.test import Client

from farm.models import Person, Role
from tests.conftest import person_in_role, signed_in
from tests.farm.filled import last_entry, send, text
from tests.farm.kept import PIN, pinned
from tests.farm.world import World


@pytest.fixture
def tablet(world: World) -> Client:
    """Signed in as the owner; the helper has a PIN."""
    pinned(world.helper)
    return signed_in(world.owner)


def take_over(tablet: Client, person: Person, pin: str = PIN) -> str:
    return text(tablet.post(f"/who/{person.pk}/", {"pin": pin}, follow=True))


def receive(world: World, tablet: Client) -> None:
    rye = {"supply": str(world.supplies["rye"].pk), "quantity": "25 kg", "paid_money": "15"}
    send(tablet, "/record/receive-supplies/", **rye)


def test_initials_are_offered_as_buttons(world: World, tablet: Client) -> None:
    page = text(tablet.get("/who/?next=/stock/"))

    assert f'href="/who/{world.helper.pk}/?next=/stock/"' in page
    assert "<strong>HU</strong>" in page


def test_what_is_recorded_is_theirs_and_says_at_whose_device(world: World, tablet: Client) -> None:
    take_over(tablet, world.helper)
    receive(world, tablet)

    assert last_entry().by == world.helper.pk
    assert "HU by PIN (OL)" in text(tablet.get(f"/entries/{last_entry().seq}/"))


def test_they_may_do_no_more_than_their_own_role(world: World, tablet: Client) -> None:
    assert tablet.get("/sales/").status_code == 200

    take_over(tablet, world.helper)

    assert tablet.get("/sales/").status_code == 403


def test_a_pin_opens_no_more_than_the_devices_sign_in(world: World) -> None:
    pinned(world.owner)
    device = signed_in(world.helper)

    page = take_over(device, world.owner)

    assert "olive, at HU's device" in page
    assert device.get("/sales/").status_code == 403
    assert device.get("/record/").status_code == 200


def test_the_device_is_given_back(world: World, tablet: Client) -> None:
    take_over(tablet, world.helper)
    tablet.post("/who/back/")
    receive(world, tablet)

    assert last_entry().by == world.owner.pk


def test_after_ten_idle_minutes_the_device_is_its_own_again(world: World, tablet: Client) -> None:
    take_over(tablet, world.helper)
    session = tablet.session
    session["entering_since"] -= 601
    session.save()

    assert "olive</a>" in text(tablet.get("/"))
    assert "entering" not in tablet.session


def test_a_wrong_pin_is_counted_and_the_sixth_is_not_looked_at(
    world: World, tablet: Client
) -> None:
    for _ in range(5):
        assert "do not belong together" in take_over(tablet, world.helper, "0000")

    assert "5 wrong PINs in a row" in take_over(tablet, world.helper)
    assert Person.objects.get(pk=world.helper.pk).pin_misses == 5


@pytest.mark.parametrize("role", [Role.BOOKKEEPER, Role.INSPECTOR])
def test_who_only_reads_takes_nothing_over_and_is_taken_over_by_nobody(
    world: World, tablet: Client, role: Role
) -> None:
    reading = pinned(person_in_role(role, "rita"))

    assert tablet.get(f"/who/{reading.pk}/").status_code == 404
    assert signed_in(reading).get("/who/").status_code == 403


def test_the_sign_in_is_out_of_their_reach(world: World, tablet: Client) -> None:
    take_over(tablet, world.helper)

    assert [tablet.get(at).status_code for at in ("/own/", "/own/password/")] == [403, 403]


def test_who_lost_their_pin_no_longer_enters(world: World, tablet: Client) -> None:
    take_over(tablet, world.helper)
    Person.objects.filter(pk=world.helper.pk).update(pin_hash="")

    assert "olive</a>" in text(tablet.get("/"))


def test_it_leads_back_to_where_they_were_and_never_elsewhere(world: World, tablet: Client) -> None:
    address = f"/who/{world.helper.pk}/"
    back = tablet.post(address, {"pin": PIN, "next": "/stock/"})
    tablet.post("/who/back/")
    away = tablet.post(address, {"pin": PIN, "next": "https://elsewhere.example/"})

    assert (back.headers["Location"], away.headers["Location"]) == ("/stock/", "/")
