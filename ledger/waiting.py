"""Submissions that the book refused: kept whole outside it until they are answered.

The payload is the caller's own; the book stores it and does not read it.
"""

from collections.abc import Iterable
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.db.models import Prefetch, QuerySet
from django.utils import timezone

from ledger.models import Lot, Waiting


@transaction.atomic
def keep(
    uuid: UUID, kind: str, payload: str, *, refusal: str, lots: Iterable[str], by: int
) -> None:
    """Keep a refused submission, instead of an earlier form of the same UUID."""
    unanswered().filter(uuid=uuid).update(
        answer="sent again with other content", answered_at=timezone.now()
    )
    row = Waiting.objects.create(
        uuid=uuid, kind=kind, payload=payload, refusal=refusal[:600], by=by, kept_at=timezone.now()
    )
    row.lots.set(Lot.objects.filter(code__in=list(lots)))


def unanswered() -> QuerySet[Waiting]:
    """Everything that still waits, oldest first."""
    return Waiting.objects.filter(answered_at=None).order_by("kept_at", "pk")


def first_kept(uuid: UUID) -> datetime | None:
    """When a submission was first kept under a UUID, answered since or not."""
    rows = Waiting.objects.filter(uuid=uuid).order_by("pk")
    return rows.values_list("kept_at", flat=True).first()


def about(lot_ids: Iterable[int]) -> QuerySet[Waiting]:
    """What waits for some lots: to be tried again when they change, and counted in a recall."""
    return unanswered().filter(lots__in=list(lot_ids)).distinct()


def naming_none() -> QuerySet[Waiting]:
    """What waits for a lot that is not there yet: to be tried again with every entry."""
    return unanswered().filter(lots=None)


def lots_of(uuids: Iterable[UUID]) -> list[tuple[UUID, Lot]]:
    """Which lots wait for which submissions, each lot as it is now, by code."""
    rows = (
        unanswered()
        .filter(uuid__in=list(uuids))
        .prefetch_related(Prefetch("lots", Lot.objects.select_related("item").order_by("code")))
    )
    return [(row.uuid, lot) for row in rows for lot in row.lots.all()]


def answer(uuid: UUID, how: str) -> int:
    """Answer what waits under a UUID: it was accepted, or dropped with a reason."""
    return unanswered().filter(uuid=uuid).update(answer=how[:300], answered_at=timezone.now())


def answer_to(uuid: UUID) -> str:
    """Say how what waited under a UUID was answered last; else nothing."""
    rows = Waiting.objects.filter(uuid=uuid).order_by("-pk")
    return rows.values_list("answer", flat=True).first() or ""
