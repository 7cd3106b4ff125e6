"""Fourteen weeks of the invented farm, played once for all tests that only read them."""

from collections.abc import Iterator
from datetime import date, datetime, time

import pytest
from django.db import transaction
from pytest_django import DjangoDbBlocker

from farm.demo.clock import Year, played_clock
from farm.demo.scenery import build
from farm.demo.year import ZONE, play

WEEKS = 14  # the typing mistake that is taken back is in the thirteenth
FIRST = date(2026, 3, 2)


@pytest.fixture(scope="package")
def played(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[Year]:
    """The farm as its weeks left it; the database is empty again afterwards."""
    with django_db_blocker.unblock(), transaction.atomic():
        year = Year(build(FIRST), datetime.combine(FIRST, time(7), tzinfo=ZONE))
        with played_clock(year):
            play(year, lambda week: None, WEEKS)
        yield year
        transaction.set_rollback(True)
