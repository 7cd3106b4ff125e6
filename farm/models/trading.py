"""Whom the farm buys from and sells to, what it sells, and what an hour and a kWh cost."""

from datetime import date

from django.core.exceptions import ValidationError
from django.db import models

from farm.models.growing import Species, Supply


class Supplier(models.Model):
    name = models.CharField(max_length=80, unique=True)
    address = models.CharField(max_length=200, blank=True)
    contact = models.CharField("telephone or e-mail", max_length=120, blank=True)

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

    class Meta:
        ordering = ("name",)

    def __str__(self) -> str:
        return self.name


class Customer(models.Model):
    """A named customer; reports carry the number, the name may be erased."""

    name = models.CharField(max_length=80, unique=True)
    place = models.ForeignKey(SellingPlace, models.PROTECT, related_name="customers")
    address = models.CharField(max_length=200, blank=True)
    contact = models.CharField("telephone or e-mail", max_length=120, blank=True)
    tax_number = models.CharField(max_length=30, blank=True)

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
    tax_ppm = models.PositiveIntegerField("sales tax rate", default=0)

    class Meta:
        ordering = ("name",)
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(form=Form.FRESH, pack=PackKind.AIRTIGHT, approved_process=""),
                name="fresh_airtight_is_approved",
                violation_error_message=(
                    "Fresh mushrooms in airtight packs can grow the botulism poison. Use an open "
                    "or perforated pack, or say by whom the process was approved."
                ),
            )
        ]

    def __str__(self) -> str:
        return self.name


class Price(models.Model):
    """The price of a pack at a selling place from a day on; tax within it or on top of it."""

    product = models.ForeignKey(Product, models.PROTECT, related_name="prices")
    place = models.ForeignKey(SellingPlace, models.PROTECT, related_name="prices")
    from_day = models.DateField()
    pack_money = models.PositiveBigIntegerField("price of a pack")
    tax_included = models.BooleanField(default=True)

    class Meta:
        ordering = ("product__name", "place__name", "-from_day")
        constraints = [
            models.UniqueConstraint(fields=("product", "place", "from_day"), name="price_once")
        ]

    def __str__(self) -> str:
        return f"{self.product} at {self.place} from {self.from_day}"


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
        return f"{self.get_of_display()} from {self.from_day}"


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
    """Money per unit in force on a day; one query. Raises ValidationError naming the remedy."""
    row = Rate.objects.filter(of=of, from_day__lte=day).order_by("-from_day").first()
    if row is None:
        label = RateOf(of).label
        raise ValidationError(f"What {label} costs on {day} is not known. Add it under Look-ups.")
    return row.rate_money
