"""Blocks: filled bags, inoculated from spawn, moved to fruiting."""

from collections.abc import Sequence

from farm import habits
from farm.actions.common import (
    Doing,
    Draw,
    card,
    item_for,
    labour,
    last_day,
    need_some,
    need_stage,
    post,
    put,
    shelf_room,
    used,
)
from farm.actions.doubts import spawn_doubt
from farm.actions.growing.filling import fill, need_recipe_for, recipe_mix
from farm.actions.growing.runs import unsterilised_doubt
from farm.actions.idempotency import action
from farm.actions.questions import answered
from farm.kinds.growing import INOCULATE_BLOCKS, MOVE, MOVE_TO_FRUITING, SpawnRates
from farm.kinds.kind import Kind
from farm.models import LotCard, RecipeFor, RecipeVersion, Shelf, Stage, Strain
from farm.moisture import Portion, spawn_rate
from farm.refusals import MendedByRecording
from ledger.book import Recorded
from ledger.drafts import ChargeDraft, LineDraft, NewLot
from ledger.errors import Malformed
from ledger.models import Dimension, Lot, Role


@action
def fill_blocks(
    doing: Doing, *, recipe: RecipeVersion, count: int, draws: Sequence[Draw]
) -> Recorded:
    """Fill so many bags with substrate and water, to be sterilised."""
    need_recipe_for(recipe, RecipeFor.BLOCKS)
    item = item_for(f"Filled bags, {recipe.recipe.name}", Dimension.COUNT, stage=Stage.BAGS)
    return fill(doing, item, recipe=recipe, count=count, draws=draws)


@action
def inoculate_blocks(
    doing: Doing, *, bags: Lot, count: int, spawn: Sequence[Draw], shelf: Shelf | None = None
) -> Recorded:
    """Put spawn of one strain into sterilised bags; what comes out are blocks.

    A block weighs the bag's fill and its part of the spawn, rounded down to 1 mg. The rate is
    kept on all its bases: 226.8 g in a bag of 2,268 g is 10 % of the wet substrate.
    """
    filled = need_stage(bags, Stage.BAGS)
    need_some(count, "blocks")
    parents = [need_stage(draw.lot, Stage.SPAWN) for draw in spawn]
    strain = _one_strain(parents)
    spawn_mg = sum(draw.quantity for draw in spawn)
    need_some(spawn_mg, "mg of spawn")
    doing = answered(
        doing,
        unsterilised_doubt(filled),
        spawn_doubt(doing.by, bags, spawn_mg=spawn_mg, count=count),
    )
    made = LineDraft(
        NewLot(
            item_for(f"Blocks, {strain}", Dimension.COUNT, stage=Stage.BLOCKS),
            unit_mass_mg=(bags.unit_mass_mg or 0) + spawn_mg // count,
        ),
        Role.MADE,
        count,
        basis=count,
        planned_loss_ppm=strain.planned_loss_ppm,
    )
    recorded = post(
        doing,
        INOCULATE_BLOCKS,
        [*used([Draw(bags, count), *spawn]), made],
        charges=labour(doing, INOCULATE_BLOCKS, count),
        particulars=_rates(filled, parents, count=count, spawn=spawn),
    )
    if recorded.fresh:
        generation = max(parent.generation or 0 for parent in parents)
        lot = recorded.lots[-1]
        card(
            lot,
            Stage.BLOCKS,
            strain=strain,
            species=strain.species,
            recipe=filled.recipe,
            generation=generation,
            transfers=parents[0].transfers,
        )
        put(recorded.entry, lot, shelf)
    return recorded


@action
def move_to_fruiting(doing: Doing, *, lot: Lot, shelf: Shelf) -> Recorded:
    """Bring colonised blocks to where they fruit; their room since inoculation is charged."""
    lot = need_blocks(lot).lot
    moved_on = last_day(lot, [MOVE_TO_FRUITING])
    if moved_on:
        raise MendedByRecording(
            f"Lot {lot.code} was moved to fruiting on {habits.day(moved_on)}. To put it on "
            "another shelf, use “move”.",
            [lot.code],
            kind=MOVE,
        )
    recorded = post(
        doing,
        MOVE_TO_FRUITING,
        [LineDraft(lot, Role.MADE, 0, basis=1)],
        charges=[
            *labour(doing, MOVE_TO_FRUITING, lot.quantity),
            *room_since(doing, lot, [INOCULATE_BLOCKS]),
        ],
    )
    if recorded.fresh:
        put(recorded.entry, lot, shelf)
    return recorded


@action
def move(doing: Doing, *, lot: Lot, shelf: Shelf) -> Recorded:
    """Put a lot on another shelf; allowed on hold, and without cost."""
    recorded = post(doing, MOVE, [LineDraft(lot, Role.COUNTED, 0)])
    if recorded.fresh:
        put(recorded.entry, lot, shelf)
    return recorded


def need_blocks(lot: Lot) -> LotCard:
    """Refuse what is not blocks, and a lot of which none is left."""
    found = need_stage(lot, Stage.BLOCKS)
    if not found.lot.quantity:
        raise Malformed(
            f"Lot {lot.code} has no blocks left (0 on hand): it was spent or lost. Choose another "
            "lot, or take back the entry that emptied it.",
            [lot.code],
        )
    return found


def room_since(doing: Doing, lot: Lot, kinds: Sequence[Kind]) -> tuple[ChargeDraft, ...]:
    """Charge the room of the blocks on hand since the last of these; none for a day before."""
    since = last_day(lot, kinds)
    days = (doing.day - since).days if since else 0
    return shelf_room(doing, lot.quantity, max(days, 0))


def _one_strain(parents: Sequence[LotCard]) -> Strain:
    """Refuse spawn of two strains in one lot of blocks: no pick could be told apart."""
    if not parents:
        raise Malformed("No spawn was named. State how much of which spawn lot went in.")
    strains = {parent.strain for parent in parents if parent.strain}
    if len(strains) != 1:
        codes = [parent.lot.code for parent in parents]
        named = ", ".join(f"{parent.lot.code} is {parent.strain}" for parent in parents)
        raise Malformed(
            f"The spawn is of {len(strains)} strains ({named}). "
            "Name spawn lots of one strain, and record each strain's blocks apart.",
            codes,
        )
    return strains.pop()


def _rates(
    filled: LotCard, parents: Sequence[LotCard], *, count: int, spawn: Sequence[Draw]
) -> SpawnRates:
    """State the spawn rate on its four bases, from the recipes' moistures."""
    assert filled.recipe
    substrate = recipe_mix(filled.recipe)
    spawn_mg = sum(draw.quantity for draw in spawn)
    dry_mg = sum(
        draw.quantity * (1_000_000 - recipe_mix(parent.recipe).moisture_wet_ppm)
        for draw, parent in zip(spawn, parents, strict=True)
        if parent.recipe
    )
    rate = spawn_rate(
        Portion(spawn_mg, 1_000_000 - dry_mg // spawn_mg),
        Portion(substrate.total_mg * count, substrate.moisture_wet_ppm),
    )
    return SpawnRates(spawn_mg_per_block=spawn_mg // count, **vars(rate))
