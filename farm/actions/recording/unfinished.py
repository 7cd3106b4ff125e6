"""Forms that the book refused: kept whole, tried again when a lot changes, never lost.

A page that gets a ``Refused`` keeps the form; after each fresh action it fetches what waits for
the lots it touched, sends each through its action once more, and says which were accepted.
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from farm.actions.common import Doing
from farm.models import Person
from ledger import waiting
from ledger.drafts import canonical
from ledger.errors import Malformed, Refused
from ledger.models import Lot, Waiting


@dataclass(frozen=True)
class Kept:
    """A refused form: ``name`` of its action's page, ``data`` as it was sent, ``by`` a person."""

    uuid: UUID
    name: str
    data: dict[str, list[str]]
    by: int
    refusal: str
    kept_at: datetime


def keep(name: str, doing: Doing, data: Mapping[str, Sequence[str]], *, refusal: Refused) -> None:
    """Keep a refused form instead of an earlier one of the same UUID.

    To be called after the refused action has ended, so that its transaction takes nothing along.
    """
    waiting.keep(
        doing.uuid,
        name,
        canonical({field: list(values) for field, values in data.items()}),
        refusal=str(refusal),
        lots=refusal.lots,
        by=doing.by.pk,
    )


def set_aside(
    name: str, data: Mapping[str, Sequence[str]], *, uuid: UUID, by: Person, why: str
) -> None:
    """Keep a form that somebody must answer or mend first; it names no lot to wait for."""
    said = canonical({field: list(values) for field, values in data.items()})
    waiting.keep(uuid, name, said, refusal=why, lots=(), by=by.pk)


def answer_of(uuid: UUID) -> str:
    """What became of a form that was kept under this number and answered; else nothing."""
    return waiting.answer_to(uuid)


def to_retry(lot_ids: Iterable[int]) -> list[Kept]:
    """List what waits for some lots, or for a lot that is not there yet, oldest first."""
    rows = [*waiting.about(lot_ids), *waiting.naming_none()]
    return [_kept(row) for row in sorted(rows, key=lambda row: (row.kept_at, row.pk))]


def still_waiting() -> list[Kept]:
    """List everything that was not answered, oldest first."""
    return [_kept(row) for row in waiting.unanswered()]


def lots_named(uuids: Sequence[UUID]) -> dict[UUID, list[Lot]]:
    """Find the lots that forms wait for, as they are now; one query."""
    named: dict[UUID, list[Lot]] = {}
    for uuid, lot in waiting.lots_of(uuids):
        named.setdefault(uuid, []).append(lot)
    return named


def answered(uuid: UUID, how: str) -> None:
    """Say that a form was accepted, or what became of it."""
    waiting.answer(uuid, how)


def drop(uuid: UUID, reason: str) -> None:
    """Give a form up; the reason stays with it."""
    if not reason.strip():
        raise Malformed("A form is dropped only with a reason. Say why it is not needed.")
    waiting.answer(uuid, f"dropped: {reason}")


def _kept(row: Waiting) -> Kept:
    return Kept(row.uuid, row.kind, json.loads(row.payload), row.by, row.refusal, row.kept_at)
