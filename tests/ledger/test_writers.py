"""Real transactions: several writers at once, and tables that are cleared after the test."""

from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection

from ledger import append_only, book, errors
from ledger.drafts import Draft
from ledger.models import Entry, Line
from tests.ledger.shorthand import assert_book_is_sound, bought, draft, on_hand, sells

pytestmark = pytest.mark.django_db(transaction=True)

needs_writers = pytest.mark.skipif(
    connection.vendor == "sqlite", reason="a test's SQLite stands in memory and has one writer"
)


def write(form: Draft) -> str:
    """Record in a thread's own connection; say what became of it."""
    try:
        return "written" if book.record(form).fresh else "known"
    except errors.Refused as refusal:
        return type(refusal).__name__
    finally:
        connection.close()


@needs_writers
def test_a_form_sent_eight_times_at_once_has_one_effect() -> None:
    form = draft(sells(bought(100, 100), 10))
    with ThreadPoolExecutor(8) as pool:
        outcomes = sorted(pool.map(write, [form] * 8))
    assert outcomes == ["known"] * 7 + ["written"]
    assert Line.objects.filter(role="sold").count() == 1


@needs_writers
def test_eight_writers_at_once_never_oversell() -> None:
    lot = bought(50, 100)
    with ThreadPoolExecutor(8) as pool:
        outcomes = sorted(pool.map(write, [draft(sells(lot, 10)) for _ in range(8)]))
    assert outcomes == ["NotEnough"] * 3 + ["written"] * 5
    assert on_hand(lot) == (0, 0)
    assert list(Entry.objects.values_list("seq", flat=True)) == [1, 2, 3, 4, 5, 6]
    assert_book_is_sound()


def test_a_book_written_for_real_is_cleared_and_protected_again() -> None:
    bought(5, 5)
    assert append_only.missing(connection) == []
    # The next test finds an empty book: see tests/conftest.py.


def test_the_next_test_finds_an_empty_book() -> None:
    assert not Entry.objects.exists()
    assert append_only.missing(connection) == []
