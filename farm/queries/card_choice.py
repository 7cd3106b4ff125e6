"""What a cost card is of: the recipe, strain, pack and place that are usual, or were chosen."""

from collections.abc import Mapping
from dataclasses import dataclass

from django.db.models import Count, Max, OuterRef, QuerySet, Subquery

from farm.models import (
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
)
from farm.planning.inputs import Names
from farm.queries.recipes import newest_versions
from ledger.models import Line, Lot, Role


@dataclass(frozen=True)
class Choice:
    """What a card is of. Spawn: of a lot, or of a grain recipe, or else the strain's newest."""

    recipe: RecipeVersion
    strain: Strain
    product: Product
    place: SellingPlace
    steriliser: Steriliser | None = None
    spawn: Lot | None = None
    spawn_recipe: RecipeVersion | None = None

    @property
    def names(self) -> Names:
        return Names(str(self.recipe), str(self.strain), self.product.name, self.place.name)


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


def usual_choice(batches: Batches) -> Choice | None:
    """What was last grown, sold at the stall of most days; None while something is missing."""
    last = batches.last_by_a_recipe
    strain = last.strain if last else _sold_strain()
    recipe = last.recipe if last else newest_versions(RecipeFor.BLOCKS).first()
    products = list(fresh_products())
    species = strain.species_id if strain else None
    fitting = [product for product in products if product.species_id == species]
    by_days = SellingPlace.objects.annotate(days=Count("stall_days")).order_by("-days", "pk")
    places = sorted(by_days, key=lambda place: place.kind != PlaceKind.STALL)
    if recipe is None or strain is None or not products or not places:
        return None
    product = (fitting or products)[0]
    return Choice(recipe, strain, product, places[0], steriliser=Steriliser.objects.first())


def fresh_products() -> QuerySet[Product]:
    """Packs of what is fresh, each with the supply it is packed in."""
    return Product.objects.filter(form=Form.FRESH).select_related("packaging__item")


def _sold_strain() -> Strain | None:
    strains = Strain.objects.select_related("species")
    return strains.filter(species__products__form=Form.FRESH).first() or strains.first()


def fitting_product(choice: Choice) -> Product | None:
    """A fresh pack of the strain's species, where the chosen pack is of another species."""
    species = choice.strain.species
    if choice.product.species_id == species.pk:
        return None
    return Product.objects.filter(species=species, form=Form.FRESH).first()
