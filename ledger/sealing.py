"""The hash chain over the facts, in the order of entries.

Each digest is SHA-256 of the digest before it and the entry's facts in canonical JSON, particulars
included, so a changed, missing or added fact breaks the chain at its entry. A chain proves only
its own consistency: to anchor it, keep a printed digest outside the database.
"""

import hashlib
from collections.abc import Iterator

from ledger.drafts import NUMBERS, canonical
from ledger.models import Charge, Entry, Line, Lot, Mark, Seal

_ENTRY = (
    "seq", "place", "kind", "happened_on", "by", "reason", "amends_id", "takes_back",
    "particulars", "fingerprint",
)  # fmt: skip


def next_digest(entry: Entry) -> str:
    """Seal an entry just written, whose lines, charges and marks stand in the database."""
    before = Seal.objects.filter(entry__lt=entry.seq).order_by("-entry_id").first()
    return digest(before.digest if before else "", entry)


def digest(before: str, entry: Entry) -> str:
    text = before + canonical(_facts(entry))
    return hashlib.sha256(text.encode()).hexdigest()


def broken_seals() -> Iterator[int]:
    """Name the entries, in order, whose seal does not hold or is missing."""
    before = ""
    for entry in Entry.objects.order_by("seq").select_related("seal").iterator(chunk_size=500):
        seal = getattr(entry, "seal", None)
        if seal is None or seal.digest != digest(before, entry):
            yield entry.seq
        before = seal.digest if seal else ""


def _facts(entry: Entry) -> dict[str, object]:
    lines = Line.objects.filter(entry=entry).order_by("pk")
    return {
        "entry": [getattr(entry, name) for name in _ENTRY],
        "uuid": str(entry.uuid),
        "times": [entry.happened_at.timestamp(), entry.recorded_at.timestamp()],
        "lots": list(
            Lot.objects.filter(lines__entry=entry)
            .distinct()
            .order_by("pk")
            .values_list("code", "item_id", "made_by_id", "unit_mass_mg")
        ),
        "lines": list(lines.values_list("lot_id", "role", *NUMBERS, "returns_id")),
        "charges": list(
            Charge.objects.filter(entry=entry)
            .order_by("pk")
            .values_list("kind", "amount", "quantity_milli", "rate")
        ),
        "marks": list(
            Mark.objects.filter(entry=entry).order_by("pk").values_list("lot_id", "held")
        ),
    }
