"""What a cost card is of: the recipe, strain, pack and place that are usual, or were chosen."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

from django.db.models import Count, Max, OuterRef, Subquery
from django.utils import timezone

from farm.models import (
    ByProductWay,
    Form,
    LotCard,
    PlaceKind,
    Product,
    RecipeFor,
    RecipeVersion,
    SellingPlace,
    Stage,
    Steriliser,
    Strain,
    products_on,
)
from farm.planning.inputs import Names
from farm.queries.growing.by_products import chosen_or_shared, way_chosen
from ledger.models import Line, Lot, Role

DAYS: Mapping[str, str] = {
    PlaceKind.STALL: "one market day",
    PlaceKind.KITCHENS: "one delivery day",
}


@dataclass(frozen=True)
class Choice:
    """What a card is of. Spawn: of a lot, or of a grain recipe, or else the strain's newest.

    ``beside``: how trim and spent blocks are counted; blank as the farm counts them.
    """

    recipe: RecipeVersion
    strain: Strain
    product: Product
    place: SellingPlace
    steriliser: Steriliser | None = None
    spawn: Lot | None = None
    spawn_recipe: RecipeVersion | None = None
    beside: str = ""

    @property
    def names(self) -> Names:
        place = self.place
        day = DAYS.get(place.kind, Names.day)
        return Names(str(self.recipe), str(self.strain), self.product.name, place.name, day)


@dataclass(frozen=True)
class Batches:
    """The newest block lot of each recipe (and of none), newest first; ``made``: blocks, by lot."""

    newest: tuple[LotCard, ...]
    made: Mapping[int, int | None]

    def last(self, recipe: RecipeVersion) -> LotCard | None:
        return next((card for card in self.newest if card.recipe_id == recipe.pk), None)

    @property
    def last_by_a_recipe(self) -> LotCard | None:
        return next((card for card in self.newest if card.recipe_id), None)


def newest_batches() -> Batches:
    """Read what was last grown, of all and by each recipe; one query."""
    blocks = LotCard.objects.filter(stage=Stage.BLOCKS).exclude(strain=None).order_by()
    newest = blocks.values("recipe").annotate(last=Max("lot")).values("last")
    lines = Line.objects.filter(lot=OuterRef("lot"), role=Role.MADE, quantity__gt=0)
    made = Subquery(lines.order_by("pk").values("quantity")[:1])
    cards = LotCard.objects.filter(lot__in=newest).annotate(made=made).order_by("-lot_id")
    found = list(cards.select_related("lot", "strain__species", "recipe__recipe"))
    return Batches(tuple(found), {card.pk: card.made for card in found})


class Offered:
    """What a card can be of: each list is read once, when it is first asked for."""

    @cached_property
    def strains(self) -> list[Strain]:
        return list(Strain.objects.select_related("species"))

    @cached_property
    def recipes(self) -> list[RecipeVersion]:
        """Every version that blocks are filled by."""
        return [one for one in self._versions if one.recipe.makes == RecipeFor.BLOCKS]

    @cached_property
    def grain_recipes(self) -> list[RecipeVersion]:
        """The newest version of each recipe for grain."""
        return _newest_of(one for one in self._versions if one.recipe.makes == RecipeFor.GRAIN)

    @cached_property
    def products(self) -> list[Product]:
        """Packs of what is fresh, each with the supply it is packed in and today's sales tax."""
        today = timezone.localdate()
        fresh = Product.objects.filter(form=Form.FRESH).select_related("packaging__item")
        return products_on(today, fresh.annotate(by_products=Subquery(way_chosen(today))))

    @property
    def by_products(self) -> ByProductWay:
        """How the farm counts by-products today, which is asked for with its packs."""
        return chosen_or_shared(next((vars(one)["by_products"] for one in self.products), None))

    @cached_property
    def places(self) -> list[SellingPlace]:
        return list(self._days)

    @cached_property
    def _days(self) -> dict[SellingPlace, int]:
        """How many days each place was a stall."""
        return {one: one.days for one in SellingPlace.objects.annotate(days=Count("stall_days"))}

    @cached_property
    def sterilisers(self) -> list[Steriliser]:
        return list(Steriliser.objects.all())

    @cached_property
    def spawn(self) -> list[Lot]:
        """Spawn on hand."""
        lots = Lot.objects.filter(card__stage=Stage.SPAWN, quantity__gt=0)
        return list(lots.select_related("item"))

    @cached_property
    def _versions(self) -> list[RecipeVersion]:
        return list(RecipeVersion.objects.select_related("recipe"))

    @property
    def usual_place(self) -> SellingPlace:
        """The stall of most days, or the first of all; there is one."""
        days = self._days
        return max(days, key=lambda one: (one.kind == PlaceKind.STALL, days[one], -one.pk))

    def products_of(self, strain: Strain) -> list[Product]:
        return [product for product in self.products if product.species_id == strain.species_id]


def usual_choice(batches: Batches, offered: Offered) -> Choice | None:
    """What was last grown, sold at the stall of most days; None while something is missing."""
    last = batches.last_by_a_recipe
    strain = last.strain if last else _sold_strain(offered)
    recipe = last.recipe if last else next(iter(_newest_of(offered.recipes)), None)
    if recipe is None or strain is None or not offered.products or not offered.places:
        return None
    product = (offered.products_of(strain) or offered.products)[0]
    steriliser = offered.sterilisers[0] if offered.sterilisers else None
    return Choice(recipe, strain, product, offered.usual_place, steriliser=steriliser)


def _newest_of(versions: Iterable[RecipeVersion]) -> list[RecipeVersion]:
    newest: dict[int, RecipeVersion] = {}
    for one in versions:
        newest[one.recipe_id] = max(newest.get(one.recipe_id, one), one, key=lambda v: v.number)
    return list(newest.values())


def _sold_strain(offered: Offered) -> Strain | None:
    """A strain that is sold fresh, or else any."""
    sold = (one for one in offered.strains if offered.products_of(one))
    return next(sold, None) or next(iter(offered.strains), None)


def fitting_product(choice: Choice, offered: Offered) -> Product | None:
    """A fresh pack of the strain's species, where the chosen pack is of another species."""
    if choice.product.species_id == choice.strain.species_id:
        return None
    return next(iter(offered.products_of(choice.strain)), None)
