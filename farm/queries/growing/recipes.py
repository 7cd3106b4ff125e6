"""Recipes as they stand, and which lots on hand would fill them."""

from dataclasses import dataclass

from django.db.models import F, Max, QuerySet

from farm.models import RecipeVersion
from farm.queries.stock import all_lots, located
from ledger.amounts import in_turn
from ledger.models import Item, Lot


@dataclass(frozen=True)
class Ingredients:
    """Lots on hand that a recipe can be filled from, what each would give, what is missing.

    ``each``: how much of each ingredient goes into one.
    """

    each: dict[Item, int]
    lots: tuple[Lot, ...]
    taken: dict[int, int]
    missing: tuple[str, ...]


def newest_versions(makes: str | None = None) -> QuerySet[RecipeVersion]:
    """The last version of each recipe (for grain or for blocks)."""
    versions = RecipeVersion.objects.select_related("recipe")
    if makes:
        versions = versions.filter(recipe__makes=makes)
    return versions.annotate(newest=Max("recipe__versions__number")).filter(number=F("newest"))


def ingredients(version: RecipeVersion, count: int) -> Ingredients:
    """Take each ingredient of so many bags from the oldest lots on hand; two queries."""
    lines = version.lines.select_related("supply__item")
    each = {line.supply.item: line.quantity for line in lines}
    wanted = {item.pk: quantity * count for item, quantity in each.items()}
    lots = located(
        all_lots().filter(item__in=wanted, quantity__gt=0).order_by("item__name", "made_by_id")
    )
    taken: dict[int, int] = {}
    for lot in lots:
        there = 0 if lot.held else lot.quantity
        [take], wanted[lot.item_id] = in_turn(wanted[lot.item_id], [there])
        if take:
            taken[lot.pk] = take
    missing = tuple(sorted(item.name for item in each if wanted[item.pk]))
    return Ingredients(each, tuple(lots), taken, missing)
