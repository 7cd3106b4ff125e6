"""Practise a trace: pick a sold lot, time the lists, answer what is missing, sign."""

from dataclasses import dataclass

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from farm.actions.common import Doing
from farm.models import Drill, DrillSignature, Farm
from farm.queries.tracing.drills import drilled
from ledger.drafts import canonical
from ledger.errors import Malformed
from ledger.models import Lot


@dataclass(frozen=True)
class Signed:
    """What a drill's signer states: initials, one answer to each question, what was learnt."""

    initials: str
    answers: tuple[str, ...]
    lessons: str = ""


@transaction.atomic
def start_drill(doing: Doing, lot: Lot, *, by_chance: bool) -> Drill:
    """Trace a sold lot both ways and keep the lists with the time that they took.

    The clock starts when the lot is named (``doing.happened_at``) and stops with the signature.
    """
    Farm.objects.select_for_update().get()
    known = Drill.objects.filter(uuid=doing.uuid).first()
    if known:
        return known
    frozen = canonical(drilled(lot))
    last = Drill.objects.aggregate(last=Max("number"))["last"] or 0
    return Drill.objects.create(
        number=last + 1,
        started_at=doing.happened_at,
        traced_at=timezone.now(),
        by=doing.by,
        uuid=doing.uuid,
        lot=lot,
        picked_by_chance=by_chance,
        frozen=frozen,
    )


@transaction.atomic
def sign_drill(doing: Doing, drill: Drill, *, missing: int, signed: Signed) -> DrillSignature:
    """Sign a drill once; every question about what is missing (so many) is answered.

    The initials typed must be the signer's own. Signed twice, the first signature stands.
    """
    Farm.objects.select_for_update().get()
    known = DrillSignature.objects.filter(drill=drill).first()
    if known:
        return known
    if signed.initials.strip().upper() != doing.by.initials.upper():
        raise Malformed(
            f"“{signed.initials.strip()}” are not your initials. Each person signs in and signs "
            "for themselves."
        )
    if len(signed.answers) != missing or not all(answer.strip() for answer in signed.answers):
        raise Malformed(
            f"Drill {drill.number} asks {missing} questions about what is missing. Answer each, "
            "if only with “not known”."
        )
    return DrillSignature.objects.create(
        drill=drill,
        signed_at=doing.happened_at,
        by=doing.by,
        initials=doing.by.initials,
        answers=canonical([answer.strip() for answer in signed.answers]),
        lessons=signed.lessons.strip(),
    )
