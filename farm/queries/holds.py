"""What is on hold, since when, by whom and why."""

from dataclasses import dataclass
from datetime import datetime

from farm.models import Person
from farm.queries.stock import held_lots
from ledger.models import Lot, Mark


@dataclass(frozen=True)
class Held:
    """A lot on hold, with the entry that put it there."""

    lot: Lot
    entry: int
    since: datetime
    by: str
    reason: str


def held_now() -> list[Held]:
    """List lots on hold with something on hand, newest first; four queries."""
    lots = held_lots()
    marks = Mark.objects.filter(lot__in=[lot.pk for lot in lots], held=True)
    standing = marks.exclude(entry__amendments__takes_back=True).order_by("entry_id")
    last = {mark.lot_id: mark for mark in standing.select_related("entry")}
    initials = dict(Person.objects.values_list("pk", "initials"))
    return [_held(lot, last.get(lot.pk), initials) for lot in lots]


def _held(lot: Lot, mark: Mark | None, initials: dict[int, str]) -> Held:
    """What is picked from held blocks is on hold from its making, by the pick's own entry."""
    entry = mark.entry if mark else lot.made_by
    born = entry.pk == lot.made_by_id
    reason = "made of a lot on hold" if born else entry.reason
    return Held(lot, entry.seq, entry.happened_at, by=initials.get(entry.by, ""), reason=reason)
