"""The plan a batch is held against: the card saved before it was started, else what was in force.

A card of the same strain and recipe is the plan from the day it was saved. Without one, the plan is
the recipe, the strain's planning figures, the loss that was copied onto the entry, the rates of
the day, and the prices last paid before the month in which the bags were filled.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

from django.db.models import OuterRef, Q, Subquery

from farm.kinds.growing import INOCULATE_BLOCKS, Run
from farm.models import RecipeLine, RecipeVersion, SavedCard, Stage, Steriliser, Strain
from farm.planning.card import MILLION, Ingredient, Plan
from farm.planning.inputs import GROUPS, Known, Names, plan_from
from farm.planning.variance import Planned
from farm.queries.costs.card_inputs import (
    USUAL_BATCH,
    fill_mg,
    growing_times,
    last_prices,
    lot_prices,
    newest_spawn_price,
    priced_parts,
    rates_on,
    recipe_lines,
    shelf_days,
    standard_seconds,
)
from farm.queries.growing.batches import ENERGY, HOURS, PICKING, ROOM, UNITS, Batch
from ledger.errors import Refused
from ledger.models import Line, Lot, Role

HOUR = 3_600


@dataclass(frozen=True)
class PlanInForce:
    """``source``: in words, where the plan is from."""

    plan: Plan
    source: str

    @property
    def yield_mg(self) -> int:
        return self.plan.crop.yield_mg


def plan_for(batch: Batch) -> PlanInForce | None:
    """Find the plan of a batch; None where a number that it needs was never stated."""
    card = batch.root.card
    if card.strain is None or card.recipe is None:
        return None
    return _saved(batch, card.strain, card.recipe) or _in_force(batch, card.strain, card.recipe)


def planned_growing(plan: Plan, blocks: int) -> list[Planned]:
    """What so many blocks started were planned to take, until they are picked."""
    batch, rates = plan.batch, plan.rates
    run = Fraction(batch.run_wh, batch.load_blocks)
    hours = Fraction(batch.block_seconds * 1000, HOUR)
    parts = [_part(part, blocks) for part in batch.ingredients]
    return [
        *parts,
        Planned(ENERGY, UNITS[ENERGY], run * blocks, Fraction(rates.kwh_money, 1000)),
        Planned(
            ROOM,
            UNITS[ROOM],
            Fraction(batch.shelf_days * blocks * 1000),
            Fraction(rates.block_day_money, 1000),
        ),
        Planned(HOURS, UNITS[HOURS], hours * blocks, rates.hours(HOUR) / 1000),
    ]


def planned_picking(plan: Plan, picked_mg: int) -> list[Planned]:
    hours = Fraction(plan.crop.pick_seconds * 1000 * picked_mg, HOUR * MILLION)
    return [Planned(PICKING, UNITS[PICKING], hours, plan.rates.hours(HOUR) / 1000)]


def _part(part: Ingredient, blocks: int) -> Planned:
    per = MILLION if part.is_weighed else 1
    unit = UNITS.get(part.name, "kg" if part.is_weighed else "pieces")
    return Planned(
        part.name, unit, Fraction(part.quantity * blocks), Fraction(part.price_money, per)
    )


def _saved(batch: Batch, strain: Strain, recipe: RecipeVersion) -> PlanInForce | None:
    started_at = batch.root.made_by.happened_at
    for card in SavedCard.objects.filter(strain=strain, made_at__lte=started_at):
        said = json.loads(card.stated)
        names = Names(**said["names"])
        if names.recipe == str(recipe):
            parts = tuple(Ingredient(*part) for part in said["ingredients"])
            return PlanInForce(plan_from(said["values"], parts, names), f"card {card}")
    return None


def _in_force(batch: Batch, strain: Strain, recipe: RecipeVersion) -> PlanInForce | None:
    """Make the plan of what was known when the bags were filled; selling is no part of it."""
    lines, rates, times = recipe_lines(recipe), rates_on(batch.filled_on), standard_seconds()
    last, before = _batches_of(recipe, batch.root)
    vessel = _vessel(batch)
    known = {**rates, **growing_times(times, last or USUAL_BATCH)}
    if spawn := _spawn_price(batch, strain):
        known["spawn_kg_money"] = spawn
    groups = (GROUPS["What comes of it"], GROUPS["Packing and selling"])
    values = dict.fromkeys((one.key for group in groups for one in group), 0)
    values |= {"tax_ppm": 0, "net_mg": 0}
    values |= {key: one.value for key, one in known.items()}
    values |= dict(zip(("first_mg", "second_mg", "third_mg"), strain.flushes_mg, strict=True))
    values |= {
        "blocks": batch.started,
        "load_blocks": batch.started,
        "run_wh": vessel.run_wh if vessel else 0,
        "shelf_days": shelf_days(strain),
        "loss_ppm": batch.planned_loss_ppm,
        "spawn_mg": max((before.unit_mass_mg or 0) - fill_mg(recipe.water_mg, lines), 0),
    }
    parts, _ = priced_parts(lines, _prices_before(lines, batch.filled_on))
    try:
        plan = plan_from(values, parts, Names(str(recipe), str(strain), "", ""))
    except Refused:
        return None
    return PlanInForce(
        plan,
        "the recipe and planning figures in force, and prices paid before "
        f"{_month_start(batch.filled_on):%B %Y}",
    )


def _prices_before(lines: Sequence[RecipeLine], day: date) -> dict[int, tuple[int, str]]:
    """Price each ingredient as last paid before the month began, else as first paid by the day."""
    before = _month_start(day) - timedelta(days=1)
    return last_prices((line.supply.item for line in lines), before, else_by=day)


def _month_start(day: date) -> date:
    return day.replace(day=1)


def _spawn_price(batch: Batch, strain: Strain) -> Known | None:
    """What the spawn made before the one used cost, known then; else the one used. One query."""
    used = batch.spawn[0] if batch.spawn else None
    if used is None:
        return newest_spawn_price(strain)
    spawn = Lot.objects.filter(card__stage=Stage.SPAWN, card__strain=strain, pk__lt=used.pk)
    before = spawn.order_by("-pk").values("pk")[:1]
    known = lot_prices(Lot.objects.filter(Q(pk=used.pk) | Q(pk__in=before)))
    own = known.pop(used.pk, None)
    return next((one for one in known.values() if one.value), own)


def _batches_of(recipe: RecipeVersion, root: Lot) -> tuple[int | None, Lot]:
    """Blocks of the newest batch of a recipe, and the batch before this one, else this one."""
    lots = Lot.objects.filter(card__stage=Stage.BLOCKS, card__recipe=recipe).order_by("-pk")
    before = lots.filter(pk__lt=root.pk, made_by__kind=INOCULATE_BLOCKS).values("pk")[:1]
    lines = Line.objects.filter(lot=OuterRef("pk"), role=Role.MADE, quantity__gt=0)
    made = Subquery(lines.order_by("pk").values("quantity")[:1])
    found = list(
        lots.filter(Q(pk__in=lots.values("pk")[:1]) | Q(pk__in=before)).annotate(blocks=made)
    )
    older = [lot for lot in found if lot.pk < root.pk]
    return found[0].blocks, older[0] if older else root


def _vessel(batch: Batch) -> Steriliser | None:
    name = Run.read(batch.run.particulars).steriliser if batch.run else ""
    return Steriliser.objects.filter(name=name).first()
