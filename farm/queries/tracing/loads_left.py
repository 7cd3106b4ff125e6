"""What was loaded for a stall and not wholly brought back: a recall takes each such lot as sold."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Q

from farm.kinds.selling import Settling
from farm.models import GivenAway, LoadLine, Sale
from farm.queries.finding import Amount, amount_in
from ledger.models import Flow, Lot, Role


@dataclass(frozen=True)
class Loaded:
    """A lot that was loaded for a stall and not wholly brought back, as far as is known.

    A sale by product is put on the oldest lots, so each lot loaded may have been sold that day.
    What was given away there did not come back.
    """

    entry: int
    day: date
    recorded_at: datetime
    place: str
    lot_code: str
    name: str
    loaded: Amount
    sold: Amount
    given: Amount
    settled: bool


def loads_left(
    lots: Mapping[int, Lot], loaded: Sequence[LoadLine], settled: Mapping[int, Sale]
) -> tuple[Loaded, ...]:
    """List loads of the lots of which not all came back, as far as is known; one query.

    ``settled``: by stall day, the standing sale that settled it.
    """
    days = {line.stall_day_id for line in loaded}
    sales = {day: sale for day, sale in settled.items() if day in days}
    gone = _gone(sales.values())
    loads = []
    for line in loaded:
        sale, lot = sales.get(line.stall_day_id), lots[line.lot_id]
        if sale and not gone.may_hold(sale.entry_id, lot):
            continue  # wholly brought back
        sold = gone.sold[sale.entry_id, lot.pk] if sale else 0
        left = gone.left[sale.entry_id, lot.pk] if sale else 0
        loads.append(
            Loaded(
                entry=line.stall_day.entry_id,
                day=line.stall_day.day,
                recorded_at=line.stall_day.entry.recorded_at,
                place=line.stall_day.place.name,
                lot_code=lot.code,
                name=lot.item.name,
                loaded=amount_in(lot, line.quantity),
                sold=amount_in(lot, sold),
                given=amount_in(lot, left - sold),
                settled=sale is not None,
            )
        )
    return tuple(loads)


@dataclass(frozen=True)
class _Gone:
    """What left stalls, by the entry that settled the day: ``sold`` and given away, of each lot.

    ``together``: codes of the lots whose return was counted together; ``some``: (entry, item) where
    some of these left.
    """

    sold: Mapping[tuple[int, int], int]
    left: Mapping[tuple[int, int], int]
    together: Mapping[int, frozenset[str]]
    some: frozenset[tuple[int, int]]

    def may_hold(self, entry: int, lot: Lot) -> bool:
        """Say whether some of a loaded lot may have left.

        Of lots whose return was counted together any may be the one sold, whichever it was put on.
        """
        alike = lot.code in self.together[entry] and (entry, lot.item_id) in self.some
        return alike or bool(self.left[entry, lot.pk])


def _gone(sales: Iterable[Sale]) -> _Gone:
    """Add up what left at some settlings; one query."""
    entries, together = {}, {}
    for sale in sales:
        entries[sale.pk] = sale.entry_id
        said = Settling.read(sale.entry.particulars).counted_together or []
        together[sale.entry_id] = frozenset(said)
    given = GivenAway.objects.filter(sale__in=entries).values("entry")
    flows = Flow.objects.filter(
        Q(role=Role.SOLD, entry__in=entries.values()) | Q(role=Role.LOST, entry__in=given)
    )
    sold: dict[tuple[int, int], int] = defaultdict(int)
    left: dict[tuple[int, int], int] = defaultdict(int)
    some = set()
    rows = flows.values_list(
        "role",
        "entry_id",
        "entry__given_away__sale",
        "lot_id",
        "quantity",
        "lot__code",
        "lot__item_id",
    )
    for role, at, sale_pk, lot, quantity, code, item in rows:
        entry = at if role == Role.SOLD else entries[sale_pk]
        sold[entry, lot] -= quantity if role == Role.SOLD else 0
        left[entry, lot] -= quantity
        if quantity and code in together[entry]:
            some.add((entry, item))
    return _Gone(sold, left, together, frozenset(some))
