"""The hash chain over the facts, in the order of entries.

Each digest is SHA-256 of the digest before it and the entry's facts in canonical JSON, particulars
included, so a changed, missing or added fact breaks the chain at its entry. A chain proves only
its own consistency: to anchor it, keep a printed digest outside the database.
"""

import hashlib
from collections.abc import Iterator, Sequence
from itertools import islice
from typing import Any, TypeAlias

from django.db.models import QuerySet

from ledger.asked_often import AskedOften
from ledger.drafts import NUMBERS, canonical
from ledger.models import Charge, Entry, Line, Mark, Seal

_ENTRY = (
    "seq", "place", "kind", "happened_on", "utc_offset_min", "by", "reason", "amends_id",
    "takes_back", "particulars", "fingerprint", "uuid",
)  # fmt: skip


# What a lot is stands with every line about it, so that a changed lot breaks the chain as well.
_LINE = (
    "lot_id", "role", *NUMBERS, "returns_id",
    "lot__code", "lot__item_id", "lot__item__alike", "lot__made_by_id", "lot__unit_mass_mg",
    "lot__part_of_id",
)  # fmt: skip
# What each part of an entry's facts states, in this order; part of every digest.
COLUMNS = {
    "entry": _ENTRY,
    "times": ("happened_at", "recorded_at"),
    "lines": _LINE,
    "charges": ("kind", "amount", "quantity_milli", "rate", "lot_id"),
    "marks": ("lot_id", "held"),
}
Facts: TypeAlias = dict[str, list[object]]
_CHUNK = 500


def next_digest(entry: Entry) -> str:
    """Seal an entry just written, whose lines, charges and marks stand in the database."""
    return digest(head_digest(), entry)


def head_digest() -> str:
    """Return the last entry's digest, which covers the whole book; '' while there is none."""
    last = Seal.objects.order_by("-entry_id").values_list("digest", flat=True).first()
    return last or ""


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
    for seq, stated, facts in sealed_facts():
        if stated != _digest(before, facts):
            yield seq
        before = stated


def sealed_facts() -> Iterator[tuple[int, str, Facts]]:
    """Read every entry in order: number, digest ('' where missing), and what that covers."""
    entries = Entry.objects.order_by("seq").select_related("seal").iterator(chunk_size=_CHUNK)
    while chunk := list(islice(entries, _CHUNK)):
        facts = _facts_of(chunk)
        for entry in chunk:
            seal = getattr(entry, "seal", None)
            yield entry.seq, seal.digest if seal else "", facts[entry.seq]


def _digest(before: str, facts: Facts) -> str:
    return hashlib.sha256((before + canonical(facts)).encode()).hexdigest()


def _facts_of(entries: Sequence[Entry]) -> dict[int, Facts]:
    """Read what seals cover of some entries; three queries."""
    facts: dict[int, Facts] = {
        entry.seq: {
            "entry": [getattr(entry, name) for name in _ENTRY],
            "times": [getattr(entry, name).timestamp() for name in COLUMNS["times"]],
            "lines": [],
            "charges": [],
            "marks": [],
        }
        for entry in entries
    }
    for name, ask in _STATED.items():
        for seq, *row in ask(facts):
            facts[seq][name].append(row)
    return facts


def _stated(name: str, rows: "QuerySet[Any]") -> AskedOften:
    columns = ("entry_id", *COLUMNS[name])
    ordered = rows.order_by("pk").values_list(*columns)
    return AskedOften(lambda entries: ordered.filter(entry__in=entries))


_STATED = {
    "lines": _stated("lines", Line.objects.all()),
    "charges": _stated("charges", Charge.objects.all()),
    "marks": _stated("marks", Mark.objects.all()),
}
