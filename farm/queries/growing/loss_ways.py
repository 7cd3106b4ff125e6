"""Two published ways to count what a check found lost: which one counted it, what the other gives.

Noticed on the way, the planned loss leaves first, without cost, and the rest carries all; found by
an inspection that passes the others, what is beyond plan leaves first, at the cost sunk so far,
and the planned loss falls on the passed. 40 blocks at 210.80, 7 % planned, 5 lost: a good one
carries 210.80 / 38, 5.5474, or 210.80 x 37 / 40 / 35, 5.5711.
"""

from dataclasses import dataclass
from fractions import Fraction

from django.db.models import Sum

from farm.kinds.growing import CHECK
from ledger.amounts import rate_of
from ledger.models import KINDS, Dimension, Entry, Flow, Line, Lot, Role


@dataclass(frozen=True)
class LossWay:
    """``inspected``: what was beyond plan left first. ``good``: what a good piece carries so, and
    by the ``other`` way; rounded half to even.
    """

    lot: Lot
    inspected: bool
    lost: int
    beyond: int
    good: int
    other: int


def loss_way_of(entry: Entry) -> LossWay | None:
    """Say how a check counted its loss; None where it lost no pieces, or all, or after a pick.

    Three queries.
    """
    lost = Flow.objects.filter(entry=entry.place, role=Role.LOST, quantity__lt=0)
    of_pieces = lost.filter(lot__item__dimension=Dimension.COUNT)
    flow = of_pieces.select_related("lot").first() if entry.kind == CHECK else None
    if flow is None or _was_picked(flow):
        return None
    pieces, cost = _before(flow)
    gone = -flow.quantity
    free = min(gone, _still_planned(flow))
    if gone >= pieces:
        return None
    on_the_way = Fraction(cost, pieces - free)
    inspected = cost * (1 - Fraction(gone - free, pieces)) / (pieces - gone)
    splits = flow.lot.made_by_id == entry.place
    good, other = (inspected, on_the_way) if splits else (on_the_way, inspected)
    return LossWay(flow.lot, splits, gone, gone - free, round(good), round(other))


def _before(flow: Flow) -> tuple[int, int]:
    """Pieces and cost of the lot before its loss, with the check's own labour."""
    lot = Flow.objects.filter(lot=flow.lot)
    came = lot.filter(entry__lt=flow.entry_id) | lot.filter(entry=flow.entry_id, role=Role.MADE)
    sums = came.aggregate(*[Sum(name, default=0) for name in ("quantity", *KINDS)])
    return sums["quantity__sum"], sum(sums[f"{kind}__sum"] for kind in KINDS)


def _still_planned(flow: Flow) -> int:
    """Pieces that may still leave without cost: planned, less what was split off or lost before."""
    left = 0
    lines = Line.objects.filter(lot=flow.lot, entry__place__lte=flow.entry_id)
    for line in lines.order_by("entry__place", "pk").select_related("entry"):
        if line.role in (Role.MADE, Role.BOUGHT):
            left += rate_of(line.quantity, line.planned_loss_ppm) + line.planned_loss_count
        elif line.role == Role.USED:
            left = max(0, left - line.planned_loss_count)
        elif line.role == Role.LOST and line.entry.place < flow.entry_id:
            left = max(0, left + line.quantity)
    return left


def _was_picked(flow: Flow) -> bool:
    """After a pick of it, or of what it was split off, what is lost carries no cost."""
    lots: list[int] = []
    lot: Lot | None = flow.lot
    while lot is not None:
        lots.append(lot.pk)
        lot = lot.part_of
    picks = Line.objects.filter(lot__in=lots, given_mg__gt=0, entry__place__lt=flow.entry_id)
    return picks.standing().exists()
