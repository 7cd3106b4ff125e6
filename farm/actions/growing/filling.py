"""Fill bags, jars or blocks by a recipe; what grain and blocks have in common."""

from collections.abc import Iterable, Sequence

from farm.actions.common import Doing, Draw, card, labour, need_some, need_stage, post, used
from farm.actions.questions import answered
from farm.actions.store.count_doubts import filling_doubts
from farm.kinds.growing import FILL_BLOCKS, PREPARE_GRAIN, Filling
from farm.models import RecipeFor, RecipeLine, RecipeVersion, Stage, Supply, Use
from farm.moisture import Mix, Portion, mix
from ledger.book import Recorded
from ledger.drafts import LineDraft, NewLot
from ledger.errors import Malformed
from ledger.models import Dimension, Item, Role

KINDS = {RecipeFor.GRAIN: PREPARE_GRAIN, RecipeFor.BLOCKS: FILL_BLOCKS}
STAGES = {RecipeFor.GRAIN: Stage.GRAIN, RecipeFor.BLOCKS: Stage.BAGS}


def fill(
    doing: Doing, item: Item, *, recipe: RecipeVersion, count: int, draws: Sequence[Draw]
) -> Recorded:
    """Make one lot of filled bags from named supply lots; water is not a lot.

    What the lots gave is the cost; a bag's mass is the recipe's. Moisture is kept on both bases,
    worked from what was really drawn and each ingredient's own moisture.
    """
    makes = RecipeFor(recipe.recipe.makes)
    need_some(count, "bags")
    _need_ingredients(recipe, draws)
    doing = answered(doing, *filling_doubts(doing.by, recipe, draws, count=count))
    water_mg = recipe.water_mg * count
    made = LineDraft(
        NewLot(item, unit_mass_mg=recipe.fill_mg),
        Role.MADE,
        count,
        basis=count,
        planned_loss_ppm=recipe.planned_loss_ppm,
    )
    recorded = post(
        doing,
        KINDS[makes],
        [*used(draws), made],
        charges=labour(doing, KINDS[makes], count),
        particulars=_said(recipe, mix(_portions(draws), water_mg), water_mg),
    )
    if recorded.fresh:
        in_jars = recipe.lines.filter(supply__use=Use.JARS).exists()
        card(recorded.lots[-1], STAGES[makes], recipe=recipe, in_jars=in_jars)
    return recorded


def need_recipe_for(recipe: RecipeVersion, makes: RecipeFor) -> None:
    if recipe.recipe.makes != makes:
        raise Malformed(
            f"{recipe} is a recipe for {recipe.recipe.makes}, not for {makes}. Choose another."
        )


def recipe_mix(recipe: RecipeVersion) -> Mix:
    """Mix one bag as the recipe states it; one query."""
    return lines_mix(recipe.lines.select_related("supply__item"), recipe.water_mg)


def lines_mix(lines: Iterable[RecipeLine], water_mg: int) -> Mix:
    """Mix what is weighed of some lines, and water."""
    weighed = [line for line in lines if line.supply.item.dimension == Dimension.MASS]
    return mix([Portion(line.quantity, line.supply.moisture_ppm) for line in weighed], water_mg)


def _said(recipe: RecipeVersion, of: Mix, water_mg: int) -> Filling:
    """State a mix: water poured in, and moisture with its basis."""
    return Filling(
        recipe=str(recipe),
        water_mg=water_mg,
        added_water_ppm=of.added_water_ppm,
        moisture_wet_basis_ppm=of.moisture_wet_ppm,
        moisture_dry_basis_ppm=of.moisture_dry_ppm,
    )


def _need_ingredients(recipe: RecipeVersion, draws: Iterable[Draw]) -> None:
    """Refuse a draw of no supply, and a recipe's ingredient that no lot gave."""
    drawn = {need_stage(draw.lot, Stage.SUPPLY).lot.item_id for draw in draws if draw.quantity > 0}
    for line in recipe.lines.select_related("supply__item"):
        if line.supply.item_id not in drawn:
            raise Malformed(
                f"{recipe} takes {line.supply}: name the lot it came from, or make a new version "
                "of the recipe without it."
            )


def _portions(draws: Iterable[Draw]) -> list[Portion]:
    """Weigh what is weighed, with its own moisture; bags are not counted."""
    draws = [draw for draw in draws if draw.lot.item.dimension == Dimension.MASS]
    supplies = Supply.objects.filter(item__in=[draw.lot.item_id for draw in draws])
    moistures = dict(supplies.values_list("item_id", "moisture_ppm"))
    return [Portion(draw.quantity, moistures[draw.lot.item_id]) for draw in draws]
