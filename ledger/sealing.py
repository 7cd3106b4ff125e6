"""The hash chain over the facts, in the order of entries.

Each digest is SHA-256 of the digest before it and the entry's facts in canonical JSON, particulars
included, so a changed, missing or added fact breaks the chain at its entry. A chain proves only
its own consistency: to anchor it, keep a printed digest outside the database.
"""

import hashlib
from collections.abc import Iterator, Sequence
from itertools import islice
from typing import Any

from django.db.models import QuerySet

from ledger.drafts import NUMBERS, canonical
from ledger.models import Charge, Entry, Line, Mark, Seal

_ENTRY = (
    "seq", "place", "kind", "happened_on", "by", "reason", "amends_id", "takes_back",
    "particulars", "fingerprint", "uuid",
)  # fmt: skip


# What a lot is stands with every line about it, so that a changed lot breaks the chain as well.
_LINE = (
    "lot_id", "role", *NUMBERS, "returns_id",
    "lot__code", "lot__item_id", "lot__made_by_id", "lot__unit_mass_mg",
)  # fmt: skip
_CHUNK = 500


def next_digest(entry: Entry) -> str:
    """Seal an entry just written, whose lines, charges and marks stand in the database."""
    before = Seal.objects.filter(entry__lt=entry.seq).order_by("-entry_id").first()
    return digest(before.digest if before else "", entry)


def digest(before: str, entry: Entry) -> str:
    """Chain an entry to the digest before it: SHA-256 of both."""
    return next(digests(before, [entry]))


def digests(before: str, entries: Sequence[Entry]) -> Iterator[str]:
    """Chain entries, each to the one before it; three queries."""
    facts = _facts_of(entries)
    for entry in entries:
        before = _digest(before, facts[entry.seq])
        yield before


def broken_seals() -> Iterator[int]:
    """Name the entries, in order, whose seal does not hold or is missing."""
    before = ""
    entries = Entry.objects.order_by("seq").select_related("seal").iterator(chunk_size=_CHUNK)
    while chunk := list(islice(entries, _CHUNK)):
        facts = _facts_of(chunk)
        for entry in chunk:
            seal = getattr(entry, "seal", None)
            if seal is None or seal.digest != _digest(before, facts[entry.seq]):
                yield entry.seq
            before = seal.digest if seal else ""


def _digest(before: str, facts: dict[str, list[object]]) -> str:
    return hashlib.sha256((before + canonical(facts)).encode()).hexdigest()


def _facts_of(entries: Sequence[Entry]) -> dict[int, dict[str, list[object]]]:
    """Read what seals cover of some entries; three queries."""
    facts: dict[int, dict[str, list[object]]] = {
        entry.seq: {
            "entry": [getattr(entry, name) for name in _ENTRY],
            "times": [entry.happened_at.timestamp(), entry.recorded_at.timestamp()],
            "lines": [],
            "charges": [],
            "marks": [],
        }
        for entry in entries
    }
    stated: tuple[tuple[str, QuerySet[Any], tuple[str, ...]], ...] = (
        ("lines", Line.objects.all(), _LINE),
        ("charges", Charge.objects.all(), ("kind", "amount", "quantity_milli", "rate")),
        ("marks", Mark.objects.all(), ("lot_id", "held")),
    )
    for name, rows, columns in stated:
        found = rows.filter(entry__in=list(facts)).order_by("pk")
        for seq, *row in found.values_list("entry_id", *columns):
            facts[seq][name].append(row)
    return facts
