"""What surrounds every page, and the headers that go with it."""

import pytest
from django.template.loader import get_template
from django.test import Client

from farm.models.people.people import Farm, Person, Role
from farm.pages.frame import rights_of, ways_for
from tests.conftest import person_in_role, signed_in


def test_the_home_page_names_the_farm_and_the_person(owner: Client) -> None:
    page = owner.get("/").content.decode()

    assert "Alder Lane" in page
    assert 'olive</a><span class="role">, owner</span>' in page


def test_the_way_one_is_on_is_marked_and_its_part_opened(owner_person: Person) -> None:
    parts = ways_for(owner_person, "/orders/round/")

    assert [part.label for part in parts if part.is_here] == ["Customers"]
    assert [way.label for part in parts for way in part.ways if way.is_here] == ["Delivery round"]


def test_ways_to_money_are_not_offered_to_a_helper(helper_person: Person) -> None:
    parts = ways_for(helper_person, "/")

    assert "Money" not in {part.label for part in parts}
    assert "Invoices" not in {way.label for part in parts for way in part.ways}


@pytest.mark.parametrize("role", Role)
def test_every_way_that_is_offered_lets_its_person_in(farm: Farm, role: Role) -> None:
    person = person_in_role(role, "walker")
    client = signed_in(person)

    offered = [way.address for part in ways_for(person, "/") for way in part.ways]

    assert offered
    assert {address for address in offered if client.get(address).status_code != 200} == set()


def test_templates_are_told_the_rights_of_the_person(helper_person: Person) -> None:
    rights = rights_of(helper_person)

    assert rights["record"] is True
    assert rights["see_sales"] is False


def test_an_inspector_is_told_the_span_on_every_page(inspector: Client, helper: Client) -> None:
    said = "You see what was done from Sat 1 Jan 2000 to Thu 31 Dec 2099."

    assert all(said in inspector.get(page).content.decode() for page in ("/", "/records/"))
    assert "You see what was done" not in helper.get("/").content.decode()


def test_the_style_page_shows_an_error_beside_its_field(reader: Client) -> None:
    page = reader.get("/style/").content.decode()

    assert "Enter a number." in page
    assert 'aria-invalid="true"' in page


def test_pages_refuse_content_from_elsewhere(stranger: Client) -> None:
    policy = stranger.get("/sign-in/").headers["Content-Security-Policy"]

    assert policy.startswith("default-src 'self';")


def test_the_stylesheet_is_served_without_a_second_server(stranger: Client) -> None:
    assert stranger.get("/static/farm/site.css").status_code == 200


def test_a_stranger_is_asked_to_sign_in_and_then_goes_on(
    stranger: Client, owner_person: Person
) -> None:
    owner_person.user.set_password("alder-and-birch")
    owner_person.user.save()

    asked = stranger.get("/style/")
    signed = stranger.post(
        asked.headers["Location"],
        {
            "username": "olive",
            "password": "alder-and-birch",
            "next": "/style/",
        },
    )

    assert signed.headers["Location"] == "/style/"


def test_a_wrong_password_is_refused_in_words(stranger: Client, owner_person: Person) -> None:
    page = stranger.post("/sign-in/", {"username": "olive", "password": "guess"})

    assert "Please enter a correct username and password" in page.content.decode()


@pytest.mark.django_db
def test_sign_in_says_how_to_start_when_there_is_no_farm() -> None:
    assert not Farm.objects.exists()
    assert "manage.py start" in Client().get("/sign-in/").content.decode()


def test_signing_out_ends_at_the_sign_in_page(owner: Client) -> None:
    assert owner.post("/sign-out/").headers["Location"] == "/sign-in/"
    assert owner.get("/").status_code == 302


def test_an_unknown_address_gets_the_farms_own_page(owner: Client) -> None:
    answer = owner.get("/nowhere/")

    assert answer.status_code == 404
    assert "There is nothing at this address" in answer.content.decode()


def test_the_page_for_a_broken_site_needs_no_context() -> None:
    assert "Something broke" in get_template("500.html").render()
