"""What is on hold, since when, by whom and why, and what only an owner may release."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from farm.models import Person, Role
from farm.queries.stock import held_lots
from farm.queries.tracing.recalls import recalls_by_code
from ledger.models import Edge, Lot, Mark
from ledger.tracing import ancestors


@dataclass(frozen=True)
class Held:
    """A lot on hold, with the entry that put it there. ``owners``: why only an owner releases."""

    lot: Lot
    entry: int
    since: datetime
    by: str
    reason: str
    owners: str


def held_now() -> list[Held]:
    """List lots on hold with something on hand, newest first; eight queries, with all recalls."""
    lots = held_lots()
    owners = owners_alone(lots)
    marks = Mark.objects.filter(lot__in=[lot.pk for lot in lots], held=True)
    standing = marks.standing().order_by("entry_id")
    last = {mark.lot_id: mark for mark in standing.select_related("entry")}
    initials = dict(Person.objects.values_list("pk", "initials"))
    return [_held(lot, last.get(lot.pk), initials, owners=owners.get(lot.pk, "")) for lot in lots]


def _held(lot: Lot, mark: Mark | None, initials: dict[int, str], *, owners: str) -> Held:
    """What is picked from held blocks is on hold from its making, by the pick's own entry."""
    entry = mark.entry if mark else lot.made_by
    born = entry.pk == lot.made_by_id
    reason = "made of a lot on hold" if born else entry.reason
    by = initials.get(entry.by, "")
    return Held(lot, entry.seq, entry.happened_at, by=by, reason=reason, owners=owners)


def owners_alone(lots: Sequence[Lot]) -> dict[int, str]:
    """Say of each lot that only an owner may release why that is: a recall, or an owner's hold.

    What is made of a held lot is as free as that lot: whatever holds it, holds this too.
    """
    behind = _Behind.read(lots)
    recalls = recalls_by_code(lot.code for lot in lots)
    people = Person.objects.filter(role=Role.OWNER).select_related("user")
    owners = {person.pk: str(person) for person in people}
    found = {}
    for lot in lots:
        marks = list(behind.holding(lot.pk))
        numbers = recalls.get(lot.code, ())
        stated = [mark.entry.by for mark in marks if mark.entry_id != mark.lot.made_by_id]
        by = [owners[person] for person in stated if person in owners]
        if numbers:
            found[lot.pk] = f"recall {min(numbers)} lists it"
        elif by:
            found[lot.pk] = f"{by[-1]}, an owner, put it on hold"
    return found


@dataclass(frozen=True)
class _Behind:
    """The standing marks of some lots and of all that is behind them; three queries."""

    marks: dict[int, list[Mark]]
    sources: dict[int, list[int]]

    @classmethod
    def read(cls, lots: Iterable[Lot]) -> "_Behind":
        chain = ancestors(lot.pk for lot in lots)
        marks, sources = defaultdict(list), defaultdict(list)
        standing = Mark.objects.filter(lot__in=chain).standing()
        for mark in standing.select_related("entry", "lot").order_by("pk"):
            marks[mark.lot_id].append(mark)
        for lot, source in Edge.objects.filter(dst__in=chain).values_list("dst_id", "src_id"):
            sources[lot].append(source)
        return cls(marks, sources)

    def holding(self, lot: int, before: int | None = None) -> Iterator[Mark]:
        """Every hold since the last release; of one it was born with, those of its sources too."""
        since: list[Mark] = []
        for mark in self.marks.get(lot, ()):
            if before is None or mark.entry_id < before:
                since = [*since, mark] if mark.held else []
        for mark in since:
            if mark.entry_id == mark.lot.made_by_id:
                for source in self.sources.get(lot, ()):
                    yield from self.holding(source, mark.entry_id)
            yield mark
