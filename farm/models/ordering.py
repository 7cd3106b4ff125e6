"""What customers asked for, and the papers that went along with what they were given.

None of these rows is ever changed; the database refuses. Whether an order is open, short or
delivered is read from the sales made for it (`farm.queries.orders`) and stands nowhere.
"""

from django.db import models
from django.db.models import Q

from farm.models.facts import Sale, SaleLine
from farm.models.growing import Species
from farm.models.people import Person
from farm.models.trading import Customer, Product


class Order(models.Model):
    """What a customer asked for on a day, or on that day of every week until it is stopped."""

    customer = models.ForeignKey(Customer, models.PROTECT, related_name="orders")
    due_on = models.DateField(db_index=True)
    weekly = models.BooleanField(default=False)
    note = models.CharField(max_length=200, blank=True)
    taken_at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    uuid = models.UUIDField(unique=True)

    class Meta:
        ordering = ("due_on", "pk")

    def __str__(self) -> str:
        return f"order {self.pk}"


class OrderLine(models.Model):
    """So many packs of a product, or so many mg of a species, loose.

    ``unit_money``: what was agreed for a pack or a kg; without it the price list of the day of
    delivery holds.
    """

    order = models.ForeignKey(Order, models.PROTECT, related_name="lines")
    product = models.ForeignKey(Product, models.PROTECT, null=True, related_name="+")
    species = models.ForeignKey(Species, models.PROTECT, null=True, related_name="+")
    quantity = models.PositiveBigIntegerField()
    unit_money = models.PositiveBigIntegerField(null=True)

    class Meta:
        ordering = ("pk",)
        constraints = [
            models.CheckConstraint(
                condition=Q(product=None, species__isnull=False)
                | Q(product__isnull=False, species=None),
                name="order_line_of_one_thing",
            ),
            models.CheckConstraint(
                condition=Q(product__isnull=False) | Q(unit_money__isnull=False),
                name="order_line_loose_has_price",
            ),
        ]

    def __str__(self) -> str:
        return str(self.product or f"{self.species}, loose")


class OrderStop(models.Model):
    """An order was called off: of a weekly one, from this day on."""

    order = models.ForeignKey(Order, models.PROTECT, related_name="stops")
    from_day = models.DateField()
    reason = models.CharField(max_length=200)
    stopped_at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")


class DeliveryNote(models.Model):
    """The paper that goes with a sale to a customer; it names no price.

    ``due_on``: the day of the order that it serves. ``rest_follows``: what is short is still
    owed. The address is the one written on the paper.
    """

    series = models.CharField(max_length=8)
    number = models.PositiveIntegerField()
    sale = models.OneToOneField(Sale, models.PROTECT, related_name="note")
    order = models.ForeignKey(Order, models.PROTECT, null=True, related_name="notes")
    due_on = models.DateField(db_index=True)
    issued_on = models.DateField()
    customer_name = models.CharField(max_length=80)
    customer_address = models.CharField(max_length=200, blank=True)
    rest_follows = models.BooleanField(default=False)

    class Meta:
        ordering = ("series", "number")
        constraints = [
            models.UniqueConstraint(fields=("series", "number"), name="delivery_note_number")
        ]

    def __str__(self) -> str:
        return f"{self.series}-{self.number:04}"


class DeliveredLine(models.Model):
    """Which line of an order a line of the sale was given for; it may be another product."""

    note = models.ForeignKey(DeliveryNote, models.PROTECT, related_name="delivered")
    sale_line = models.OneToOneField(SaleLine, models.PROTECT, related_name="delivered")
    order_line = models.ForeignKey(OrderLine, models.PROTECT, related_name="delivered")


NEVER_CHANGED = (Order, OrderLine, OrderStop, DeliveryNote, DeliveredLine)
