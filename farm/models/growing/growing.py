"""What grows, on what, where: species, strains, ingredients, recipes, rooms, sterilisers.

Planning figures are starting beliefs, to be replaced by the farm's own; an action copies what it
uses onto its entry, so that changing one changes no past.
"""

from django.core.exceptions import ValidationError
from django.db import models

from farm.gs1 import is_gln
from ledger.models import Item


class Species(models.Model):
    """A kind of mushroom, with what the fridge and the dryer need to know of it."""

    name = models.CharField(max_length=60, unique=True)
    latin = models.CharField("botanical name", max_length=80, blank=True)
    moisture_ppm = models.PositiveIntegerField("water in the fresh mushroom, wet basis")
    fridge_days = models.PositiveSmallIntegerField("days it keeps in the fridge")
    water_loss_ppm = models.PositiveIntegerField("weight lost as water per day in the fridge")
    cooking_note = models.CharField(max_length=120, default="Cook thoroughly.")

    class Meta:
        verbose_name_plural = "species"
        ordering = ("name",)

    def __str__(self) -> str:
        return self.name


class Strain(models.Model):
    """One line of a species. Yields are per block fruited, as picked, in the order of flushes."""

    species = models.ForeignKey(Species, models.PROTECT, related_name="strains")
    name = models.CharField(max_length=60)
    source = models.CharField("source and licence", max_length=120, blank=True)
    spawn_run_days = models.PositiveSmallIntegerField("days from inoculation to fruiting")
    first_pick_days = models.PositiveSmallIntegerField("days from inoculation to the first pick")
    flush_gap_days = models.PositiveSmallIntegerField("days between flushes")
    soak_days = models.PositiveSmallIntegerField(
        "days from a soak to the pick", default=0, help_text="0: not soaked between flushes"
    )
    first_mg = models.PositiveBigIntegerField("first flush, picked per block")
    second_mg = models.PositiveBigIntegerField("second flush, picked per block", default=0)
    third_mg = models.PositiveBigIntegerField("third flush, picked per block", default=0)
    planned_loss_ppm = models.PositiveIntegerField("blocks lost, of blocks started")

    class Meta:
        ordering = ("species__name", "name")
        constraints = [models.UniqueConstraint(fields=("species", "name"), name="strain_once")]

    def __str__(self) -> str:
        return f"{self.species.name} · {self.name}"

    @property
    def flushes_mg(self) -> tuple[int, int, int]:
        return (self.first_mg, self.second_mg, self.third_mg)

    def planned_mg(self, flush: int) -> int:
        """Weight per block planned of a flush (1, 2, 3...); nothing after the last."""
        return sum(self.flushes_mg[flush - 1 : flush])

    def expected_after_mg(self, flush: int) -> int:
        """Weight per block still expected once a flush (1, 2, 3...) was picked."""
        return sum(self.flushes_mg[flush:])


class Use(models.TextChoices):
    GRAIN = "grain", "grain"
    SUBSTRATE = "substrate", "block ingredient"
    CULTURE = "culture", "culture or culture medium"
    SPAWN = "spawn", "bought spawn"
    BAGS = "bags", "bags"
    JARS = "jars", "jars"
    PACKING = "packing", "packaging"
    OTHER = "other", "other"


class Supply(models.Model):
    """Something the farm buys. ``moisture_ppm`` is the water it holds as bought, wet basis."""

    item = models.OneToOneField(Item, models.PROTECT, related_name="supply")
    use = models.CharField(max_length=9, choices=Use)
    moisture_ppm = models.PositiveIntegerField("water it holds as bought, wet basis", default=0)
    piece_mg = models.PositiveBigIntegerField("weight of one piece, if counted", default=0)

    class Meta:
        verbose_name_plural = "supplies"
        ordering = ("use", "item__name")

    def __str__(self) -> str:
        return self.item.name


class RecipeFor(models.TextChoices):
    GRAIN = "grain", "grain"
    BLOCKS = "blocks", "blocks"


class Recipe(models.Model):
    """A named recipe; what it says stands in its versions, so that the past keeps its own."""

    name = models.CharField(max_length=60, unique=True)
    makes = models.CharField(max_length=6, choices=RecipeFor)

    class Meta:
        ordering = ("makes", "name")

    def __str__(self) -> str:
        return self.name


class RecipeVersion(models.Model):
    """What one bag, jar or block is filled with. Never edited once used: make a new version."""

    recipe = models.ForeignKey(Recipe, models.PROTECT, related_name="versions")
    number = models.PositiveSmallIntegerField()
    water_mg = models.PositiveBigIntegerField("water added per bag or block")
    planned_loss_ppm = models.PositiveIntegerField("bags lost before inoculation", default=0)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ("recipe__makes", "recipe__name", "-number")
        constraints = [models.UniqueConstraint(fields=("recipe", "number"), name="version_once")]

    def __str__(self) -> str:
        return f"{self.recipe.name} v{self.number}"

    @property
    def fill_mg(self) -> int:
        """What one filled bag weighs: weighed ingredients and water (one query)."""
        lines = self.lines.filter(supply__item__dimension="mass")
        return self.water_mg + sum(line.quantity for line in lines)


class RecipeLine(models.Model):
    """One ingredient per bag or block: mg of what is weighed, pieces of what is counted."""

    version = models.ForeignKey(RecipeVersion, models.PROTECT, related_name="lines")
    supply = models.ForeignKey(Supply, models.PROTECT, related_name="recipe_lines")
    quantity = models.PositiveBigIntegerField()

    class Meta:
        ordering = ("pk",)
        constraints = [models.UniqueConstraint(fields=("version", "supply"), name="line_once")]

    def __str__(self) -> str:
        return f"{self.quantity} {self.supply}"


class Room(models.Model):
    """A room or tent, named as the grower names it."""

    name = models.CharField(max_length=40, unique=True)
    purpose = models.CharField(max_length=60, blank=True)
    gln = models.CharField("GLN", max_length=13, blank=True, validators=[is_gln])

    class Meta:
        ordering = ("name",)

    def __str__(self) -> str:
        return self.name


class Shelf(models.Model):
    """A place in a room where a lot stands; a fridge's shelf is one as well."""

    room = models.ForeignKey(Room, models.PROTECT, related_name="shelves")
    name = models.CharField(max_length=40)
    holds_blocks = models.PositiveSmallIntegerField("block places", default=0)

    class Meta:
        verbose_name_plural = "shelves"
        ordering = ("room__name", "name")
        constraints = [models.UniqueConstraint(fields=("room", "name"), name="shelf_once")]

    def __str__(self) -> str:
        return f"{self.room.name}, {self.name}"


class Steriliser(models.Model):
    """A pressure vessel or steam drum. Settings above the maker's plate are never suggested."""

    name = models.CharField(max_length=60, unique=True)
    pressurised = models.BooleanField(default=True)
    max_gauge_kpa = models.PositiveSmallIntegerField("maker's limit, kPa above air", default=0)
    run_wh = models.PositiveIntegerField("energy of one run, watt-hours")
    inspected_until = models.DateField("inspection certificate valid until", null=True, blank=True)

    class Meta:
        ordering = ("name",)

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        if self.pressurised and not self.max_gauge_kpa:
            raise ValidationError("State the maker's limit from the vessel's plate.")
