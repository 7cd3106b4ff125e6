"""What later flushes really gave, batch by batch: weight a block, days waited."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from farm.models import LotCard, Stage, Strain
from farm.queries.experience import flush_weights
from ledger.models import Flow, Lot, Role

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


def flushes_kept(strain: Strain) -> list[FlushKept]:
    """The newest finished lots of a strain that stood on after their first pick, newest first.

    Five queries, however many lots there are.
    """
    cards = LotCard.objects.filter(stage=Stage.BLOCKS, strain=strain, lot__quantity=0)
    newest = list(cards.select_related("lot").order_by("-lot_id")[:NEWEST])
    lots = [card.lot_id for card in newest]
    picks, ends = flush_weights(lots), _ends(lots)
    found = (_kept(card.lot, picks.get(card.lot_id, []), ends.get(card.lot_id)) for card in newest)
    return [kept for kept in found if kept]


def _kept(lot: Lot, picks: list[tuple[int, date, int]], end: Flow | None) -> FlushKept | None:
    """``end``: the last blocks of the lot that were binned."""
    firsts = [day for flush, day, _ in picks if flush == 1]
    if not firsts or end is None or end.entry.happened_on - min(firsts) < timedelta(days=1):
        return None
    return FlushKept(
        code=lot.code,
        blocks=-end.quantity,
        first_mg=sum(mg for flush, _, mg in picks if flush == 1),
        second_mg=sum(mg for flush, _, mg in picks if flush > 1),
        days=(end.entry.happened_on - max(firsts)).days,
    )


def _ends(lots: Iterable[int]) -> dict[int, Flow]:
    """The last of each lot that was lost; of one lot's flows, a later one goes over the others."""
    flows = Flow.objects.filter(lot__in=lots, role=Role.LOST).select_related("entry")
    return {flow.lot_id: flow for flow in flows.order_by("entry_id")}
