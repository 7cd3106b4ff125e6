"""Grain: prepared from dry grain and water, inoculated from a culture or from grain."""

from collections.abc import Sequence

from farm.actions.common import (
    Doing,
    Draw,
    card,
    item_for,
    labour,
    need_some,
    need_stage,
    post,
    used,
)
from farm.actions.growing.filling import fill, need_recipe_for
from farm.actions.growing.runs import unsterilised_doubt
from farm.actions.idempotency import action
from farm.actions.questions import answered
from farm.kinds.growing import INOCULATE_GRAIN
from farm.models import RecipeFor, RecipeVersion, Stage
from ledger.amounts import rate_of
from ledger.book import Recorded
from ledger.drafts import LineDraft, NewLot
from ledger.models import Dimension, Lot, Role

# Common practice, no source: a few bags in a hundred go sour. Copied onto each entry.
PLANNED_LOSS_PPM = 40_000


@action
def prepare_grain(
    doing: Doing, *, recipe: RecipeVersion, bags: int, draws: Sequence[Draw]
) -> Recorded:
    """Fill bags or jars with grain and water, to be sterilised."""
    need_recipe_for(recipe, RecipeFor.GRAIN)
    item = item_for(f"Prepared grain, {recipe.recipe.name}", Dimension.COUNT, stage=Stage.GRAIN)
    return fill(doing, item, recipe=recipe, count=bags, draws=draws)


@action
def inoculate_grain(doing: Doing, *, grain: Lot, bags: int, source: Lot, amount: int) -> Recorded:
    """Put culture (``amount`` portions) or grown grain (``amount`` mg) into prepared grain.

    The spawn lot is weighed, so that blocks can take grams of it, and stays in as many bags or
    jars as the grain was in; its generation is one more
    than that of the grain it came from, and 1 from a culture. The planned loss is in whole bags:
    4 % of 50 bags of 1,360 g leave as two bags, 2,720 g, without cost.
    """
    prepared = need_stage(grain, Stage.GRAIN)
    parent = need_stage(source, Stage.CULTURE, Stage.SPAWN)
    need_some(bags, "bags")
    need_some(amount, "portions or mg of the source")
    doing = answered(doing, unsterilised_doubt(prepared))
    from_grain = parent.stage == Stage.SPAWN
    bag_mg = grain.unit_mass_mg or 0
    mass_mg = bags * bag_mg + (amount if from_grain else 0)
    made = LineDraft(
        NewLot(item_for(f"Grain spawn, {parent.strain}", stage=Stage.SPAWN)),
        Role.MADE,
        mass_mg,
        basis=mass_mg,
        planned_loss_count=rate_of(bags, PLANNED_LOSS_PPM) * (mass_mg // bags),
    )
    recorded = post(
        doing,
        INOCULATE_GRAIN,
        [*used([Draw(source, amount), Draw(grain, bags)]), made],
        charges=labour(doing, INOCULATE_GRAIN, bags),
    )
    if recorded.fresh:
        generation = (parent.generation or 0) + 1 if from_grain else 1
        card(
            recorded.lots[-1],
            Stage.SPAWN,
            strain=parent.strain,
            species=parent.species,
            recipe=prepared.recipe,
            generation=generation,
            transfers=parent.transfers,
            bags=bags,
            in_jars=prepared.in_jars,
        )
    return recorded
