"""What later flushes really gave, batch by batch: weight a block, days waited."""

from dataclasses import dataclass
from datetime import date, timedelta

from farm.models import LotCard, Stage, Strain
from farm.queries.experience import flush_weights
from ledger.models import Entry, Flow, Role

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
    """The newest finished lots of a strain that stood on after their first pick, newest first."""
    cards = LotCard.objects.filter(stage=Stage.BLOCKS, strain=strain, lot__quantity=0)
    found = []
    for card in cards.select_related("lot").order_by("-lot_id")[:NEWEST]:
        kept = _kept(card)
        if kept:
            found.append(kept)
    return found


def _kept(card: LotCard) -> FlushKept | None:
    by_flush = flush_weights(card.lot_id)
    firsts = [day for flush, day, _ in by_flush if flush == 1]
    if not firsts:
        return None
    first, last = min(firsts), _ended(card.lot_id)
    if last is None or last - first < timedelta(days=1):
        return None
    binned = Flow.objects.filter(lot=card.lot_id, role=Role.LOST).order_by("-entry_id").first()
    return FlushKept(
        code=card.lot.code,
        blocks=-binned.quantity if binned else 0,
        first_mg=sum(mg for flush, _, mg in by_flush if flush == 1),
        second_mg=sum(mg for flush, _, mg in by_flush if flush > 1),
        days=(last - max(firsts)).days,
    )


def _ended(lot: int) -> date | None:
    entries = Entry.objects.filter(flows__lot=lot, flows__role=Role.LOST)
    day: date | None = entries.order_by("-seq").values_list("happened_on", flat=True).first()
    return day
