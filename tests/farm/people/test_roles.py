"""Every address of the site, tried as every role and as a stranger.

A new address stands in TABLE with the roles that it lets in, or a test fails. What is refused is
refused (403) before anything is looked up; a stranger is sent to sign in.
"""

from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from django.db import transaction
from django.test import Client
from django.urls import URLPattern, get_resolver, reverse
from pytest_django import DjangoDbBlocker

from farm.models import Role
from tests.conftest import signed_in
from tests.farm.everything import Everything, everything
from tests.walk import names

pytestmark = pytest.mark.django_db

# Owner, helper, seller, bookkeeper, inspector; by their first letters.
ROLES = {"o": Role.OWNER, "h": Role.HELPER, "s": Role.SELLER, "b": Role.BOOKKEEPER,
         "i": Role.INSPECTOR}  # fmt: skip
EVERYBODY, OWNER, WORKERS, RECORDERS, KEEPERS = "ohsbi", "o", "ohs", "oh", "ob"

TABLE = {
    EVERYBODY: """
        today style not-sent glossary own-sign-ins own-password own-ways
        who-back
        lots lot scan entries entry photo
        """,
    OWNER: """
        share-take sign-ins people person-add person-change farm first-hour take-over
        lookup-add lookup-change recipe-version
        start-workbook start-blank start-undo record-settle
        photo-remove recall-take-out
        """,
    WORKERS: """
        who who-pin record record-action unfinished unfinished-drop entry-undo entry-correct
        entry-photo photo-from-phone
        """,
    RECORDERS: """
        recipe holds
        recall-call recall-notice
        record-add record-photo run-readings-add
        order-take order-less note-write set-aside
        box-left wall-sheets wall-sheet wall-type-up shelf-weigh count-start
        """,
    KEEPERS: """
        costs cost-of month month-of days year month-close closed-file bills bill-back
        against-of card card-saved decision decision-of
        sales invoices invoice invoice-issue invoice-change invoice-sale payments payment-new
        payment-back payment-right owed statement shares share
        receipt fee-sheet
        """,
    "ohb": """
        stock check-weights in-store stock-counts stock-count drying-runs where where-of labels
        labels-sheet calendar lookups lookup orders order round packing-list note
        """,
    "ohi": """
        trace trace-of recalls recall drills drill records record-list record-one records-review
        binder store run-readings take-away
        """,
    "ohsb": "stall-days stall-day",
    "os": "till till-tap till-price",
    "osb": "stall-cash",
}  # fmt: skip
LETS_IN = {name: roles for roles, listed in TABLE.items() for name in listed.split()}
# A stranger may open these: to sign in, or to be told that nobody is.
FOR_STRANGERS = {"sign-in", "sign-out", "begin", "worker", "manifest", "phone-now",
                 "calendar-feed"}  # fmt: skip
# Nothing stands here on the farm of this test: whom it lets in is told so.
NOT_THERE = {"start-undo", "card-saved", "share", "box-left", "receipt"}
# Pages that more may see than may send what is asked on them.
MAY_SEND = {"trace": RECORDERS, "drills": RECORDERS, "drill": RECORDERS, "stall-days": KEEPERS}


@pytest.fixture(scope="module")
def site(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[Everything]:
    """Make the farm once, and leave nothing behind."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield everything()
        transaction.set_rollback(True)


def test_every_address_is_in_the_table_once() -> None:
    listed = [name for rows in TABLE.values() for name in rows.split()]

    assert sorted([*listed, *FOR_STRANGERS]) == sorted(names())


@pytest.mark.parametrize("name", sorted(LETS_IN))
def test_an_address_lets_in_whom_the_table_says(site: Everything, name: str) -> None:
    address = address_of(site, name)

    came_in = "".join(
        letter
        for letter, role in ROLES.items()
        if status_of(signed_in(site.people[role]), address) != 403
    )

    assert came_in == LETS_IN[name]


@pytest.mark.parametrize("name", sorted(LETS_IN))
def test_whom_it_lets_in_it_answers(site: Everything, name: str) -> None:
    expected = {404} if name in NOT_THERE else {200, 302, 409, 422}
    address = address_of(site, name)
    who = [signed_in(site.people[ROLES[letter]]) for letter in LETS_IN[name]]

    assert {status_of(client, address) for client in who} <= expected


def test_every_page_that_asks_for_more_to_send_is_in_the_table() -> None:
    to_send = {
        pattern.name
        for pattern in get_resolver().url_patterns
        if isinstance(pattern, URLPattern) and pattern.callback.__dict__.get("to_send")
    }

    assert to_send == set(MAY_SEND)


@pytest.mark.parametrize("name", sorted(MAY_SEND))
def test_a_form_is_taken_from_whom_the_table_says(site: Everything, name: str) -> None:
    address, sent = address_of(site, name), ""
    for letter, role in ROLES.items():
        with undone():
            if signed_in(site.people[role]).post(address).status_code != 403:
                sent += letter

    assert sent == MAY_SEND[name]


@pytest.mark.parametrize("name", sorted(LETS_IN))
def test_a_stranger_is_sent_to_sign_in(site: Everything, name: str) -> None:
    answer = Client().get(address_of(site, name))

    # What is only sent is refused as such, before it is asked who sends it.
    assert answer.status_code == 405 or answer.headers["Location"].startswith("/sign-in/?next=")


@pytest.mark.parametrize("name", sorted(LETS_IN))
def test_a_strangers_form_is_sent_to_sign_in(site: Everything, name: str) -> None:
    answer = Client().post(address_of(site, name))

    assert answer.headers["Location"].startswith("/sign-in/?next=")


def address_of(site: Everything, name: str) -> str:
    return reverse(name, args=[str(part) for part in site.at.get(name, [])])


def status_of(client: Client, address: str) -> int:
    """Open an address, or send it an empty form where it can only be sent; nothing stays."""
    with undone():
        status = client.get(address).status_code
        return client.post(address).status_code if status == 405 else status


@contextmanager
def undone() -> Iterator[None]:
    with transaction.atomic():
        yield
        transaction.set_rollback(True)
