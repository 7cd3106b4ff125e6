"""A bad year far ahead of UTC and in pounds, played once for all tests that only read it."""

from collections.abc import Iterator
from dataclasses import dataclass

import pytest
from django.db import transaction
from pytest_django import DjangoDbBlocker

from tests.mishaps.must import AUCKLAND, Must, World
from tests.mishaps.year import play_bad_year


@dataclass
class BadYear:
    world: World
    musts: dict[str, list[Must]]


@pytest.fixture(scope="package")
def bad(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[BadYear]:
    """The farm as the year left it; the database is empty again afterwards."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield BadYear(*play_bad_year(AUCKLAND))
        transaction.set_rollback(True)


@pytest.fixture(scope="package")
def played(bad: BadYear) -> BadYear:
    """Let what is asked of the invented farm's weeks be asked of this year."""
    return bad
