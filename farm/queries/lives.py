"""Since when lots live and what was done to them last, also before a check split them off."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from django.db.models import Max, QuerySet

from ledger.models import Line, Lot

Days = Mapping[tuple[int, str], date]


@dataclass(frozen=True)
class Lives:
    """``begun``: by lot, when it was made, or the first lot that it was split off.

    ``last``: the last day on which a standing entry of each kind touched each lot.
    """

    begun: Mapping[int, date]
    last: Days


class _Whole(NamedTuple):
    """A lot that others were split off: what it was split off itself, by which entry, when."""

    part_of: int | None
    made_by: int
    made_on: date


def lives_of(lots: Collection[Lot], kinds: Iterable[str]) -> Lives:
    """Read the lives of some lots; one query, and where some are parts one more a generation.

    Blocks inoculated on the 1st and moved on the 15th, of which a check on the 16th split 10 off:
    those 10 began on the 1st as well and were moved on the 15th.
    """
    wholes = _wholes(lots)
    last = dict(last_days(lots, kinds))
    done: dict[int, list[tuple[str, int, date]]] = defaultdict(list)
    if wholes:
        told = ("lot_id", "entry__kind", "entry_id", "entry__happened_on")
        for whole, kind, entry, day in _standing(wholes, kinds).values_list(*told):
            done[whole].append((kind, entry, day))
    for lot in lots:
        for whole, split_at in _behind(lot, wholes):
            for kind, entry, day in done[whole]:
                if entry < split_at:
                    last[lot.pk, kind] = max(day, last.get((lot.pk, kind), day))
    return Lives(_begun(lots, wholes), last)


def begun_on(lots: Collection[Lot]) -> Mapping[int, date]:
    """When each lot was made, or the first that it was split off; a query a generation of those."""
    return _begun(lots, _wholes(lots))


def last_days(lots: Iterable[Lot], kinds: Iterable[str]) -> Days:
    """The last day on which a standing entry of each kind touched each lot itself; one query."""
    rows = _standing([lot.pk for lot in lots], kinds).values_list("lot_id", "entry__kind")
    days = rows.annotate(Max("entry__happened_on")).order_by()
    return {(lot, kind): day for lot, kind, day in days}


def _standing(lots: Iterable[int], kinds: Iterable[str]) -> QuerySet[Line]:
    lines = Line.objects.filter(lot__in=list(lots), entry__kind__in=list(kinds))
    return lines.filter(entry__amends=None).standing()


def _wholes(lots: Collection[Lot]) -> dict[int, _Whole]:
    """Read what lots were split off, what that was split off, and so on."""
    found: dict[int, _Whole] = {}
    asked: set[int] = {lot.part_of_id for lot in lots if lot.part_of_id}
    while asked:
        for one in Lot.objects.filter(pk__in=asked).select_related("made_by"):
            found[one.pk] = _Whole(one.part_of_id, one.made_by_id, one.made_by.happened_on)
        asked = {one.part_of for one in found.values() if one.part_of} - found.keys()
    return found


def _behind(lot: Lot, wholes: Mapping[int, _Whole]) -> Iterable[tuple[int, int]]:
    """The lots that a lot lived in before, the last first, and the entry that split it off each."""
    one = _Whole(lot.part_of_id, lot.made_by_id, lot.made_by.happened_on)
    while one.part_of:
        yield one.part_of, one.made_by
        one = wholes[one.part_of]


def _begun(lots: Iterable[Lot], wholes: Mapping[int, _Whole]) -> dict[int, date]:
    found = {lot.pk: lot.made_by.happened_on for lot in lots}
    for lot in lots:
        for whole, _ in _behind(lot, wholes):
            found[lot.pk] = wholes[whole].made_on
    return found
