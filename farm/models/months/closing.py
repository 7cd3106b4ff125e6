"""Closed months, as they stood when they were closed, and the month's bills.

None of these rows is ever changed; the database refuses. A bill that was wrong is taken back by
a negative one.
"""

from django.db import models
from django.db.models import F, Q

from farm.models.people.people import Person
from farm.models.trading import Supplier


class ClosedMonth(models.Model):
    """A month as it was closed. ``month``: its first day.

    ``rows``: the canonical rows as JSON (`farm.queries.months.canonical`), whole numbers, customers
    by number. ``cells``: the whole grams and cents that it handed out, each by entry, lot and role
    beside its exact number, as JSON (`farm.queries.cells`): they stay. ``until_seq``: the book's
    last entry then; what comes later is late for this month.
    ``head_digest``: that entry's digest, which covers the whole book up to it; '' without entries.
    """

    month = models.DateField(unique=True)
    closed_at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    until_seq = models.BigIntegerField()
    head_digest = models.CharField("head of the chain", max_length=64, blank=True)
    rows = models.TextField()
    cells = models.TextField()
    sha256 = models.CharField("SHA-256 of the rows", max_length=64)

    class Meta:
        ordering = ("month",)

    def __str__(self) -> str:
        return f"{self.month:%B %Y}"


class ClosedFile(models.Model):
    """A file as it was produced at closing: later requests are given these bytes."""

    closed = models.ForeignKey(ClosedMonth, models.PROTECT, related_name="files")
    name = models.CharField(max_length=60)
    content = models.BinaryField()
    sha256 = models.CharField("SHA-256", max_length=64)

    class Meta:
        ordering = ("pk",)
        constraints = [models.UniqueConstraint(fields=("closed", "name"), name="closed_file_once")]

    def __str__(self) -> str:
        return self.name


class BillKind(models.TextChoices):
    """What a bill is for; all but the last have a rate that charges it."""

    PAID = "paid", "paid hours"
    ENERGY = "energy", "energy"
    ROOM = "room", "room"
    FEES = "fees", "selling fees"
    OTHER = "other", "other, which no rate charges"


class Bill(models.Model):
    """A bill that belongs to a month. ``month``: its first day.

    ``paid_money``: what it comes to, tax included; ``tax_money``: the purchase tax in it.
    ``cost_money``: what counts, without the tax where the farm reclaimed it when it was entered.
    """

    month = models.DateField(db_index=True)
    kind = models.CharField(max_length=6, choices=BillKind)
    supplier = models.ForeignKey(Supplier, models.PROTECT, null=True, related_name="bills")
    note = models.CharField(max_length=200, blank=True)
    paid_money = models.BigIntegerField()
    tax_money = models.BigIntegerField(default=0)
    cost_money = models.BigIntegerField()
    entered_at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    uuid = models.UUIDField(unique=True)
    takes_back = models.OneToOneField(
        "self", models.PROTECT, null=True, related_name="taken_back_by"
    )

    class Meta:
        ordering = ("month", "pk")
        constraints = [
            models.CheckConstraint(
                condition=Q(cost_money=F("paid_money"))
                | Q(cost_money=F("paid_money") - F("tax_money")),
                name="bill_cost_is_with_or_without_tax",
            )
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}, {self.month:%B %Y}"


NEVER_CHANGED = (ClosedMonth, ClosedFile, Bill)
