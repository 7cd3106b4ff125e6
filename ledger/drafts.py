"""What a caller hands to the book: an entry that has not been accepted yet."""

import hashlib
import json
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime
from typing import Any
from uuid import UUID

from ledger.models import Entry, Item, Line, Lot

NUMBERS = (
    "quantity", "money", "basis", "given_mg", "turn", "pieces", "turn_mg", "later_mg", "worth",
    "planned_loss_ppm", "planned_loss_count", "closes",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class NewLot:
    """A lot to be made by this entry; a count lot states the mass of one piece.

    ``part_of``: the lot that it is split off, used by the same entry.
    """

    item: Item
    unit_mass_mg: int | None = None
    part_of: Lot | None = None


@dataclass(frozen=True, slots=True)
class LineDraft:
    """One line: signed quantity, and what the working needs to know (see ``models.Line``)."""

    lot: Lot | NewLot
    role: str
    quantity: int
    money: int = 0
    basis: int = 0
    given_mg: int = 0
    turn: int = 0
    pieces: int = 0
    turn_mg: int = 0
    later_mg: int = 0
    worth: int = 0
    planned_loss_ppm: int = 0
    planned_loss_count: int = 0
    closes: int = 0
    returns: Line | None = None

    def numbers(self) -> dict[str, int]:
        return {name: getattr(self, name) for name in NUMBERS}


@dataclass(frozen=True, slots=True)
class ChargeDraft:
    """Labour, energy or room time: ``amount`` money; thousandths of a unit at a rate.

    ``lot``: the lot that it falls on, instead of on what the entry makes.
    """

    kind: str
    amount: int
    quantity_milli: int = 0
    rate: int = 0
    lot: Lot | None = None


@dataclass(frozen=True, slots=True)
class MarkDraft:
    """Put a lot on hold (True) or release it (False)."""

    lot: Lot
    held: bool


@dataclass(frozen=True, slots=True)
class Draft:
    """One thing that happened, to be recorded; ``happened_on`` is the local date there.

    The offset of ``happened_at`` from UTC is kept with it.
    """

    kind: str
    happened_at: datetime
    happened_on: date
    by: int
    uuid: UUID
    lines: tuple[LineDraft, ...] = ()
    charges: tuple[ChargeDraft, ...] = ()
    marks: tuple[MarkDraft, ...] = ()
    reason: str = ""
    particulars: dict[str, Any] = field(default_factory=dict)

    def but(self, **changed: Any) -> "Draft":
        return replace(self, **changed)


def canonical(data: object) -> str:
    """Write JSON in the one way that the seals and fingerprints rely on."""
    return json.dumps(data, sort_keys=True, separators=(",", ":"), ensure_ascii=False, default=str)


def fingerprint(draft: Draft, amends: Entry | None, takes_back: bool) -> str:
    """Digest what a submission says, so that a repeated UUID can be told from a conflict."""
    at = draft.happened_at.astimezone(UTC).isoformat()
    content = {
        "head": [draft.kind, at, draft.happened_on, draft.by],
        "reason": draft.reason,
        "amends": amends.seq if amends else None,
        "takes_back": takes_back,
        "lines": [
            [_lot_key(line.lot), line.role, line.numbers(), line.returns and line.returns.pk]
            for line in draft.lines
        ],
        "charges": [
            [c.kind, c.amount, c.quantity_milli, c.rate, c.lot and c.lot.pk] for c in draft.charges
        ],
        "marks": [[mark.lot.pk, mark.held] for mark in draft.marks],
        "particulars": draft.particulars,
    }
    return hashlib.sha256(canonical(content).encode()).hexdigest()


def _lot_key(lot: Lot | NewLot) -> list[Any]:
    if isinstance(lot, NewLot):
        return ["new", lot.item.pk, lot.unit_mass_mg, lot.part_of and lot.part_of.pk]
    return ["lot", lot.pk]
