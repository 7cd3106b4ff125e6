"""Stock counts: what was found somewhere, beside what the book said at that moment.

A count changes nothing in the book; what is done about a difference is an answer that names its
entry. None of these rows is ever changed.
"""

from django.db import models

from farm.models.growing.growing import Room
from farm.models.people.people import Person
from ledger.models import Entry, Lot


class StockCount(models.Model):
    """One count of a room, or of everything (no room), signed by who counted.

    ``hidden``: the book's figures were not shown while counting.
    """

    uuid = models.UUIDField(unique=True)
    happened_at = models.DateTimeField()
    happened_on = models.DateField(db_index=True)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="counts")
    initials = models.CharField(max_length=4)
    typed_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    room = models.ForeignKey(Room, models.PROTECT, null=True, related_name="counts")
    hidden = models.BooleanField(default=False)

    class Meta:
        ordering = ("-happened_at", "-pk")

    def __str__(self) -> str:
        return f"stock count {self.pk}"


class StockCountLine(models.Model):
    """One lot of a count, in the lot's own unit.

    ``book``: what the book held. ``expected``: that less the water it should have lost by then;
    ``least``: less all that the species' band allows. ``found`` is null where nobody looked.
    """

    count = models.ForeignKey(StockCount, models.PROTECT, related_name="lines")
    lot = models.ForeignKey(Lot, models.PROTECT, related_name="count_lines")
    book = models.PositiveBigIntegerField()
    expected = models.PositiveBigIntegerField()
    least = models.PositiveBigIntegerField()
    found = models.PositiveBigIntegerField(null=True)

    class Meta:
        ordering = ("pk",)
        constraints = [models.UniqueConstraint(fields=("count", "lot"), name="lot_counted_once")]

    def __str__(self) -> str:
        return f"{self.lot.code} in {self.count}"


class Answered(models.TextChoices):
    WEIGHED = "weighed", "weighed again"
    COUNTED = "counted", "counted"
    LEFT = "left", "left as it is"


class StockCountAnswer(models.Model):
    """What was done about a difference; the last answer counts, as an entry may be taken back."""

    line = models.ForeignKey(StockCountLine, models.PROTECT, related_name="answers")
    answered = models.CharField(max_length=7, choices=Answered)
    answered_at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    initials = models.CharField(max_length=4)
    entry = models.OneToOneField(Entry, models.PROTECT, null=True, related_name="count_answer")
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ("pk",)


NEVER_CHANGED = (StockCount, StockCountLine, StockCountAnswer)
