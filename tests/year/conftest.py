"""Fourteen weeks of the invented farm, there for all tests that only read them."""

from collections.abc import Iterator

import pytest
from django.db import transaction
from pytest_django import DjangoDbBlocker

from tests.played import played_weeks


@pytest.fixture(scope="package")
def played(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """The farm as its weeks left it; the database is empty again afterwards."""
    with django_db_blocker.unblock(), transaction.atomic():
        played_weeks()
        yield
        transaction.set_rollback(True)
