"""The hash chain over the facts."""

import hashlib
from datetime import timedelta

import pytest
from django.db import connection

from ledger import append_only, sealing
from ledger.drafts import canonical
from ledger.models import Entry, Line, Lot, Seal
from tests.ledger.shorthand import KG, bought, put, sells, sold

pytestmark = pytest.mark.django_db


@pytest.fixture
def lot() -> Lot:
    """Three entries, unprotected so that a test can damage them."""
    lot = bought(KG, 10)
    put(sells(lot, 1), price="2.50")
    sold(lot, 2)
    append_only.remove(connection)
    return lot


def test_an_untouched_chain_holds(lot: Lot) -> None:
    assert list(sealing.broken_seals()) == []


def test_each_digest_covers_the_one_before(lot: Lot) -> None:
    first, second = Seal.objects.order_by("entry")[:2]
    entry = Entry.objects.get(seq=2)
    assert second.digest == sealing.digest(first.digest, entry)
    assert second.digest != sealing.digest("", entry)


def test_a_digest_is_sha_256_of_what_comes_before_and_the_facts() -> None:
    # FIPS 180-4: the digest of "abc" (from memory), over which the canonical text is laid.
    assert hashlib.sha256(b"abc").hexdigest().startswith("ba7816bf8f01cfea414140de5dae2223")
    assert canonical({"b": 1, "a": "é"}) == '{"a":"é","b":1}'


@pytest.mark.parametrize(
    "change",
    [
        {"particulars": "{}"},
        {"kind": "other"},
        {"by": 9},
        {"reason": "why"},
        {"fingerprint": "0"},
    ],
)
def test_a_changed_entry_breaks_the_chain_there(lot: Lot, change: dict[str, object]) -> None:
    Entry.objects.filter(seq=2).update(**change)
    assert list(sealing.broken_seals()) == [2]


def test_a_changed_time_breaks_the_chain(lot: Lot) -> None:
    entry = Entry.objects.get(seq=3)
    Entry.objects.filter(seq=3).update(recorded_at=entry.recorded_at + timedelta(microseconds=1))
    assert list(sealing.broken_seals()) == [3]


def test_a_changed_line_and_a_missing_line_break_the_chain(lot: Lot) -> None:
    Line.objects.filter(entry=2).update(quantity=-3)
    Line.objects.filter(entry=3).delete()
    assert list(sealing.broken_seals()) == [2, 3]


def test_a_changed_digest_breaks_its_own_and_the_next_link(lot: Lot) -> None:
    Seal.objects.filter(entry=2).update(digest="0" * 64)
    assert list(sealing.broken_seals()) == [2, 3]


def test_a_missing_seal_is_named(lot: Lot) -> None:
    Seal.objects.filter(entry=3).delete()
    assert list(sealing.broken_seals()) == [3]


def test_a_relabelled_lot_breaks_the_chain_at_every_entry_about_it(lot: Lot) -> None:
    Lot.objects.filter(pk=lot.pk).update(code="AAAAA")
    assert list(sealing.broken_seals()) == [1, 2, 3]
