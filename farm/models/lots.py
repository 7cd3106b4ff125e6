"""What the farm knows of the book's lots and entries, in its own words.

Farm rows point at ledger rows, never the reverse. All but LotCard state what happened and are
never changed; the database refuses.
"""

from django.db import models

from farm.models.goods import Goods, Grade, Loose, LooseGoods
from farm.models.growing.growing import RecipeVersion, Shelf, Species, Strain
from farm.models.people.people import Person
from farm.models.trading import Customer, Product, SellingPlace, Supplier
from ledger.models import Entry, Line, Lot
from ledger.standing import StandingQuerySet


class Stage(models.IntegerChoices):
    """How far along the chain a lot stands; the order of the columns of a trace."""

    SUPPLY = 1, "supplies"
    CULTURE = 2, "culture"
    GRAIN = 3, "prepared grain"
    SPAWN = 4, "grain spawn"
    BAGS = 5, "filled bags"
    BLOCKS = 6, "blocks"
    CROP = 7, "picked"
    DRIED = 8, "dried"
    PACKS = 9, "packed"
    SPENT = 10, "spent blocks"

    @property
    def alike(self) -> str:
        """The word under which lots of this stage can stand in for one another.

        Crop of whatever grade or strain, fresh or dried, loose or packed, goes by one; a supply
        stands in only for itself.
        """
        if self == Stage.SUPPLY:
            return ""
        return "crop" if self in (Stage.CROP, Stage.DRIED, Stage.PACKS) else self.label


# In what state a lot is sold loose.
STATES: dict[int, Loose] = {
    Stage.CROP: Loose.FRESH,
    Stage.DRIED: Loose.DRIED,
    Stage.SPENT: Loose.SPENT,
    Stage.SPAWN: Loose.SPAWN,
}


class LotCard(models.Model):
    """What a lot is, in the farm's words; written once, by the action that made the lot.

    ``bags``: of a spawn lot, how many bags or jars it fills; ``in_jars``: of grain and spawn,
    whether those are jars, as its recipe takes jars. ``started``: of a block lot, how many
    blocks were started where that differs from what was made. ``generation``: grain expansions
    since the culture. ``transfers``: agar transfers since it came to the farm. ``gtin``: of packs,
    the product's when they were packed: the name under which a lot went out does not change.
    """

    lot = models.OneToOneField(Lot, models.PROTECT, primary_key=True, related_name="card")
    stage = models.PositiveSmallIntegerField(choices=Stage, db_index=True)
    species = models.ForeignKey(Species, models.PROTECT, null=True, related_name="+")
    strain = models.ForeignKey(Strain, models.PROTECT, null=True, related_name="+")
    recipe = models.ForeignKey(RecipeVersion, models.PROTECT, null=True, related_name="+")
    supplier = models.ForeignKey(Supplier, models.PROTECT, null=True, related_name="cards")
    supplier_lot = models.CharField(max_length=60, blank=True)
    best_before = models.DateField(null=True)
    generation = models.PositiveSmallIntegerField(null=True)
    transfers = models.PositiveSmallIntegerField(null=True)
    bags = models.PositiveIntegerField(null=True)
    in_jars = models.BooleanField(default=False)
    flush = models.PositiveSmallIntegerField(null=True)
    grade = models.CharField(max_length=7, choices=Grade, blank=True)
    harvested_on = models.DateField(null=True)
    product = models.ForeignKey(Product, models.PROTECT, null=True, related_name="+")
    gtin = models.CharField(max_length=14, blank=True)

    objects = StandingQuerySet.as_manager()

    def __str__(self) -> str:
        return f"{self.lot.code} ({self.get_stage_display()})"

    @property
    def goods(self) -> Goods | None:
        """What a price and a tax rate are asked for: the product of packs, or what is loose."""
        if self.stage == Stage.PACKS:
            return self.product
        state = STATES.get(self.stage)
        return LooseGoods.of(self.species, state, self.grade) if state and self.species else None


class Placing(models.Model):
    """An entry put a lot on a shelf; the last standing one says where the lot is."""

    entry = models.ForeignKey(Entry, models.PROTECT, related_name="placings")
    lot = models.ForeignKey(Lot, models.PROTECT, related_name="placings")
    shelf = models.ForeignKey(Shelf, models.PROTECT, related_name="placings")

    objects = StandingQuerySet.as_manager()


class StallDay(models.Model):
    """What was loaded for a selling place on a day; its entry holds the lots without quantity.

    ``seller``: who will sell it, where that is not whoever loaded it.
    """

    entry = models.OneToOneField(Entry, models.PROTECT, related_name="stall_day")
    place = models.ForeignKey(SellingPlace, models.PROTECT, related_name="stall_days")
    day = models.DateField()
    seller = models.ForeignKey(Person, models.PROTECT, null=True, related_name="stall_days")

    objects = StandingQuerySet.as_manager()


class LoadLine(models.Model):
    """How much of a lot was loaded, in the lot's own unit."""

    stall_day = models.ForeignKey(StallDay, models.PROTECT, related_name="lines")
    lot = models.ForeignKey(Lot, models.PROTECT, related_name="load_lines")
    quantity = models.PositiveBigIntegerField()

    objects = StandingQuerySet.as_manager()


class Sale(models.Model):
    """A sale to a named customer, or of a stall day (no customer is known)."""

    entry = models.OneToOneField(Entry, models.PROTECT, related_name="sale")
    place = models.ForeignKey(SellingPlace, models.PROTECT, related_name="sales")
    customer = models.ForeignKey(Customer, models.PROTECT, null=True, related_name="sales")
    stall_day = models.ForeignKey(StallDay, models.PROTECT, null=True, related_name="sales")

    objects = StandingQuerySet.as_manager()

    @property
    def is_box(self) -> bool:
        """Say whether it is a box of a share; what else goes to a box scheme is sold."""
        return hasattr(self, "note") and hasattr(self.note, "box")


class SaleLine(models.Model):
    """What one line of a sale came to; of a correction or return, the difference.

    ``line``: the ledger line it states the money of. net + tax = gross, in money.
    """

    sale = models.ForeignKey(Sale, models.PROTECT, related_name="lines")
    line = models.OneToOneField(Line, models.PROTECT, related_name="sale_line")
    product = models.ForeignKey(Product, models.PROTECT, null=True, related_name="sale_lines")
    net = models.BigIntegerField()
    tax = models.BigIntegerField()
    gross = models.BigIntegerField()
    tax_ppm = models.PositiveIntegerField()

    objects = StandingQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(gross=models.F("net") + models.F("tax")),
                name="sale_line_gross_is_net_and_tax",
            )
        ]


class SellingCost(models.Model):
    """What selling cost: the stall's fee, the hours. Of a correction, the difference.

    ``minutes``: of hours, how many.
    """

    FEE, SHARE, HOURS, CARDS = "stall fee", "share of takings", "hours", "card fees"

    entry = models.ForeignKey(Entry, models.PROTECT, related_name="selling_costs")
    place = models.ForeignKey(SellingPlace, models.PROTECT, related_name="selling_costs")
    what = models.CharField(max_length=60)
    amount = models.BigIntegerField()
    own = models.BooleanField(default=False)
    minutes = models.IntegerField(default=0)

    objects = StandingQuerySet.as_manager()


NEVER_CHANGED = (Placing, StallDay, LoadLine, Sale, SaleLine, SellingCost)
