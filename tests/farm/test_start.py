"""A farm starts once, with answers that make sense."""

import pytest
from django.contrib.auth import authenticate
from django.core.management import CommandError, call_command

from farm.actions.starting import initials_of
from farm.models.people import Farm, Person, Role, the_farm

ANSWERS = {
    "name": "Alder Lane",
    "place": "Lowfield",
    "time_zone": "America/Chicago",
    "currency": "USD",
    "weight_unit": "lb",
    "account": "ana.ruiz",
    "password": "alder-and-birch",
    "no_input": True,
}

pytestmark = pytest.mark.django_db


def start(**changed: str) -> None:
    call_command("start", **(ANSWERS | changed))


def test_it_makes_the_farm_as_answered() -> None:
    start()

    farm = the_farm()
    assert (farm.name, farm.time_zone, farm.currency) == ("Alder Lane", "America/Chicago", "USD")
    assert (farm.weight_unit, farm.altitude_m) == ("lb", 0)


def test_it_makes_the_owner_who_can_sign_in() -> None:
    start()

    owner = Person.objects.get()
    assert (owner.role, owner.initials) == (Role.OWNER, "AR")
    assert authenticate(username="ana.ruiz", password="alder-and-birch") == owner.user


def test_it_refuses_a_second_farm(farm: Farm) -> None:
    with pytest.raises(CommandError, match="already keeps the book of Alder Lane"):
        start()


@pytest.mark.parametrize(
    ("option", "wrong", "said"),
    [
        ("name", "", "name: This field cannot be blank"),
        ("time_zone", "Lowfield", "time zone: “Lowfield” is not a time zone"),
        ("currency", "euro", "currency: .*three capital letters"),
        ("weight_unit", "st", "weight unit: .*not a valid choice"),
        ("altitude_m", "9000", "altitude in metres"),
        ("account", "", "username: This field cannot be blank"),
        ("password", "short", "at least 10 characters"),
    ],
)
def test_it_refuses_and_keeps_nothing(option: str, wrong: str, said: str) -> None:
    with pytest.raises(CommandError, match=said):
        start(**{option: wrong})

    assert not Farm.objects.exists()


@pytest.mark.parametrize("name", ["ana ruiz", "ana.ruiz", "Ana_Ruiz", "ana-ruiz"])
def test_initials_come_from_the_words_of_a_name(name: str) -> None:
    assert initials_of(name) == "AR"
