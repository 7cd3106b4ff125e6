"""What contamination and other losses while growing cost in a month, by stage and cause.

A loss costs what was sunk to its stage, not a whole block: the ledger's own loss flows. What the
plan allows leaves without cost, since the good ones carry it; it is counted here all the same.
"""

from collections import defaultdict
from dataclasses import dataclass

from django.db.models import QuerySet

from farm.models import LotCard, Stage
from farm.queries.months import Cost, Month
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


def growing_losses(month: Month) -> LossesOfMonth:
    """Read the month's losses before the first pick; what is spent after its picks is none."""
    flows = loss_flows(month).select_related("lot__item", "lot__card", "entry")
    found: dict[tuple[int, str], list[Flow]] = defaultdict(list)
    for flow in flows.order_by("entry_id", "pk"):
        if flow.entry.kind == "spent" and not any(flow.cost):
            continue
        cause = flow.entry.reason.partition(":")[0] or flow.entry.kind
        found[flow.lot.card.stage, cause].append(flow)
    rows = [_row(Stage(stage), cause, flows) for (stage, cause), flows in sorted(found.items())]
    return LossesOfMonth(month, tuple(rows))


def loss_flows(month: Month) -> QuerySet[Flow]:
    return Flow.objects.filter(
        role=Role.LOST,
        lot__card__stage__in=GROWING,
        entry__happened_on__range=(month.first, month.last),
    ).exclude(quantity=0)


def _row(stage: Stage, cause: str, flows: list[Flow]) -> GrowingLoss:
    cost = [0] * len(KINDS)
    units, free, mass_mg = 0, 0, 0
    for flow in flows:
        unit_mg = _unit_mg(flow)
        lost = _units(-flow.quantity, unit_mg)
        cost = [total - part for total, part in zip(cost, flow.cost, strict=True)]
        units += lost
        free += _units(_free(flow), unit_mg) if any(flow.cost) else lost
        mass_mg += -flow.quantity * (1 if _weighed(flow) else flow.lot.unit_mass_mg or 0)
    of_units = sum(_made_units(flow) for flow in {flow.lot_id: flow for flow in flows}.values())
    return GrowingLoss(stage, cause, units, free, of_units, mass_mg, tuple(cost))


def _free(flow: Flow) -> int:
    """How much of a loss was within its lot's plan: what the plan allows, less what went before."""
    lines = Line.objects.filter(lot=flow.lot_id, entry__place__lte=flow.entry_id)
    allowed = 0
    for line in lines:
        if line.role == Role.MADE:
            allowed += rate_of(line.quantity, line.planned_loss_ppm) + line.planned_loss_count
        elif line.role == Role.USED:
            allowed -= line.planned_loss_count
    before = Flow.objects.filter(lot=flow.lot_id, role=Role.LOST, entry__lt=flow.entry_id)
    gone = -sum(before.values_list("quantity", flat=True))
    return min(max(allowed - gone, 0), -flow.quantity)


def _weighed(flow: Flow) -> bool:
    return flow.lot.item.dimension == Dimension.MASS


def _unit_mg(flow: Flow) -> int:
    """What one bag weighs of a lot that is weighed, else one piece."""
    card: LotCard = flow.lot.card
    if not _weighed(flow):
        return 1
    return max(_made(flow) // (card.bags or 1), 1)


def _units(quantity: int, unit_mg: int) -> int:
    """Count bags by weight, to the nearest."""
    return (quantity + unit_mg // 2) // unit_mg


def _made_units(flow: Flow) -> int:
    return _units(_made(flow), _unit_mg(flow))


def _made(flow: Flow) -> int:
    made = Flow.objects.filter(lot=flow.lot_id, role__in=(Role.MADE, Role.BOUGHT))
    return sum(quantity for quantity in made.values_list("quantity", flat=True))
