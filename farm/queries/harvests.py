"""What was picked of blocks so far."""

from django.db.models import Max

from farm.models import LotCard
from ledger.models import Line, Lot, Role


def next_flush(lot: Lot) -> int:
    """The flush that comes next from a lot of blocks: one after the last picked; one query."""
    picks = Line.objects.filter(lot=lot, role=Role.USED, entry__amends=None, entry__kind="pick")
    standing = picks.exclude(entry__amendments__takes_back=True)
    made = LotCard.objects.filter(lot__made_by__in=standing.values("entry"))
    last: int | None = made.aggregate(flush=Max("flush"))["flush"]
    return (last or 0) + 1
