"""What contamination and other losses while growing cost in a month, by stage and cause.

A loss costs what was sunk to its stage, not a whole block: the ledger's own loss flows. What the
plan allows leaves without cost, since the good ones carry it; it is counted here all the same.
"""

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from django.db.models import QuerySet

from farm.kinds.growing import SPENT
from farm.models import LotCard, Stage
from farm.queries.cells import CENT, handed_between
from farm.queries.months.months import Cost, Month
from farm.queries.movements import Moved
from farm.steps import share_steps
from ledger.amounts import rate_of
from ledger.models import KINDS, Dimension, Flow, Line, Role

# The causes of a check that are a growth of something else; the others are named beside them.
CONTAMINATION = ("green mould", "wet spot / sour", "other mould")
GROWING = (Stage.CULTURE, Stage.GRAIN, Stage.SPAWN, Stage.BAGS, Stage.BLOCKS)


@dataclass(frozen=True)
class GrowingLoss:
    """What one cause took of one stage; ``units``: bags or blocks; ``free``: within the plan.

    ``of_units``: units made of the lots in which this cause was found.
    """

    stage: Stage
    cause: str
    units: int
    free: int
    of_units: int
    mass_mg: int
    cost: Cost

    @property
    def is_contamination(self) -> bool:
        return self.cause in CONTAMINATION

    @property
    def money(self) -> int:
        return sum(self.cost)


@dataclass(frozen=True)
class LossesOfMonth:
    month: Month
    rows: tuple[GrowingLoss, ...]

    @property
    def contamination(self) -> tuple[GrowingLoss, ...]:
        return tuple(row for row in self.rows if row.is_contamination)

    @property
    def others(self) -> tuple[GrowingLoss, ...]:
        return tuple(row for row in self.rows if not row.is_contamination)


@dataclass(frozen=True)
class _Life:
    """What was stated of a lot, and what left it: (place, allowed by plan), (place, lost)."""

    made: int
    allowed: tuple[tuple[int, int], ...]
    lost: tuple[tuple[int, int], ...]


def growing_losses(month: Month) -> LossesOfMonth:
    """Read the month's losses before the first pick, as it handed them out; five queries.

    What is spent after its picks is none.
    """
    handed = {
        (one.entry, one.lot): one
        for one in handed_between(month.first, month.last)
        if one.role == Role.LOST
    }
    flows = loss_flows(month).select_related("lot__item", "lot__card", "entry")
    found: dict[tuple[int, str], list[tuple[Flow, Moved]]] = defaultdict(list)
    for flow in flows.order_by("entry_id", "pk"):
        if flow.entry.kind == SPENT and not any(flow.cost):
            continue
        cause = flow.entry.reason.partition(":")[0] or flow.entry.kind
        found[flow.lot.card.stage, cause].append((flow, handed[flow.entry_id, flow.lot_id]))
    lives = _lives({flow.lot_id for rows in found.values() for flow, _ in rows})
    rows = [
        _row(Stage(stage), cause, flows, lives=lives)
        for (stage, cause), flows in sorted(found.items())
    ]
    return LossesOfMonth(month, tuple(rows))


def loss_flows(month: Month) -> QuerySet[Flow]:
    return Flow.objects.filter(
        role=Role.LOST,
        lot__card__stage__in=GROWING,
        entry__happened_on__range=(month.first, month.last),
    ).exclude(quantity=0)


def _lives(lots: Collection[int]) -> dict[int, _Life]:
    allowed: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for line in Line.objects.filter(lot__in=lots).select_related("entry"):
        if line.role == Role.MADE:
            planned = rate_of(line.quantity, line.planned_loss_ppm) + line.planned_loss_count
            allowed[line.lot_id].append((line.entry.place, planned))
        elif line.role == Role.USED:
            allowed[line.lot_id].append((line.entry.place, -line.planned_loss_count))
    made: dict[int, int] = defaultdict(int)
    lost: dict[int, list[tuple[int, int]]] = defaultdict(list)
    flows = Flow.objects.filter(lot__in=lots, role__in=(Role.MADE, Role.BOUGHT, Role.LOST))
    for lot, place, role, quantity in flows.values_list("lot_id", "entry_id", "role", "quantity"):
        if role == Role.LOST:
            lost[lot].append((place, -quantity))
        else:
            made[lot] += quantity
    return {lot: _Life(made[lot], tuple(allowed[lot]), tuple(lost[lot])) for lot in lots}


def _row(
    stage: Stage, cause: str, flows: list[tuple[Flow, Moved]], *, lives: Mapping[int, _Life]
) -> GrowingLoss:
    cost, cents = [0] * len(KINDS), 0
    units, free, mass_mg = 0, 0, 0
    of_units: dict[int, int] = {}
    for flow, handed in flows:
        life = lives[flow.lot_id]
        unit_mg = _unit_mg(flow, life.made)
        lost = _units(-flow.quantity, unit_mg)
        cost = [total - part for total, part in zip(cost, flow.cost, strict=True)]
        units += lost
        free += _units(_free(flow, life), unit_mg) if any(flow.cost) else lost
        mass_mg -= handed.mass_mg or 0
        cents -= handed.money // CENT
        of_units[flow.lot_id] = _units(life.made, unit_mg)
    kinds = tuple(part * CENT for part in share_steps(cost, CENT, cents))
    return GrowingLoss(stage, cause, units, free, sum(of_units.values()), mass_mg, kinds)


def _free(flow: Flow, life: _Life) -> int:
    """How much of a loss was within its lot's plan: what the plan allows, less what went before."""
    allowed = sum(planned for place, planned in life.allowed if place <= flow.entry_id)
    gone = sum(lost for place, lost in life.lost if place < flow.entry_id)
    return min(max(allowed - gone, 0), -flow.quantity)


def _weighed(flow: Flow) -> bool:
    return flow.lot.item.dimension == Dimension.MASS


def _unit_mg(flow: Flow, made: int) -> int:
    """What one bag weighs of a lot that is weighed, else one piece."""
    card: LotCard = flow.lot.card
    return max(made // (card.bags or 1), 1) if _weighed(flow) else 1


def _units(quantity: int, unit_mg: int) -> int:
    """Count bags by weight, to the nearest."""
    return (quantity + unit_mg // 2) // unit_mg
