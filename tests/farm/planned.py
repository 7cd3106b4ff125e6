"""Save a cost card for the small farm, with the numbers that a test states."""

from datetime import datetime
from typing import Any

from farm.actions.costs.cards import Stated, save_card
from farm.models import RecipeVersion, SavedCard
from farm.planning.card import Ingredient
from farm.planning.grown import Records
from farm.planning.inputs import Names, plan_from
from farm.planning.work import work_out
from tests.farm.world import UNIT, World

# Per block: 10 minutes; 4 kWh a run of 40 blocks; 25 days on the shelf; 7 % lost; 700 g.
VALUES = {
    "blocks": 40, "load_blocks": 40, "run_wh": 4_000, "spawn_mg": 226_800,
    "spawn_kg_money": 2 * UNIT, "block_seconds": 600, "shelf_days": 25, "loss_ppm": 70_000,
    "first_mg": 500_000, "second_mg": 200_000, "third_mg": 0, "pick_seconds": 300,
    "trim_ppm": 80_000, "fridge_ppm": 40_000, "unsold_ppm": 100_000, "pack_money": 1_000,
    "pack_seconds": 30, "day_mg": 20_000_000, "day_fee_money": 25 * UNIT, "day_seconds": 25_200,
    "takings_ppm": 0, "card_ppm": 0, "margin_ppm": 200_000, "own_ppm": 1_000_000,
    "own_hour_money": 18 * UNIT, "paid_hour_money": 15 * UNIT, "kwh_money": 3_000,
    "block_day_money": 200, "tax_ppm": 40_000, "net_mg": 200_000,
}  # fmt: skip


def saved_plan(
    world: World,
    parts: list[list[Any]],
    *,
    recipe: RecipeVersion | None = None,
    at: datetime | None = None,
    **changed: int,
) -> SavedCard:
    """Save a card; ``parts``: [name, quantity a block, price a kilo or piece, is weighed]."""
    values = {**VALUES, **changed}
    names = {
        "recipe": str(recipe or world.block_recipe),
        "strain": str(world.strain),
        "pack": world.product.name,
        "place": world.stall.name,
    }
    plan = plan_from(values, tuple(Ingredient(*part) for part in parts), Names(**names))
    stated = Stated(
        values=values,
        sources={},
        ingredients=parts,
        records=Records().as_json(),
        names=names,
        query="",
        asked_money=None,
    )
    return save_card(
        "Plan",
        work_out(plan, Records()),
        stated,
        strain=world.strain,
        by=world.owner,
        at=at or world.now,
    )
