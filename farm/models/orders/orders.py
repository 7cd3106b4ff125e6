"""What customers asked for, what was set aside for it, and the papers that went along with it.

None of these rows is ever changed; the database refuses. Whether an order is open, short or
delivered is read from the sales made for it (`farm.queries.orders.orders`) and stands nowhere.
"""

from django.db import models
from django.db.models import F, Q

from farm import habits
from farm.models.lots import Sale, SaleLine
from farm.models.people.people import Person, WeightUnit
from farm.models.selling.pricing import OfGoods, of_one_thing
from farm.models.trading import Customer, Product
from ledger.models import Lot
from ledger.standing import StandingQuerySet


class Share(models.Model):
    """A member's share of a season: so many boxes, paid ahead, at a price a box.

    Its boxes are the days of its order. What is paid ahead is owed to the member until the boxes
    are delivered; each takes ``box_money`` of it, tax in it.
    """

    customer = models.ForeignKey(Customer, models.PROTECT, related_name="shares")
    boxes = models.PositiveSmallIntegerField()
    box_money = models.PositiveBigIntegerField()
    taken_at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    uuid = models.UUIDField(unique=True)

    class Meta:
        ordering = ("pk",)

    def __str__(self) -> str:
        return f"share {self.pk}"

    @property
    def promised_money(self) -> int:
        return self.boxes * self.box_money


class Order(models.Model):
    """What a customer asked for on a day, or on that day of every so many weeks.

    ``every_weeks``: 0 once, 1 every week, 2 every other. ``until``: the last day it may fall on.
    ``share``: its days are the boxes of a share.
    """

    customer = models.ForeignKey(Customer, models.PROTECT, related_name="orders")
    share = models.OneToOneField(Share, models.PROTECT, null=True, related_name="order")
    due_on = models.DateField(db_index=True)
    every_weeks = models.PositiveSmallIntegerField(default=0)
    until = models.DateField(null=True)
    note = models.CharField(max_length=200, blank=True)
    taken_at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    uuid = models.UUIDField(unique=True)

    class Meta:
        ordering = ("due_on", "pk")

    def __str__(self) -> str:
        return f"order {self.pk}"

    @property
    def how_often(self) -> str:
        """“once”, “every week”, “every 2 weeks until 2026-11-30”."""
        if not self.every_weeks:
            return "once"
        often = "every week" if self.every_weeks == 1 else f"every {self.every_weeks} weeks"
        return f"{often} until {habits.short_day(self.until)}" if self.until else often


class OrderLine(OfGoods):
    """So many packs of a product, or so many mg of what is loose.

    ``unit_money``: what was agreed for a pack, or for a ``weight_unit`` of what is loose; without
    it what is agreed with the customer, or listed, on the day of delivery holds.
    """

    order = models.ForeignKey(Order, models.PROTECT, related_name="lines")
    product = models.ForeignKey(Product, models.PROTECT, null=True, related_name="+")
    quantity = models.PositiveBigIntegerField()
    unit_money = models.PositiveBigIntegerField(null=True)
    weight_unit = models.CharField(max_length=2, choices=WeightUnit, default=WeightUnit.KILOGRAM)

    class Meta:
        ordering = ("pk",)
        constraints = [
            of_one_thing("order_line"),
        ]

    def __str__(self) -> str:
        return str(self.what)


class OrderStop(models.Model):
    """An order was called off: of a standing one, from this day on."""

    order = models.ForeignKey(Order, models.PROTECT, related_name="stops")
    from_day = models.DateField()
    reason = models.CharField(max_length=200)
    stopped_at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")


class OrderPause(models.Model):
    """A standing order rests from one day to another, both included; then it goes on."""

    order = models.ForeignKey(Order, models.PROTECT, related_name="pauses")
    first = models.DateField()
    last = models.DateField()
    reason = models.CharField(max_length=200)
    paused_at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(last__gte=F("first")), name="order_pause_ends_after_it_begins"
            )
        ]


class Allocation(models.Model):
    """Lots set aside for one day of an order; the last one made says what is set aside.

    One without lines sets nothing aside. What became of the promise - delivered, called off, on
    hold - is read from the order and the lots (`farm.queries.orders.allocations`), kept nowhere.
    """

    order = models.ForeignKey(Order, models.PROTECT, related_name="allocations")
    due_on = models.DateField(db_index=True)
    after_entry = models.PositiveBigIntegerField("the last entry when it was made")
    made_at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    uuid = models.UUIDField(unique=True)

    class Meta:
        ordering = ("pk",)


class AllocationLine(models.Model):
    """So much of a lot, in its own unit, for a line of the order."""

    allocation = models.ForeignKey(Allocation, models.PROTECT, related_name="lines")
    order_line = models.ForeignKey(OrderLine, models.PROTECT, related_name="allocated")
    lot = models.ForeignKey(Lot, models.PROTECT, related_name="allocated")
    quantity = models.PositiveBigIntegerField()

    class Meta:
        ordering = ("pk",)
        constraints = [
            models.UniqueConstraint(fields=("allocation", "lot"), name="allocation_names_lot_once")
        ]


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

    objects = StandingQuerySet.as_manager()

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

    objects = StandingQuerySet.as_manager()


class BoxDelivery(models.Model):
    """A box of a share that was given out; its sale comes to the box price.

    ``worth_money``: what its goods would have cost at the prices of the day, tax in it.
    """

    share = models.ForeignKey(Share, models.PROTECT, related_name="deliveries")
    note = models.OneToOneField(DeliveryNote, models.PROTECT, related_name="box")
    worth_money = models.PositiveBigIntegerField()

    objects = StandingQuerySet.as_manager()


class BoxLeft(models.Model):
    """A box was made and not collected; it stays delivered unless its sale is taken back."""

    delivery = models.OneToOneField(BoxDelivery, models.PROTECT, related_name="left")
    reason = models.CharField("what became of it", max_length=200)
    noted_at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")


NEVER_CHANGED = (
    Share,
    Order,
    OrderLine,
    OrderStop,
    OrderPause,
    Allocation,
    AllocationLine,
    DeliveryNote,
    DeliveredLine,
    BoxDelivery,
    BoxLeft,
)
