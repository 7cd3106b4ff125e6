"""Each role may do what its row in farm/pages/access.py says, and nothing else."""

from collections.abc import Iterator

import pytest
from django.contrib.auth.models import User
from django.http import HttpResponse
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, path
from django.utils import timezone

from farm.models.people.people import Farm, Person
from farm.pages.access import PageRequest, Right, get_or_refuse, page
from farm.urls import urlpatterns as site_addresses

# A calendar program cannot sign in: the secret in the address stands for its person.
# A phone's worker and first screen show nothing of the farm; it asks who is signed in, if anyone.
OPEN_TO_STRANGERS = {
    "begin", "sign-in", "sign-out", "calendar-feed", "worker", "manifest", "phone-now",
}  # fmt: skip


@page(Right.RECORD)
def recording(request: PageRequest) -> HttpResponse:
    return HttpResponse(f"{request.person} {request.farm} {timezone.get_current_timezone_name()}")


@page(Right.READ)
def somebody(request: PageRequest, number: int) -> HttpResponse:
    return HttpResponse(get_or_refuse(request, Person.objects.all(), Right.SEE_SALES, pk=number))


@page(Right.CHANGE_FARM)
def changing(request: PageRequest) -> HttpResponse:
    return HttpResponse("changed")


urlpatterns = [
    path("recording/", recording),
    path("somebody/<int:number>/", somebody),
    path("changing/", changing),
    *site_addresses,
]

pytestmark = pytest.mark.urls(__name__)


def test_the_owner_may_do_all(owner: Client, owner_person: Person) -> None:
    assert_statuses(owner, owner_person.pk, [200, 200, 200])


def test_a_helper_records_but_sees_no_money_and_changes_nothing(
    helper: Client, owner_person: Person
) -> None:
    assert_statuses(helper, owner_person.pk, [200, 403, 403])


def test_a_reader_sees_money_but_writes_nothing(reader: Client, owner_person: Person) -> None:
    assert_statuses(reader, owner_person.pk, [403, 200, 403])


def test_a_stranger_is_sent_to_sign_in(stranger: Client, owner_person: Person) -> None:
    assert_statuses(stranger, owner_person.pk, [302, 302, 302])


def test_a_sign_in_without_a_person_may_do_nothing(farm: Farm) -> None:
    client = Client()
    client.force_login(User.objects.create_user("nobody"))

    assert_statuses(client, 1, [403, 403, 403])


def test_a_refused_person_does_not_learn_what_exists(helper: Client) -> None:
    assert helper.get("/somebody/999/").status_code == 403


def test_an_allowed_person_is_told_that_nothing_is_there(owner: Client) -> None:
    assert owner.get("/somebody/999/").status_code == 404


def test_a_page_works_with_its_person_in_the_farms_time_zone(helper: Client) -> None:
    assert helper.get("/recording/").content.decode() == "hugo Alder Lane Europe/Madrid"


def test_a_refusal_says_what_and_to_whom(helper: Client) -> None:
    said = helper.get("/changing/").content.decode()

    assert "You may not change the farm&#x27;s own settings and lists as a helper" in said


@pytest.mark.urls("farm.urls")
def test_every_address_of_the_site_asks_for_a_right() -> None:
    unguarded = {
        pattern.name
        for pattern in addresses(get_resolver())
        if not hasattr(pattern.callback, "rights")
    }

    assert unguarded == OPEN_TO_STRANGERS


def addresses(resolver: URLResolver) -> Iterator[URLPattern]:
    for pattern in resolver.url_patterns:
        if isinstance(pattern, URLResolver):
            yield from addresses(pattern)
        else:
            yield pattern


def assert_statuses(client: Client, number: int, expected: list[int]) -> None:
    tried = ["/recording/", f"/somebody/{number}/", "/changing/"]

    assert [client.get(address).status_code for address in tried] == expected
