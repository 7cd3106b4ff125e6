"""The plan a batch is held against: the card saved before it was started, else what was in force.

A card of the same strain and recipe is the plan from the day it was saved. Without one, the plan is
the recipe, the strain's planning figures, the loss that was copied onto the entry, the rates of
the day, and the prices last paid before the month in which the bags were filled.
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from django.db.models import OuterRef, Subquery

from farm.kinds.growing import INOCULATE_BLOCKS, Run
from farm.models import Rate, RecipeLine, SavedCard, Stage, Steriliser, Strain
from farm.planning.card import MILLION, Ingredient, Plan
from farm.planning.inputs import GROUPS, Known, Names, plan_from
from farm.planning.variance import Planned
from farm.queries.costs.card_inputs import (
    NEVER_BOUGHT,
    USUAL_BATCH,
    Seconds,
    fill_mg,
    growing_times,
    lines_of,
    lot_prices,
    newest_spawn_price,
    price_of,
    priced_parts,
    rates_by,
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


def plans_for(batches: Iterable[Batch]) -> dict[int, PlanInForce]:
    """Find the plans of batches, by their first lot; without those of which a number is missing.

    As many queries as for one.
    """
    asked = [one for one in batches if one.root.card.strain and one.root.card.recipe]
    if not asked:
        return {}
    known = _Known.of(asked)
    found = {one.root.pk: known.saved(one) or _in_force(one, known) for one in asked}
    return {root: plan for root, plan in found.items() if plan}


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


@dataclass(frozen=True)
class _Known:
    """What the plans of some batches are made of, read at once.

    ``made``: lots of blocks by recipe, the newest first. ``newest``: how many blocks the newest of
    each was made with. ``spawn``: spawn lots by strain. ``bought``: the farm's purchases by item.
    """

    cards: Sequence[SavedCard]
    lines: Mapping[int, Sequence[RecipeLine]]
    rates: Sequence[Rate]
    times: Seconds
    vessels: Mapping[str, Steriliser]
    made: Mapping[int, Sequence[Lot]]
    newest: Mapping[int, int]
    spawn: Mapping[int, Sequence[int]]
    spawn_prices: Mapping[int, Known]
    bought: Mapping[int, Sequence[Line]]

    @classmethod
    def of(cls, batches: Sequence[Batch]) -> "_Known":
        cards = [one.root.card for one in batches]
        strains = {card.strain_id for card in cards if card.strain_id}
        recipes = [card.recipe for card in cards if card.recipe]
        lines = lines_of(*recipes)
        made, newest = _made_by_recipe(lines)
        spawn = _grouped(
            Lot.objects.filter(card__stage=Stage.SPAWN, card__strain__in=strains)
            .order_by("pk")
            .values_list("card__strain", "pk")
        )
        used = {one.spawn[0].pk for one in batches if one.spawn}
        used.update(pk for one in batches if (pk := _before(one, spawn)))
        return cls(
            cards=list(SavedCard.objects.filter(strain__in=strains)),
            lines=lines,
            rates=list(Rate.objects.order_by("from_day")),
            times=standard_seconds(),
            vessels={one.name: one for one in Steriliser.objects.all()},
            made=made,
            newest=newest,
            spawn=spawn,
            spawn_prices=lot_prices(Lot.objects.filter(pk__in=used)),
            bought=_bought(line.supply.item_id for own in lines.values() for line in own),
        )

    def saved(self, batch: Batch) -> PlanInForce | None:
        card = batch.root.card
        for one in self.cards:
            is_of = one.strain_id == card.strain_id
            if is_of and one.made_at <= batch.root.made_by.happened_at:
                said = json.loads(one.stated)
                names = Names(**said["names"])
                if names.recipe == str(card.recipe):
                    parts = tuple(Ingredient(*part) for part in said["ingredients"])
                    return PlanInForce(plan_from(said["values"], parts, names), f"card {one}")
        return None

    def prices(self, lines: Sequence[RecipeLine], day: date) -> dict[int, tuple[int, str]]:
        """Price each as last paid before the month began, else as last paid by the day."""
        found = {}
        for line in lines:
            item = line.supply.item
            bought = [one for one in self.bought[item.pk] if one.entry.happened_on <= day]
            before = [one for one in bought if one.entry.happened_on < _month_start(day)]
            last = next(iter([*reversed(before), *reversed(bought)]), None)
            found[item.pk] = price_of(last, item) if last else NEVER_BOUGHT
        return found

    def spawn_price(self, batch: Batch, strain: Strain) -> Known | None:
        """What the spawn made before the one used cost, known then; else the one used."""
        if not batch.spawn:
            return newest_spawn_price(strain)
        before = self.spawn_prices.get(_before(batch, self.spawn) or 0)
        return before if before and before.value else self.spawn_prices.get(batch.spawn[0].pk)


def _in_force(batch: Batch, known: _Known) -> PlanInForce | None:
    """Make the plan of what was known when the bags were filled; selling is no part of it."""
    strain, recipe = batch.root.card.strain, batch.root.card.recipe
    assert strain and recipe
    lines, root = known.lines[recipe.pk], batch.root
    before = next(
        (
            lot
            for lot in known.made[recipe.pk]
            if lot.pk < root.pk and lot.made_by.kind == INOCULATE_BLOCKS
        ),
        root,
    )
    steriliser = Run.read(batch.run.particulars).steriliser if batch.run else ""
    vessel = known.vessels.get(steriliser)
    times = growing_times(known.times, known.newest.get(recipe.pk) or USUAL_BATCH)
    stated = {**rates_by(known.rates, batch.filled_on), **times}
    if spawn := known.spawn_price(batch, strain):
        stated["spawn_kg_money"] = spawn
    groups = (GROUPS["What comes of it"], GROUPS["Packing and selling"])
    values = dict.fromkeys((one.key for group in groups for one in group), 0)
    values |= {"tax_ppm": 0, "net_mg": 0}
    values |= {key: one.value for key, one in stated.items()}
    values |= dict(zip(("first_mg", "second_mg", "third_mg"), strain.flushes_mg, strict=True))
    values |= {
        "blocks": batch.started,
        "load_blocks": batch.started,
        "run_wh": vessel.run_wh if vessel else 0,
        "shelf_days": shelf_days(strain),
        "loss_ppm": batch.planned_loss_ppm,
        "spawn_mg": max((before.unit_mass_mg or 0) - fill_mg(recipe.water_mg, lines), 0),
    }
    parts, _ = priced_parts(lines, known.prices(lines, batch.filled_on))
    try:
        plan = plan_from(values, parts, Names(str(recipe), str(strain), "", ""))
    except Refused:
        return None
    return PlanInForce(
        plan,
        "the recipe and planning figures in force, and prices paid before "
        f"{_month_start(batch.filled_on):%B %Y}",
    )


def _month_start(day: date) -> date:
    return day.replace(day=1)


def _before(batch: Batch, spawn: Mapping[int, Sequence[int]]) -> int | None:
    """The spawn lot of the strain that was made before the one used."""
    if not batch.spawn:
        return None
    lots = spawn.get(batch.root.card.strain_id or 0, ())
    return next((lot for lot in reversed(lots) if lot < batch.spawn[0].pk), None)


def _made_by_recipe(recipes: Iterable[int]) -> tuple[dict[int, list[Lot]], dict[int, int]]:
    """Lots of blocks by recipe, the newest first; how many the newest of each began with."""
    lots = Lot.objects.filter(card__stage=Stage.BLOCKS, card__recipe__in=list(recipes))
    made: dict[int, list[Lot]] = {recipe: [] for recipe in recipes}
    newest: dict[int, int] = {}
    first = Line.objects.filter(lot=OuterRef("pk"), role=Role.MADE, quantity__gt=0).order_by("pk")
    began = lots.annotate(began=Subquery(first.values("quantity")[:1]))
    for lot in began.select_related("card", "made_by").order_by("-pk"):
        recipe = lot.card.recipe_id or 0
        made[recipe].append(lot)
        newest.setdefault(recipe, lot.began)
    return made, {recipe: count for recipe, count in newest.items() if count}


def _bought(items: Iterable[int]) -> dict[int, list[Line]]:
    """What was bought of each item, in the order it was written down; one query."""
    found: dict[int, list[Line]] = {item: [] for item in items}
    lines = Line.objects.filter(lot__item__in=list(found), role=Role.BOUGHT, quantity__gt=0)
    for line in lines.select_related("entry", "lot").order_by("pk"):
        found[line.lot.item_id].append(line)
    return found


def _grouped(pairs: Iterable[tuple[int | None, int]]) -> dict[int, list[int]]:
    found: dict[int, list[int]] = {}
    for key, value in pairs:
        found.setdefault(key or 0, []).append(value)
    return found
