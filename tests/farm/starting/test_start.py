"""A farm starts once, with answers that make sense."""

from datetime import date

import pytest
from django.contrib.auth import authenticate
from django.core.management import CommandError, call_command

from farm.actions.common import standard_minutes
from farm.actions.starting.starting import initials_of
from farm.kinds.growing import FILL_BLOCKS
from farm.kinds.store import DRY, PACK
from farm.models.people.people import Farm, Person, Role, the_farm
from farm.models.trading import RateOf, StandardTime, rate_on
from farm.refusals import MendedInDetails

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


def test_it_writes_a_standard_time_for_every_action_that_charges_labour() -> None:
    start()

    assert standard_minutes(FILL_BLOCKS, 40) == 15 + 160  # 15 minutes, and 4 a block


def test_a_farm_that_exists_is_given_the_usual_minutes_of_a_new_kind() -> None:
    start()
    StandardTime.objects.filter(action="dry").delete()
    StandardTime.objects.filter(action="pack").update(minutes=99)

    call_command("migrate", verbosity=0)

    assert standard_minutes(DRY, 10) == 15 + 20  # 15 minutes, and 2 a kilo
    assert standard_minutes(PACK) == 99


def test_no_usual_minutes_are_written_before_there_is_a_farm() -> None:
    call_command("migrate", verbosity=0)

    assert not StandardTime.objects.exists()


def test_it_takes_the_rates_that_are_given() -> None:
    start(own_hour="18.50")

    assert rate_on(RateOf.OWN_HOUR, date(2026, 1, 1)) == 185_000


def test_a_rate_left_out_is_asked_for_when_it_is_needed() -> None:
    start()

    with pytest.raises(MendedInDetails, match=r"a kilowatt-hour costs .* under Farm details"):
        rate_on(RateOf.KWH, date(2026, 1, 1))


def test_it_refuses_a_rate_that_is_no_money() -> None:
    with pytest.raises(CommandError, match="cannot be read as money in USD"):
        start(kwh="thirty cents")

    assert not Farm.objects.exists()
