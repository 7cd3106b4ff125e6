"""What holds for every page: it asks the database little, and a phone on a weak signal loads it."""

from collections.abc import Iterator
from dataclasses import dataclass

import pytest
from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from pytest_django import DjangoDbBlocker

from farm.models import Person, Role
from tests.conftest import signed_in
from tests.played import played_weeks
from tests.walk import is_page, names, walk
from tests.weighing import weight_of

MOST_QUERIES = 19
MOST_BYTES = 100_000

pytestmark = pytest.mark.django_db


@dataclass(frozen=True)
class Walked:
    """Every page by its kind: how often it asked the database, and what it weighs in bytes."""

    found: dict[str, str]
    queries: dict[str, int]
    weights: dict[str, int]


@pytest.fixture(scope="module")
def walked(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[Walked]:
    """Play some weeks once, walk the site as their owner, and leave nothing behind."""
    with django_db_blocker.unblock(), transaction.atomic():
        played_weeks()
        client = signed_in(Person.objects.filter(role=Role.OWNER).earliest("pk"))
        yield measured(client)
        transaction.set_rollback(True)


def measured(client: Client) -> Walked:
    found, queries, weights = walk(client), {}, {}
    for kind, address in found.items():
        with CaptureQueriesContext(connection) as asked:
            page = client.get(address)
        if page.status_code == 200 and is_page(page):
            queries[kind], weights[kind] = len(asked), weight_of(client, page)
    return Walked(found, queries, weights)


def test_the_walk_finds_the_pages_of_the_site(walked: Walked) -> None:
    """Most addresses are led to by a link; what is sent, and what did not happen yet, is not."""
    kinds = {kind.split()[0] for kind in walked.found}

    assert len(walked.queries) > 150
    assert kinds > {"lot", "entry", "cost-of", "trace-of", "month-of", "order", "invoice"}
    assert kinds < names()


def test_no_page_asks_the_database_twenty_times(walked: Walked) -> None:
    asked = walked.queries
    assert {kind: count for kind, count in asked.items() if count > MOST_QUERIES} == {}


def test_no_page_weighs_100_kb_on_first_load(walked: Walked) -> None:
    assert {kind: weight for kind, weight in walked.weights.items() if weight > MOST_BYTES} == {}
