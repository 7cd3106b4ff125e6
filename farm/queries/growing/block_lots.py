"""What became of lots of blocks: started, lost, picked; each block and each gram in one lot.

What a check split off takes along what its blocks gave before.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import groupby
from typing import Any, NamedTuple

from django.db.models import F, FilteredRelation, Q, QuerySet

from farm.kinds.growing import MOVE_TO_FRUITING
from farm.models import Grade, LotCard, Stage
from ledger.models import Flow, Role, taken_back

FLUSHES = 3


class Pick(NamedTuple):
    """What a block lot gave at one time, trim included; ``blocks``: how many were there then."""

    entry: int
    flush: int
    day: date
    mass_mg: int
    trim_mg: int
    blocks: int

    def of(self, count: int) -> "Pick":
        """So many of its blocks with what they gave, rounded down to the milligram."""
        mass_mg, trim_mg = (
            mg * count // self.blocks if self.blocks else 0 for mg in (self.mass_mg, self.trim_mg)
        )
        return self._replace(mass_mg=mass_mg, trim_mg=trim_mg, blocks=count)

    def less(self, gone: "Pick") -> "Pick":
        """What stays, so that both add up."""
        return self._replace(
            mass_mg=self.mass_mg - gone.mass_mg,
            trim_mg=self.trim_mg - gone.trim_mg,
            blocks=self.blocks - gone.blocks,
        )


@dataclass
class BlockLot:
    """A block lot: blocks started, lost before the first pick, and what it gave.

    ``begun_on``: when its blocks were inoculated; ``moved_on``: when it was moved to fruiting,
    unless another lot stands for it. ``end``: the day and the number of the blocks that were
    binned last. ``parts``: lots split off it, each with what its blocks had given. ``is_part``: it
    was split off another itself. ``left``: blocks on hand now, ``there`` as far as it was read.
    """

    code: str
    strain: int | None
    begun_on: date
    is_part: bool = False
    started: int = 0
    lost: int = 0
    picks: list[Pick] = field(default_factory=list)
    moved_on: date | None = None
    end: tuple[date, int] | None = None
    parts: dict[int, list[Pick]] = field(default_factory=dict)
    left: int = 0
    there: int = 0

    @property
    def fruited(self) -> int:
        return self.started - self.lost

    @property
    def given(self) -> int:
        return sum(pick.mass_mg for pick in self.picks)

    def lose(self, day: date, count: int) -> None:
        """Count blocks that were binned; those of before the first pick never fruited."""
        self.end = (day, count)
        if not self.picks:
            self.lost += count

    def split_off(self, part: int, count: int) -> None:
        """Let a part take along what its blocks gave: of 20 kg that 40 gave, 10 of them 5 kg."""
        self.parts[part] = [pick.of(count) for pick in self.picks]
        gone = zip(self.picks, self.parts[part], strict=True)
        self.picks = [pick.less(taken) for pick, taken in gone]

    def given_mg(self, flush: int) -> int:
        """Weight given in a flush; later ones stand in the last."""
        return sum(pick.mass_mg for pick in self.picks if min(pick.flush, FLUSHES) == flush)

    def day_of(self, flush: int) -> date | None:
        """The last day on which it was picked of a flush."""
        return max((pick.day for pick in self.picks if pick.flush == flush), default=None)

    @property
    def first_pick_on(self) -> date | None:
        return min((pick.day for pick in self.picks), default=None)


def block_lots(lots: "Collection[int] | QuerySet[LotCard, Any]") -> dict[int, BlockLot]:
    """Read what became of block lots, oldest first, leaving out what was undone.

    One query, and one more a generation of wholes that parts were split off and are not among
    them. A line of a pick stands in as many rows as it gave crop lots; within an entry it comes
    first.
    """
    given = FilteredRelation("entry__edges", condition=Q(entry__edges__src=F("lot")))
    undone = taken_back("entry")
    flows = Flow.objects.filter(lot__in=lots, role__in=(Role.MADE, Role.USED, Role.LOST))
    flows = flows.annotate(given=given, undone=undone)
    ordered = flows.order_by("lot_id", "entry_id", "-role").values_list(*_Row._fields)
    rows = [_Row(*row) for row in ordered]
    beyond = {row.lot__part_of_id for row in rows} - {row.lot_id for row in rows} - {None}
    wholes = block_lots([pk for pk in beyond if pk]) if beyond else {}
    found: dict[int, BlockLot] = {}
    for (pk, _, role), each in groupby(rows, key=lambda row: row[:3]):
        same = list(each)
        row = same[0]
        if pk not in found:
            whole = row.lot__part_of_id or 0
            found[pk] = _begun(row, found.get(whole) or wholes.get(whole))
        lot = found[pk]
        if role != Role.LOST:
            lot.started += row.quantity
        else:
            lot.lose(row.entry__happened_on, -row.quantity)
        if row.entry__kind == MOVE_TO_FRUITING and not row.undone:
            lot.moved_on = row.entry__happened_on
        if role == Role.USED:
            _use(lot, same)
        lot.there += row.quantity
    return found


class _Row(NamedTuple):
    """A line of a block lot with one of the lots that it gave to."""

    lot_id: int
    entry_id: int
    role: str
    lot__code: str
    lot__card__strain_id: int | None
    entry__kind: str
    entry__happened_on: date
    undone: bool
    lot__part_of_id: int | None
    lot__made_by__happened_on: date
    lot__quantity: int
    quantity: int
    given__quantity: int | None
    given__dst_id: int | None
    given__dst__card__stage: int | None
    given__dst__card__flush: int | None
    given__dst__card__grade: str | None


def _begun(row: _Row, whole: BlockLot | None) -> BlockLot:
    """Begin a lot; a part takes along what its blocks gave while they stood in their whole.

    How long blocks stood before their first pick is counted once, where that pick was.
    """
    lot = BlockLot(row.lot__code, row.lot__card__strain_id, row.lot__made_by__happened_on)
    lot.left, lot.is_part = row.lot__quantity, row.lot__part_of_id is not None
    if whole and row.lot_id in whole.parts:
        lot.begun_on = whole.begun_on
        lot.picks = list(whole.parts[row.lot_id])
        lot.moved_on = None if lot.picks else whole.moved_on
    return lot


def _use(lot: BlockLot, rows: Sequence[_Row]) -> None:
    """Note what a line gave: a pick of the lot, or a part that a check split off it."""
    for row in rows:
        if row.given__dst_id and row.given__dst__card__stage == Stage.BLOCKS:
            lot.split_off(row.given__dst_id, row.given__quantity or 0)
    crop = [row for row in rows if row.given__dst__card__stage == Stage.CROP]
    if crop:
        weights = [(row.given__quantity or 0, row.given__dst__card__grade) for row in crop]
        lot.picks.append(
            Pick(
                entry=crop[0].entry_id,
                flush=crop[-1].given__dst__card__flush or 1,
                day=crop[0].entry__happened_on,
                mass_mg=sum(mg for mg, _ in weights),
                trim_mg=sum(mg for mg, grade in weights if grade == Grade.TRIM),
                blocks=lot.there,
            )
        )
