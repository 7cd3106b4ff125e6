"""Records as they were kept and as they stand; what waits for a second signature; what is missing.

A record that was corrected no longer stands; it is listed all the same, struck through.
"""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import Count, Max, Min, Q, QuerySet

from farm.models import PrivateWords, Record, Review, Room
from farm.records import KINDS, OPEN_KINDS, REVIEWED, RecordKind

ONE_DAY = timedelta(days=1)
NOT_REVIEWED = Q(kind__in=REVIEWED, review=None, corrected_by=None)


@dataclass(frozen=True)
class Gap:
    """Days, both ends included, on which a room has no record that is due daily."""

    kind: RecordKind
    room: Room
    first: date
    last: date


@dataclass(frozen=True)
class KindSummary:
    kind: RecordKind
    count: int
    last: date | None
    to_review: int


def records(**lookup: Any) -> QuerySet[Record]:
    """Every record with what a row shows of it; newest first."""
    return Record.objects.select_related(
        "by", "typed_by", "room", "lot", "corrects", "corrected_by", "review", "private_words"
    ).filter(**lookup)


def review_of(record: Record) -> Review | None:
    return getattr(record, "review", None)


def correction_of(record: Record) -> Record | None:
    return getattr(record, "corrected_by", None)


def private_of(record: Record) -> PrivateWords | None:
    return getattr(record, "private_words", None)


def values_of(record: Record) -> Mapping[str, Any]:
    """What a record says; of one whose words were erased, nothing."""
    private = private_of(record)
    values: Mapping[str, Any] = json.loads(private.said if private else record.said)
    return values


def summaries(rows: QuerySet[Record], *, sees_illness: bool) -> list[KindSummary]:
    """Count some records by their kind, illness notes only for who may see them; two queries."""
    counts = rows.order_by().values_list("kind").annotate(Count("pk"), Max("happened_on"))
    counted = {slug: (count, last) for slug, count, last in counts}
    waits = rows.filter(NOT_REVIEWED).order_by().values_list("kind").annotate(Count("pk"))
    waiting: dict[str, int] = dict(waits)
    return [
        KindSummary(kind, *counted.get(kind.slug, (0, None)), waiting.get(kind.slug, 0))
        for kind in (KINDS if sees_illness else OPEN_KINDS)
    ]


def to_review() -> QuerySet[Record]:
    """Records that stand and wait for their second signature."""
    return records().filter(NOT_REVIEWED)


def missing_days(first: date, last: date, *, today: date) -> list[Gap]:
    """Find the days without a record that is due daily, from a room's first one on.

    Two queries a kind. Days to come are not missing.
    """
    found: list[Gap] = []
    for kind in (kind for kind in KINDS if kind.a_day):
        rows = Record.objects.filter(kind=kind.slug, corrected_by=None).order_by()
        begun = dict(rows.values_list("room").annotate(Min("happened_on")))
        spanned = rows.filter(happened_on__range=(first, last))
        there = set(spanned.values_list("room", "happened_on"))
        for room in Room.objects.filter(pk__in=begun):
            days = _days(max(first, begun[room.pk]), min(last, today))
            missing = [day for day in days if (room.pk, day) not in there]
            found += [Gap(kind, room, *stretch) for stretch in _stretches(missing)]
    return found


def _days(first: date, last: date) -> list[date]:
    return [first + ONE_DAY * at for at in range((last - first).days + 1)]


def _stretches(days: Iterable[date]) -> list[tuple[date, date]]:
    """Join days that follow each other: 3, 4, 5 and 9 May are two stretches."""
    joined: list[tuple[date, date]] = []
    for day in days:
        if joined and joined[-1][1] + ONE_DAY == day:
            joined[-1] = (joined[-1][0], day)
        else:
            joined.append((day, day))
    return joined
