"""A batch, and the batches finished in a month, against their plans."""

from dataclasses import dataclass

from farm.planning.variance import Against, Outcome, against, paired
from farm.queries.costs.plans import PlanInForce, planned_growing, planned_picking, plans_for
from farm.queries.growing.batches import PICKING, Batch, batch_of, batches_of, finished_in
from farm.queries.months.months import Month
from ledger.models import Lot


@dataclass(frozen=True)
class BatchAgainst:
    """A batch beside its plan; ``source`` says which. ``kept_ppm``: planned, of blocks started."""

    batch: Batch
    source: str
    found: Against
    kept_ppm: int
    yield_mg: int

    @property
    def got_mg(self) -> int:
        return self.batch.picked_mg + self.batch.expected_mg


@dataclass(frozen=True)
class MonthAgainst:
    """The batches whose last block went in the month; ``unplanned``: those that had no plan."""

    month: Month
    batches: tuple[BatchAgainst, ...]
    unplanned: tuple[str, ...]


def batch_against(lot: Lot) -> BatchAgainst | None:
    """Hold the batch of a lot of blocks against its plan; None for what has none."""
    batch = batch_of(lot)
    return _held_against(batch, plans_for([batch]).get(batch.root.pk)) if batch else None


def month_against(month: Month) -> MonthAgainst:
    """Hold every batch finished in a month against its plan; as many queries as for one."""
    families = finished_in(month.first, month.last)
    batches = batches_of(families)
    plans = plans_for(batches.values())
    found = {pk: _held_against(batch, plans.get(pk)) for pk, batch in batches.items()}
    roots = [lots[0] for lots in families]
    return MonthAgainst(
        month=month,
        batches=tuple(one for one in found.values() if one),
        unplanned=tuple(root.code for root in roots if not found.get(root.pk)),
    )


def _held_against(batch: Batch, in_force: PlanInForce | None) -> BatchAgainst | None:
    if in_force is None or not in_force.yield_mg:
        return None
    plan = in_force.plan
    growing = [one for one in batch.used if one.name != PICKING]
    picking = [one for one in batch.used if one.name == PICKING]
    outcome = Outcome(
        started=batch.started,
        good=batch.good,
        got_mg=batch.picked_mg + batch.expected_mg,
        kept=plan.batch.kept,
        yield_mg=in_force.yield_mg,
    )
    return BatchAgainst(
        batch=batch,
        source=in_force.source,
        found=against(
            paired(growing, planned_growing(plan, batch.started)),
            paired(picking, planned_picking(plan, batch.picked_mg)),
            outcome,
        ),
        kept_ppm=round(plan.batch.kept * 1_000_000),
        yield_mg=in_force.yield_mg,
    )
