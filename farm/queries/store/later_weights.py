"""What the scale, or a count, said of a lot after an entry: held against a correction of it."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from django.db.models import Sum

from farm.kinds.store import WEIGH_AGAIN, Weighing
from farm.models import StockCountLine
from farm.queries.store.counts import Verdict, standing_answer, verdict_of
from ledger.balances import held_at
from ledger.models import Entry, Line, Lot


@dataclass(frozen=True)
class Stated:
    """What was found of a lot, and what the book says for that moment, as it stands now."""

    where: str
    day: date
    found: int
    book: int

    def is_worse_by(self, change: int, slack: int) -> bool:
        """Say whether a change of the book leads away from what was found, beyond the scale."""
        now, then = abs(self.book - self.found), abs(self.book + change - self.found)
        return then > max(now, slack)


def stated_later(lot: Lot, entry: Entry) -> list[Stated]:
    """What was weighed or counted of a lot after an entry, oldest first; three queries.

    A count whose difference was left open says nothing: nobody knows which of the two was right.
    """
    found = [*_weighings(lot, entry), *_counts(lot, entry)]
    return sorted(found, key=lambda one: one.day)


def _weighings(lot: Lot, entry: Entry) -> Iterator[Stated]:
    """A weighing states a weight, and its corrections have moved it since."""
    weighed = Entry.objects.filter(
        lines__lot=lot,
        kind=WEIGH_AGAIN,
        amends=None,
        seq__gt=entry.place,
        happened_at__gte=entry.happened_at,
    ).standing()
    for one in weighed.distinct().order_by("seq"):
        lines = Line.objects.filter(lot=lot)
        moved = lines.filter(entry__amends=one).aggregate(sum=Sum("quantity"))["sum"] or 0
        book = lines.filter(entry__place__lte=one.seq).aggregate(sum=Sum("quantity"))["sum"] or 0
        weight_mg = Weighing.read(one.particulars).weight_mg
        yield Stated(f"entry {one.seq}", one.happened_on, weight_mg + moved, book)


def _counts(lot: Lot, entry: Entry) -> Iterator[Stated]:
    lines = StockCountLine.objects.filter(
        lot=lot, count__happened_at__gte=entry.happened_at, count__recorded_at__gt=entry.recorded_at
    ).exclude(found=None)
    related = lines.select_related("count", "lot__item").prefetch_related(
        "answers__entry__amendments"
    )
    for line in related.order_by("count__happened_at", "pk"):
        answer = standing_answer(line)
        if verdict_of(line) is Verdict.AGREES or (answer and answer.entry_id):
            then = held_at(line.count.happened_at, [lot.pk])[lot.pk]
            assert line.found is not None, "what was not counted is left out"
            yield Stated(str(line.count), line.count.happened_on, line.found, then)
