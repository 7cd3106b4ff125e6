"""Keep a record, correct it, sign it a second time, erase its private words."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from farm.actions.signing import Signed, one_at_a_time
from farm.models import Person, PrivateWords, Record, Review, Role, Room, the_farm
from farm.records import BY_SLUG, STORE, RecordKind
from ledger.drafts import canonical
from ledger.errors import Conflict, Malformed
from ledger.models import Lot

LIMITS = ("high_milli_c", "low_milli_c")


@dataclass(frozen=True, kw_only=True)
class Stated:
    """What a record says; ``uuid`` is made by the form, so that sending it twice has one effect."""

    kind: RecordKind
    happened_at: datetime
    uuid: UUID
    values: Mapping[str, Any] = field(default_factory=dict)
    room: Room | None = None
    lot: Lot | None = None
    note: str = ""


@transaction.atomic
def keep_record(signed: Signed, stated: Stated, *, corrects: Record | None = None) -> Record:
    """Keep a record; one that corrects another needs a note that says why."""
    one_at_a_time(signed)
    known = Record.objects.filter(uuid=stated.uuid).first()
    stated = _complete(stated)
    if known is not None:
        return _same(known, signed, stated)
    _check(stated)
    if corrects is not None:
        _may_correct(corrects, stated)
    said = canonical(dict(stated.values))
    record = Record.objects.create(
        kind=stated.kind.slug,
        happened_at=stated.happened_at,
        happened_on=stated.happened_at.astimezone(the_farm().zone).date(),
        recorded_at=timezone.now(),
        by=signed.by,
        initials=signed.by.initials,
        typed_by=signed.typed_by,
        uuid=stated.uuid,
        room=stated.room,
        lot=stated.lot,
        said="{}" if stated.kind.erasable else said,
        note=stated.note,
        corrects=corrects,
    )
    if stated.kind.erasable:
        PrivateWords.objects.create(record=record, said=said)
    return record


@transaction.atomic
def review(record: Record, by: Person) -> Review:
    """Sign a record a second time; refuses the doer, and anybody who answers for nothing.

    21 CFR 112.161(b): reviewed, dated and signed within a reasonable time by a supervisor or
    responsible party. An owner is one.
    """
    if not BY_SLUG[record.kind].review:
        raise Malformed(f"{record} needs no second signature. Leave it as it is.")
    if by.role != Role.OWNER:
        raise Malformed(f"{record} is reviewed by an owner, who answers for the farm. Ask one.")
    if by.pk == record.by_id:
        raise Malformed(
            f"{record} was done by {by.initials}. Another owner must look it through; add one "
            "under Farm details, people, if there is none."
        )
    if Record.objects.filter(corrects=record).exists():
        raise Malformed(f"{record} was corrected. Look through the record that corrects it.")
    made, _ = Review.objects.get_or_create(
        record=record,
        defaults={"by": by, "initials": by.initials, "reviewed_at": timezone.now()},
    )
    return made


@transaction.atomic
def erase_private(record: Record, by: Person) -> PrivateWords:
    """Erase what a private record says; its number, time and signature stay."""
    if by.role != Role.OWNER:
        raise Malformed(f"Only an owner erases what {record} says. Ask one.")
    words = PrivateWords.objects.filter(record=record).first()
    if words is None:
        raise Malformed(f"{record} has no private words; it is kept as it is.")
    if words.erased_at is None:
        words.said, words.erased_at, words.erased_by = "{}", timezone.now(), by
        words.save()
    return words


def _complete(stated: Stated) -> Stated:
    """Copy a store's limits from its last reading where none are stated, so each row has its own.

    Both are copied or none: a new upper limit alone means that there is no lower one.
    """
    if stated.kind.slug != STORE or stated.values.get(LIMITS[0]) is not None:
        return stated
    rows = Record.objects.filter(kind=STORE, room=stated.room, corrected_by=None)
    last = rows.filter(happened_at__lte=stated.happened_at).exclude(uuid=stated.uuid).first()
    if last is None:
        raise Malformed(
            f"{stated.room or 'This store'} has no reading before. State the farm's own limit."
        )
    limits = {name: json.loads(last.said).get(name) for name in LIMITS}
    typed = {name: value for name, value in stated.values.items() if value is not None}
    return replace(stated, values={**limits, **typed})


def _check(stated: Stated) -> None:
    kind = stated.kind
    asked = [one for one in kind.fields if one.required]
    missing = [one.label for one in asked if stated.values.get(one.name) in ("", None)]
    if missing:
        raise Malformed(f"{kind.title}: {', '.join(missing)} missing. State it.")
    if kind.slug == STORE and stated.room is None:
        raise Malformed("Store temperature: state which fridge or room.")
    if kind.check:
        kind.check(stated.values)


def _may_correct(corrects: Record, stated: Stated) -> None:
    if corrects.kind != stated.kind.slug:
        raise Malformed(f"{corrects} is of another kind. Correct it with its own form.")
    if not stated.note.strip():
        raise Malformed(f"{corrects} stays, struck through. Say in the note why it was wrong.")
    later = Record.objects.filter(corrects=corrects).first()
    if later is not None:
        raise Malformed(f"{corrects} was corrected by {later} already. Correct that one.")


def _same(known: Record, signed: Signed, stated: Stated) -> Record:
    """Return the record that this form made before; refuse other words under its number."""
    private = PrivateWords.objects.filter(record=known).first()
    said = private.said if private else known.said
    was = (known.kind, known.happened_at, known.by_id, said, known.room_id, known.note)
    room = stated.room.pk if stated.room else None
    now = (
        stated.kind.slug,
        stated.happened_at,
        signed.by.pk,
        canonical(dict(stated.values)),
        room,
        stated.note,
    )
    if was != now:
        raise Conflict(
            f"This form was sent before with other content, as {known}. Correct that record, or "
            "fill in a new form."
        )
    return known
