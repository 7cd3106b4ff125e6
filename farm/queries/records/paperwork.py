"""What the day's paperwork still lacks: readings that are due so often a day, beside those there.

Nothing is ever filled in here: a reading that was not taken stays a gap, and is named as one.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db import models

from farm.models import Record
from farm.records import KINDS, RecordKind

# How many days before today are looked through on the home page; the binder looks at all.
DAYS_BACK = 7


@dataclass(frozen=True)
class Count:
    """How many readings there are of those due on a day."""

    day: date
    there: int
    due: int


@dataclass(frozen=True)
class DailyPaper:
    """One kind of reading in one room: today's count, and the days before that fell short."""

    kind: RecordKind
    room_id: int
    room: str
    today: Count
    short: tuple[Count, ...]

    @property
    def to_come(self) -> int:
        return max(0, self.today.due - self.today.there)


def daily_papers(today: date) -> list[DailyPaper]:
    """Count what is due daily, today and on the seven days before; one query.

    A room is asked for from its first reading on: what was never begun is not missing.
    """
    kinds = {kind.slug: kind for kind in KINDS if kind.a_day}
    rows = _standing().filter(kind__in=kinds, room__isnull=False).values("kind", "room")
    days = [today - timedelta(days=back) for back in range(DAYS_BACK + 1)]
    counted = rows.annotate(
        name=models.F("room__name"),
        begun=models.Min("happened_on"),
        **{_on(day): models.Count("pk", filter=models.Q(happened_on=day)) for day in days},
    )
    return [_paper(kinds[row["kind"]], row, days) for row in counted.order_by("kind", "name")]


def _paper(kind: RecordKind, row: Mapping[str, Any], days: Sequence[date]) -> DailyPaper:
    """Word one room's counts; ``days``: today, then those before it, the latest first."""
    now, *before = [Count(day, row[_on(day)], kind.a_day) for day in days]
    short = [count for count in before if count.day >= row["begun"] and count.there < count.due]
    return DailyPaper(kind, row["room"], row["name"], now, tuple(short))


def _on(day: date) -> str:
    return f"on_{day:%Y_%m_%d}"


def _standing() -> models.QuerySet[Record]:
    """Records that were not corrected; those that correct them stand in their place."""
    return Record.objects.filter(corrected_by=None).order_by()
