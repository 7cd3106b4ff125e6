"""Whom the farm buys from and sells to, the packs it sells, and what an hour and a kWh cost."""

from datetime import date

from django.db import models

from farm import habits
from farm.gs1 import gtin_14, is_gln, is_gtin
from farm.models.growing.growing import Species, Supply
from farm.refusals import MendedInDetails


class Supplier(models.Model):
    name = models.CharField(max_length=80, unique=True)
    address = models.CharField(max_length=200, blank=True)
    contact = models.CharField("telephone or e-mail", max_length=120, blank=True)
    gln = models.CharField("GLN", max_length=13, blank=True, validators=[is_gln])

    class Meta:
        ordering = ("name",)

    def __str__(self) -> str:
        return self.name


class PlaceKind(models.TextChoices):
    STALL = "stall", "market stall"
    KITCHENS = "kitchens", "kitchens and shops"
    BOXES = "boxes", "farm-share boxes"
    DOOR = "door", "at the farm's door"


class SellingPlace(models.Model):
    """Where sales happen, and what selling there costs: it belongs to the place, not to stock."""

    name = models.CharField(max_length=60, unique=True)
    kind = models.CharField(max_length=8, choices=PlaceKind)
    day_fee_money = models.PositiveBigIntegerField("fee per day", default=0)
    fee_ppm = models.PositiveIntegerField("fee, share of takings", default=0)
    day_minutes = models.PositiveSmallIntegerField("usual minutes per day or delivery", default=0)
    card_fee_ppm = models.PositiveIntegerField("card fee, share of what cards paid", default=0)
    card_fee_each_money = models.PositiveBigIntegerField("card fee, each payment", default=0)
    float_money = models.PositiveBigIntegerField("usual float", default=0)
    discount_ppm = models.PositiveIntegerField("discount a seller may give", default=0)
    gln = models.CharField("GLN", max_length=13, blank=True, validators=[is_gln])

    class Meta:
        ordering = ("name",)

    def __str__(self) -> str:
        return self.name

    @property
    def names_customers(self) -> bool:
        """Say whether who buys here is known by name, and not somebody who comes by."""
        return self.kind in (PlaceKind.KITCHENS, PlaceKind.BOXES)


class Customer(models.Model):
    """A named customer; reports carry the number, the name may be erased."""

    name = models.CharField(max_length=80, unique=True)
    place = models.ForeignKey(SellingPlace, models.PROTECT, related_name="customers")
    address = models.CharField(max_length=200, blank=True)
    contact = models.CharField("telephone or e-mail", max_length=120, blank=True)
    tax_number = models.CharField(max_length=30, blank=True)
    gln = models.CharField("GLN", max_length=13, blank=True, validators=[is_gln])

    least_days = models.PositiveSmallIntegerField(
        "days it must still keep", default=0, help_text="On the day it is delivered"
    )
    stop = models.PositiveSmallIntegerField(
        "place in the delivery round", default=0, help_text="1 is the first stop; 0 comes last"
    )
    stop_note = models.CharField(
        "note for the round", max_length=120, blank=True, help_text="Back door, before 11"
    )

    class Meta:
        ordering = ("name",)

    def __str__(self) -> str:
        return self.name

    @property
    def number(self) -> str:
        return f"K{self.pk:04}"


class Form(models.TextChoices):
    FRESH = "fresh", "fresh"
    DRIED = "dried", "dried"


class PackKind(models.TextChoices):
    OPEN = "open", "open or perforated"
    AIRTIGHT = "airtight", "airtight"


class Product(models.Model):
    """A pack of a stated net weight.

    Fresh mushrooms in airtight packs can grow the botulism poison: such a pack is refused unless
    it says by whom its process was approved.
    """

    name = models.CharField(max_length=80, unique=True)
    species = models.ForeignKey(Species, models.PROTECT, related_name="products")
    form = models.CharField(max_length=5, choices=Form)
    net_mg = models.PositiveBigIntegerField("declared net weight")
    pack = models.CharField(
        max_length=8,
        choices=PackKind,
        help_text=(
            "Fresh mushrooms in an airtight pack can grow the botulism poison. Use an open or "
            "perforated pack, unless your food authority approved the process; its word decides."
        ),
    )
    approved_process = models.CharField(
        max_length=200,
        blank=True,
        help_text="For fresh in an airtight pack alone: who approved it, when, and the reference.",
    )
    packaging = models.ForeignKey(
        Supply, models.PROTECT, null=True, blank=True, related_name="products"
    )
    tax_ppm = models.PositiveIntegerField(
        "sales tax rate",
        default=0,
        help_text="Until one from a day on stands under Farm details, sales tax rates",
    )
    tare_mg = models.PositiveBigIntegerField("weight of the empty pack", default=0)
    label_text = models.CharField(
        max_length=160, blank=True, help_text="Further words for its label"
    )
    fridge_days = models.PositiveSmallIntegerField(
        "days it keeps in this pack",
        null=True,
        blank=True,
        help_text="From the pick. Blank: the species' days in an open crate.",
    )
    gtin = models.CharField(
        "GTIN",
        max_length=14,
        blank=True,
        validators=[is_gtin],
        help_text="The number under its bar code, if GS1 gave one for this pack; kept in 14 digits",
    )

    class Meta:
        ordering = ("name",)
        constraints = [
            models.UniqueConstraint(
                fields=("gtin",),
                condition=~models.Q(gtin=""),
                name="gtin_once",
                violation_error_message="Another product has this GTIN. Each pack has its own.",
            ),
            models.CheckConstraint(
                condition=~models.Q(form=Form.FRESH, pack=PackKind.AIRTIGHT, approved_process=""),
                name="fresh_airtight_is_approved",
                violation_error_message=(
                    "Fresh mushrooms in airtight packs can grow the botulism poison. Use an open "
                    "or perforated pack, or say by whom the process was approved."
                ),
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def keeps_days(self) -> int:
        """Days from the pick in this pack, else the species' days."""
        return self.fridge_days or self.species.fridge_days

    def clean(self) -> None:
        self.gtin = gtin_14(self.gtin) if self.gtin else ""


class RateOf(models.TextChoices):
    PAID_HOUR = "paid_hour", "a paid hour"
    OWN_HOUR = "own_hour", "an own hour"
    KWH = "kwh", "a kilowatt-hour"
    BLOCK_DAY = "block_day", "one block on a shelf for a day"


class Rate(models.Model):
    """What an hour, a kWh or a block's day on the shelf costs, from a day on."""

    of = models.CharField(max_length=9, choices=RateOf)
    from_day = models.DateField()
    rate_money = models.PositiveBigIntegerField("rate")

    class Meta:
        ordering = ("of", "-from_day")
        constraints = [models.UniqueConstraint(fields=("of", "from_day"), name="rate_once")]

    def __str__(self) -> str:
        return f"{self.get_of_display()} from {habits.short_day(self.from_day)}"


class StandardTime(models.Model):
    """The usual minutes of an action: so many each time, and so many seconds a unit."""

    action = models.CharField(max_length=40, unique=True)
    minutes = models.PositiveSmallIntegerField("minutes each time")
    unit_seconds = models.PositiveIntegerField("seconds per bag, block, pack or kilogram")

    class Meta:
        ordering = ("action",)

    def __str__(self) -> str:
        return self.action


def rate_on(of: str, day: date) -> int:
    """Money per unit in force on a day; one query. Refuses a day that has none."""
    row = Rate.objects.filter(of=of, from_day__lte=day).order_by("-from_day").first()
    if row is None:
        label = RateOf(of).label
        raise MendedInDetails(
            f"What {label} costs on {habits.day(day)} is not known. Add it under Farm details.",
            of=Rate,
        )
    return row.rate_money
