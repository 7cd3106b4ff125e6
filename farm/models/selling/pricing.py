"""What goods cost and what tax they carry, from a day on: packs, and what is sold loose."""

from collections.abc import Collection
from datetime import date
from typing import Any

from django.db import models
from django.db.models import F, OuterRef, Q, QuerySet, Subquery

from farm import habits
from farm.models.goods import Goods, Grade, Loose, LooseGoods
from farm.models.growing.growing import Species
from farm.models.people.people import WeightUnit
from farm.models.trading import Customer, Product, SellingPlace

ONE_THING = Q(product=None, species__isnull=False) | Q(product__isnull=False, species=None)
CHOOSE_ONE = "Choose a product, or a species that is sold loose."
# Nothing is graded but what is fresh.
GRADED = (
    Q(species=None, state="", grade="")
    | Q(state=Loose.FRESH, grade__in=Grade.values)
    | Q(state__in=[one for one in Loose.values if one != Loose.FRESH], grade="")
)


class OfLoose(models.Model):
    """A row that may be of what is loose: a species in a state; blank is fresh."""

    species = models.ForeignKey(
        Species,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name="or a species, loose",
    )
    state = models.CharField(
        "of what is loose, its state",
        max_length=5,
        choices=Loose,
        blank=True,
        help_text="Blank: fresh",
    )

    class Meta:
        abstract = True

    def clean(self) -> None:
        """Say in full what is meant."""
        self.state = (self.state or Loose.FRESH) if self.species_id else ""

    def save(self, *args: Any, **how: Any) -> None:
        self.clean()
        super().save(*args, **how)


class OfGoods(OfLoose):
    """A row of a product, or of what is loose, and where that is fresh of a grade."""

    grade = models.CharField(
        "of what is loose and fresh, its grade",
        max_length=7,
        choices=Grade,
        blank=True,
        help_text="Blank: firsts",
    )

    class Meta:
        abstract = True

    def clean(self) -> None:
        super().clean()
        self.grade = (self.grade or Grade.FIRSTS) if self.state == Loose.FRESH else ""

    @property
    def what(self) -> Goods:
        product: Product | None = getattr(self, "product", None)
        if product:
            return product
        assert self.species, "a row is of a product or of a species"
        return LooseGoods.of(self.species, self.state, self.grade)


def of_one_thing(name: str) -> models.CheckConstraint:
    return models.CheckConstraint(
        condition=ONE_THING & GRADED,
        name=f"{name}_of_one_thing",
        violation_error_message=CHOOSE_ONE,
    )


def once(name: str, among: Collection[str] = (), only: Q | None = None) -> list[Any]:
    """Allow one row from a day on for one thing, among those that name the same of ``among``."""
    return [
        models.UniqueConstraint(
            fields=(*among, *fields, "from_day"),
            condition=only,
            name=f"{name}_of_{kind}_once",
            violation_error_message="There is a row for that from this day on. Change that one.",
        )
        for kind, fields in (("pack", ("product",)), ("loose", ("species", "state", "grade")))
    ]


class Price(OfGoods):
    """The price of a pack, or of a weight of what is loose, at a selling place from a day on.

    Tax is within it or on top of it. Without a place it is the goods' own price, wherever no list
    of the place names one.
    """

    product = models.ForeignKey(
        Product, models.PROTECT, null=True, blank=True, related_name="prices"
    )
    place = models.ForeignKey(
        SellingPlace,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="prices",
        help_text="None: wherever the place has no price of its own",
    )
    from_day = models.DateField()
    pack_money = models.PositiveBigIntegerField("price of a pack, or of the weight below")
    weight_unit = models.CharField(
        "of what is loose, per", max_length=2, choices=WeightUnit, default=WeightUnit.KILOGRAM
    )
    tax_included = models.BooleanField(default=True)

    class Meta:
        ordering = ("product__name", "species__name", "place__name", "-from_day")
        constraints = [
            *once("price", ("place",)),
            *once("price_anywhere", only=Q(place=None)),
            of_one_thing("price"),
        ]

    def __str__(self) -> str:
        where = self.place or "any place"
        return f"{self.what} at {where} from {habits.short_day(self.from_day)}"


class AgreedPrice(OfGoods):
    """A price for one customer, from a day on and until another: it goes before every list.

    Of a pack of a product, or of a ``weight_unit`` of what is loose.
    """

    customer = models.ForeignKey(Customer, models.PROTECT, related_name="agreed_prices")
    product = models.ForeignKey(
        Product, models.PROTECT, null=True, blank=True, related_name="agreed_prices"
    )
    from_day = models.DateField()
    until = models.DateField("until and including", null=True, blank=True)
    unit_money = models.PositiveBigIntegerField("price of a pack, or of the weight below")
    weight_unit = models.CharField(
        "of what is loose, per", max_length=2, choices=WeightUnit, default=WeightUnit.KILOGRAM
    )
    tax_included = models.BooleanField(default=False)

    class Meta:
        ordering = ("customer__name", "product__name", "species__name", "-from_day")
        constraints = [
            *once("agreed_price", ("customer",)),
            of_one_thing("agreed_price"),
            models.CheckConstraint(
                condition=Q(until=None) | Q(until__gte=F("from_day")),
                name="agreed_price_ends_after_it_begins",
                violation_error_message="It ends before it begins. Choose a later last day.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.what} for {self.customer} from {habits.short_day(self.from_day)}"


class SalesTax(OfLoose):
    """The rate of sales tax from a day on, of a product, or of a species in a state, loose.

    A sale takes the rate of its own day, whenever it is entered. All grades have one rate.
    """

    product = models.ForeignKey(
        Product, models.PROTECT, null=True, blank=True, related_name="sales_taxes"
    )
    from_day = models.DateField()
    rate_ppm = models.PositiveIntegerField("sales tax rate")

    class Meta:
        verbose_name_plural = "sales taxes"
        ordering = ("product__name", "species__name", "state", "-from_day")
        constraints = [
            models.UniqueConstraint(fields=("product", "from_day"), name="tax_of_pack_once"),
            models.UniqueConstraint(
                fields=("species", "state", "from_day"), name="tax_of_loose_once"
            ),
            models.CheckConstraint(
                condition=ONE_THING, name="tax_of_one_thing", violation_error_message=CHOOSE_ONE
            ),
        ]

    def __str__(self) -> str:
        loose = f"{self.species}, {Loose(self.state).label}, loose" if self.state else ""
        return f"{self.product or loose} from {habits.short_day(self.from_day)}"


def sales_tax_ppm(what: Goods, day: date) -> int:
    """Return the rate of sales tax in force on a day; one query.

    A product has its own until one from a day on stands; what is loose has none until then.
    """
    if isinstance(what, Product):
        rows, before = SalesTax.objects.filter(product=what), what.tax_ppm
    else:
        rows, before = SalesTax.objects.filter(species=what.species, state=what.state), 0
    row = rows.filter(from_day__lte=day).order_by("-from_day").first()
    return row.rate_ppm if row else before


def products_on(day: date, products: QuerySet[Product]) -> list[Product]:
    """Read products, each with the rate in force on a day in place of its own; one query."""
    rows = SalesTax.objects.filter(product=OuterRef("pk"), from_day__lte=day).order_by("-from_day")
    found: list[Product] = []
    for product in products.annotate(in_force_ppm=Subquery(rows.values("rate_ppm")[:1])):
        if product.in_force_ppm is not None:
            product.tax_ppm = product.in_force_ppm
        found.append(product)
    return found
