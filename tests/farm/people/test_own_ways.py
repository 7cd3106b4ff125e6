"""What each person sets for themselves: the unit they weigh in, and their PIN."""

import pytest

from farm.actions.signing import signed
from farm.models import Farm, Person
from tests.conftest import signed_in
from tests.farm.filled import text
from tests.farm.world import World, picked

PASSWORD = "wet gloves 41"


@pytest.fixture
def known(helper_person: Person) -> Person:
    """The helper, with a password of their own."""
    helper_person.user.set_password(PASSWORD)
    helper_person.user.save()
    return helper_person


def test_a_person_weighs_in_a_unit_of_their_own(world: World) -> None:
    lot, client = picked(world), signed_in(world.owner)
    assert "10.00 kg · 22.05 lb" in text(client.get(f"/lots/{lot.code}/"))

    client.post("/own/ways/", {"weight_unit": "lb"})

    assert "22.05 lb · 10.00 kg" in text(client.get(f"/lots/{lot.code}/"))
    assert Farm.objects.get().weight_unit == "kg"


def test_a_bare_number_means_what_its_person_weighs_in(world: World) -> None:
    client = signed_in(world.owner)
    client.post("/own/ways/", {"weight_unit": "lb"})

    assert "In lb, or with its unit" in text(client.get("/record/pick/"))


def test_changing_the_farm_leaves_its_own_unit(world: World) -> None:
    client = signed_in(world.owner)
    client.post("/own/ways/", {"weight_unit": "lb"})

    assert '<option value="kg" selected>' in text(client.get("/look-ups/farm/"))


def test_a_pin_needs_the_password(known: Person) -> None:
    refused = signed_in(known).post(
        "/own/ways/", {"weight_unit": "", "pin": "2580", "password": "guessed"}
    )
    known.refresh_from_db()

    assert "This is not your password" in text(refused)
    assert not known.pin_hash


def test_a_pin_of_ones_own_signs(known: Person, owner_person: Person) -> None:
    signed_in(known).post("/own/ways/", {"pin": "2580", "password": PASSWORD})

    assert signed(owner_person, known.initials, "2580").by == known


def test_a_poor_pin_is_refused(known: Person) -> None:
    page = text(signed_in(known).post("/own/ways/", {"pin": "1111", "password": PASSWORD}))
    known.refresh_from_db()

    assert "not all alike" in page
    assert not known.pin_hash
