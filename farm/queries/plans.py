"""The plan a batch is held against: the card saved before it was started, else what was in force.

A card of the same strain and recipe is the plan from the day it was saved. Without one, the plan is
the recipe, the strain's planning figures, the loss that was copied onto the entry, the rates of
the day, and the prices last paid before the month in which the bags were filled.
"""

import json
from dataclasses import dataclass, replace
from datetime import date, timedelta
from fractions import Fraction

from django.core.exceptions import ObjectDoesNotExist

from farm.models import RecipeVersion, SavedCard, Stage, Steriliser, Strain
from farm.planning.card import MILLION, Ingredient, Plan
from farm.planning.inputs import GROUPS, Names, plan_from
from farm.planning.variance import Planned
from farm.queries.batches import ENERGY, HOURS, PICKING, ROOM, UNITS, Batch
from farm.queries.card_inputs import UNKNOWN_PRICE, card_inputs, last_price, lot_price, usual_choice
from ledger.errors import Refused
from ledger.models import Lot, Role

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
        Planned(ROOM, UNITS[ROOM], Fraction(batch.shelf_days * blocks * 1000),
                Fraction(rates.block_day_money, 1000)),
        Planned(HOURS, UNITS[HOURS], hours * blocks, rates.hours(HOUR) / 1000),
    ]  # fmt: skip


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
    usual = usual_choice()
    if usual is None:
        return None
    spawn = _spawn_before(batch)
    choice = replace(usual, recipe=recipe, strain=strain, steriliser=_vessel(batch), spawn=spawn)
    found = card_inputs(choice, batch.filled_on)
    # Packing and selling are no part of a batch: what is not known of them stays nothing.
    values = {one.key: 0 for one in GROUPS["Packing and selling"]}
    values |= {key: known.value for key, known in found.values.items()}
    values |= dict(zip(("first_mg", "second_mg", "third_mg"), strain.flushes_mg, strict=True))
    values |= {
        "blocks": batch.started,
        "load_blocks": batch.started,
        "loss_ppm": _copied_loss(batch),
        "spawn_mg": _usual_spawn(batch, recipe),
    }
    parts = _prices_before(recipe, batch.filled_on)
    try:
        plan = plan_from(values, parts, choice.names)
    except (Refused, ObjectDoesNotExist):
        return None
    return PlanInForce(plan, "the recipe and planning figures in force, and prices paid before "
                             f"{_month_start(batch.filled_on):%B %Y}")  # fmt: skip


def _prices_before(recipe: RecipeVersion, day: date) -> tuple[Ingredient, ...]:
    """Price each ingredient as last paid before the month began, else as first paid by the day."""
    parts = []
    for line in recipe.lines.select_related("supply__item"):
        item = line.supply.item
        price, _ = last_price(item, _month_start(day) - timedelta(days=1))
        if price == UNKNOWN_PRICE:
            price, _ = last_price(item, day)
        parts.append(Ingredient(item.name, line.quantity, price, item.dimension == "mass"))
    return tuple(parts)


def _month_start(day: date) -> date:
    return day.replace(day=1)


def _copied_loss(batch: Batch) -> int:
    """The planned loss as it was copied onto the entry that made the blocks."""
    line = batch.root.lines.filter(entry=batch.root.made_by_id, role=Role.MADE).first()
    return line.planned_loss_ppm if line else 0


def _spawn_before(batch: Batch) -> Lot | None:
    """The spawn made before the one used, whose cost was known then; else the one used."""
    used = batch.spawn[0] if batch.spawn else None
    if used is None:
        return None
    older = Lot.objects.filter(card__stage=Stage.SPAWN, card__strain=batch.root.card.strain)
    found = older.filter(pk__lt=used.pk).order_by("-pk").first()
    return found if found and lot_price(found).value else used


def _usual_spawn(batch: Batch, recipe: RecipeVersion) -> int:
    """The spawn a block got in the batch of the recipe before this one, else in this one."""
    lots = Lot.objects.filter(card__stage=Stage.BLOCKS, card__recipe=recipe)
    before = lots.filter(pk__lt=batch.root.pk, made_by__kind="inoculate blocks").order_by("-pk")
    lot = before.first() or batch.root
    return max((lot.unit_mass_mg or 0) - recipe.fill_mg, 0)


def _vessel(batch: Batch) -> Steriliser | None:
    name = json.loads(batch.run.particulars).get("steriliser", "") if batch.run else ""
    return Steriliser.objects.filter(name=name).first()
