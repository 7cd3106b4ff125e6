"""Who may open which page: owner, helper, reader, stranger."""

import pytest
from django.contrib.auth.models import User
from django.test import Client

from farm.models import Farm, Person, Role
from tests.conftest import person_in_role, signed_in
from tests.farm.world import World

# Address, and the answers that owner, helper, reader and stranger get.
OK, NO, SIGN_IN = 200, 403, 302
TABLE = [
    ("/", OK, OK, OK, SIGN_IN),
    ("/record/", OK, OK, NO, SIGN_IN),
    ("/record/receive-supplies/", OK, OK, NO, SIGN_IN),
    ("/record/pick/", OK, OK, NO, SIGN_IN),
    ("/record/sell/", OK, OK, NO, SIGN_IN),
    ("/unfinished/", OK, OK, NO, SIGN_IN),
    ("/entries/", OK, OK, OK, SIGN_IN),
    ("/sales/", OK, NO, OK, SIGN_IN),
    ("/sales/?take=xlsx", OK, NO, OK, SIGN_IN),
    ("/lots/", OK, OK, OK, SIGN_IN),
    ("/lots/?take=xlsx", OK, OK, OK, SIGN_IN),
    ("/stock/", OK, OK, OK, SIGN_IN),
    ("/look-ups/", OK, OK, OK, SIGN_IN),
    ("/look-ups/strains/", OK, OK, OK, SIGN_IN),
    ("/look-ups/strains/add/", OK, NO, NO, SIGN_IN),
    ("/look-ups/prices/", OK, NO, OK, SIGN_IN),
    ("/look-ups/rates/", OK, NO, OK, SIGN_IN),
    ("/look-ups/farm/", OK, NO, NO, SIGN_IN),
    ("/look-ups/people/", OK, NO, NO, SIGN_IN),
    ("/look-ups/people/add/", OK, NO, NO, SIGN_IN),
]


@pytest.mark.parametrize(("address", "owner", "helper", "reader", "stranger"), TABLE)
def test_each_role_opens_what_it_may(
    world: World, address: str, owner: int, helper: int, reader: int, stranger: int
) -> None:
    cast = [
        signed_in(world.owner),
        signed_in(world.helper),
        signed_in(person_in_role(Role.BOOKKEEPER, "rita")),
        Client(),
    ]

    assert [client.get(address).status_code for client in cast] == [owner, helper, reader, stranger]


def test_there_is_no_page_for_an_unknown_action(owner: Client) -> None:
    assert owner.get("/record/fly/").status_code == 404


def test_a_sign_in_without_a_person_opens_nothing(farm: Farm) -> None:
    client = Client()
    client.force_login(User.objects.create_user("nobody"))

    assert "has no role on the farm yet" in client.get("/").content.decode()


def test_a_sign_in_that_was_switched_off_is_signed_out(owner: Client, owner_person: Person) -> None:
    User.objects.filter(pk=owner_person.user_id).update(is_active=False)

    assert owner.get("/").status_code == SIGN_IN
