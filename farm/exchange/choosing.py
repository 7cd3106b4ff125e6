"""Which entries an export tells of: those of a span of days, or those of a trace."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Q, QuerySet

from ledger.models import Entry, Line, Lot, Mark, Role
from ledger.tracing import ancestors, descendants

# The places of entries, for the database to look up.
Places = QuerySet[Entry, Any]

# What makes or treats a lot. What else was made of a source, or sold of it, is another trace.
_MADE_OR_TREATED = (Role.BOUGHT, Role.MADE, Role.COUNTED)


@dataclass(frozen=True)
class Asked:
    """What an export is asked for: entries, in a trace only as far as about ``lots``; in words."""

    entries: QuerySet[Entry]
    lots: frozenset[int] | None
    words: str

    @property
    def places(self) -> Places:
        return places_of(self.entries)

    def is_about(self, lot_id: int) -> bool:
        return self.lots is None or lot_id in self.lots


def places_of(entries: QuerySet[Entry]) -> Places:
    """Where some entries stand: corrections stand at the place of what they correct."""
    return entries.order_by().values("place")


def asked_between(first: date | None, last: date | None) -> Asked:
    """Ask for some days, both ends included, by the farm's local date; None is open."""
    entries = Entry.objects.all()
    if first:
        entries = entries.filter(happened_on__gte=first)
    if last:
        entries = entries.filter(happened_on__lte=last)
    words = f"from {first or 'the beginning'} to {last or 'the end'}"
    return Asked(entries, None, words)


def asked_of_lots(lots: Iterable[Lot]) -> Asked:
    """Ask for a trace both ways: what made and treated the lots behind, all of the lots after."""
    lots = list(lots)
    ids = [lot.pk for lot in lots]
    after = descendants(ids)
    traced = after | ancestors(ids)
    lines = Line.objects.filter(Q(lot__in=after) | Q(lot__in=traced, role__in=_MADE_OR_TREATED))
    marks = Mark.objects.filter(lot__in=traced)
    entries = Entry.objects.filter(
        Q(seq__in=lines.values("entry")) | Q(seq__in=marks.values("entry"))
    )
    words = f"the trace of {', '.join(lot.code for lot in lots)}, both ways"
    return Asked(entries, frozenset(traced), words)
