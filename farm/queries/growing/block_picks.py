"""What was picked of blocks so far, flush by flush, and which flush a pick of some day is."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from itertools import groupby
from typing import Any

from django.db.models import F

from farm.kinds.growing import CHECK, PICK, Picked
from ledger.models import Edge, Line, Lot


@dataclass(frozen=True)
class BlockPick:
    """One standing pick of a lot of blocks: ``a_block_mg`` is what each block there then gave."""

    entry: int
    day: date
    flush: int
    a_block_mg: Fraction


Picks = Sequence[BlockPick]


def picks_of(lots: Iterable[Lot], *, besides: int = 0) -> dict[int, list[BlockPick]]:
    """List the standing picks of some lots of blocks by lot, in the order of their days.

    What a check split off takes along the picks that its blocks had before, so that it is not
    taken for new. ``besides``: leave out the pick of this entry. Two queries, and one more for
    each time that blocks were split.
    """
    wanted = {lot.pk for lot in lots}
    parents = _split_from(wanted)
    known = _picks(wanted | {src for src, _ in parents.values()})
    return {
        lot: sorted(
            (one for one in _life(lot, parents, known) if one.entry != besides),
            key=lambda one: (one.day, one.entry),
        )
        for lot in wanted
    }


def flushes_offered(lots: Collection[Lot], day: date) -> dict[int, int]:
    """The flush that a pick of each lot on a day is most likely of; see `flush_on`."""
    picks = picks_of(lots)
    return {lot.pk: flush_on(day, picks[lot.pk], gap_days=gap_of(lot)) for lot in lots}


def flush_on(day: date, picks: Picks, *, gap_days: int) -> int:
    """Say which flush is picked on a day: that of the nearest pick, else the one after the last.

    A flush is picked over days, so a pick within half the planned days between two flushes of
    another is of the same one; where two are as near, it is the earlier. With 10 days planned
    and flush 1 picked on the 1st and 3rd: flush 1 until the 8th, flush 2 from the 9th on.
    """
    before = [one for one in picks if one.day <= day]
    after = [one for one in picks if one.day > day]
    near = [one for one in picks if is_near(one, day, gap_days=gap_days)]
    if near:
        return min(near, key=lambda one: (abs(one.day - day), one.day > day, -one.entry)).flush
    following = max((one.flush for one in before), default=0) + 1
    return min([following, *(one.flush for one in after)])


def is_near(pick: BlockPick, day: date, *, gap_days: int) -> bool:
    """Say whether a day is within half the planned days between flushes of a pick: own rule."""
    return 2 * abs((pick.day - day).days) <= gap_days


def gap_of(lot: Lot) -> int:
    """The planned days between two flushes of a lot of blocks."""
    strain = lot.card.strain
    return strain.flush_gap_days if strain else 0


def _split_from(lots: Collection[int]) -> dict[int, tuple[int, int]]:
    """The lot that each, and each lot behind it, was split from by a check, and by which entry."""
    found: dict[int, tuple[int, int]] = {}
    asked = set(lots)
    while asked:
        splits = Edge.objects.filter(
            dst__in=asked, dst__made_by__kind=CHECK, entry=F("dst__made_by")
        ).values_list("dst", "src", "entry")
        found |= {dst: (src, entry) for dst, src, entry in splits}
        asked = {src for _, src, _ in splits} - found.keys()
    return found


def _picks(lots: Collection[int]) -> dict[int, list[BlockPick]]:
    """The picks of lots as corrected, each with the blocks that were there; one query."""
    told = ("entry", "entry__kind", "entry__happened_on", "entry__particulars")
    lines = Line.objects.filter(lot__in=lots).order_by("entry__place", "entry")
    found: dict[int, list[BlockPick]] = {pk: [] for pk in lots}
    for lot, own in _by_lot(
        lines.values_list("lot", "entry__place", "quantity", "given_mg", *told)
    ):
        blocks = 0
        for place, parts in groupby(own, key=lambda row: row[1]):
            said = list(parts)
            given_mg, first = sum(row[3] for row in said), said[0]
            if first[5] == PICK and given_mg and blocks:
                flush = Picked.read(first[7]).flush
                found[lot].append(BlockPick(place, first[6], flush, Fraction(given_mg, blocks)))
            blocks += sum(row[2] for row in said)
    return found


def _by_lot(rows: Iterable[Any]) -> Iterable[tuple[int, list[Any]]]:
    by_lot: dict[int, list[Any]] = defaultdict(list)
    for row in rows:
        by_lot[row[0]].append(row)
    return by_lot.items()


def _life(
    lot: int, parents: Mapping[int, tuple[int, int]], known: Mapping[int, Picks]
) -> Iterable[BlockPick]:
    """The picks of a lot, and of those that it was split from until then."""
    yield from known[lot]
    while lot in parents:
        lot, split_at = parents[lot]
        yield from (one for one in known[lot] if one.entry < split_at)
