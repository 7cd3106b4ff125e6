"""What the day's paperwork still lacks: readings that are due so often a day, beside those there.

Nothing is ever filled in here: a reading that was not taken stays a gap, and is named as one.
"""

from collections import Counter
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Min, QuerySet

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
    """Count what is due daily, today and on the seven days before; two queries.

    A room is asked for from its first reading on: what was never begun is not missing.
    """
    kinds = {kind.slug: kind for kind in KINDS if kind.a_day}
    rows = _standing().filter(kind__in=kinds, room__isnull=False)
    begun = rows.values_list("kind", "room", "room__name").annotate(Min("happened_on"))
    week = rows.filter(happened_on__range=(today - timedelta(days=DAYS_BACK), today))
    there = Counter(week.values_list("kind", "room", "happened_on"))

    def counted(kind: RecordKind, room: int, day: date) -> Count:
        return Count(day, there[kind.slug, room, day], kind.a_day)

    return [
        DailyPaper(
            kinds[slug],
            room,
            name,
            counted(kinds[slug], room, today),
            tuple(
                count
                for count in (counted(kinds[slug], room, day) for day in _before(today, first))
                if count.there < count.due
            ),
        )
        for slug, room, name, first in begun.order_by("kind", "room__name")
    ]


def _standing() -> QuerySet[Record]:
    """Records that were not corrected; those that correct them stand in their place."""
    return Record.objects.filter(corrected_by=None).order_by()


def _before(today: date, first: date) -> list[date]:
    """The days before today, the latest first, from a room's first reading on."""
    days = [today - timedelta(days=back) for back in range(1, DAYS_BACK + 1)]
    return [day for day in days if day >= first]
