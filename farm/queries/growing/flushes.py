"""What later flushes really gave, batch by batch: weight a block, days waited."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from farm.queries.growing.block_lots import BlockLot

NEWEST = 24


@dataclass(frozen=True)
class FlushKept:
    """A lot of blocks that was kept for a second flush: what it gave a block, and the days."""

    code: str
    blocks: int
    first_mg: int
    second_mg: int
    days: int

    @property
    def per_block_mg(self) -> int:
        """Weight of the second flush a block, rounded down."""
        return self.second_mg // self.blocks if self.blocks else 0


def flushes_kept(grown: Sequence[BlockLot]) -> list[FlushKept]:
    """The newest of some finished lots that stood on after their first pick, newest first."""
    found = (_kept(lot) for lot in reversed(grown[-NEWEST:]))
    return [kept for kept in found if kept]


def _kept(lot: BlockLot) -> FlushKept | None:
    firsts = [pick.day for pick in lot.picks if pick.flush == 1]
    if not firsts or lot.end is None or lot.end[0] - min(firsts) < timedelta(days=1):
        return None
    last_day, blocks = lot.end
    return FlushKept(
        code=lot.code,
        blocks=blocks,
        first_mg=sum(pick.mass_mg for pick in lot.picks if pick.flush == 1),
        second_mg=sum(pick.mass_mg for pick in lot.picks if pick.flush > 1),
        days=(last_day - max(firsts)).days,
    )
