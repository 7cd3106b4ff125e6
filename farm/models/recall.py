"""Recalls and traceability drills, as they were opened, carried out and signed.

None of these rows is ever changed; the database refuses. What was traced is frozen as canonical
JSON that holds lots by code and customers by number, so that a name can still be erased.
"""

from django.db import models

from farm.models.people import Person
from farm.models.trading import Customer, SellingPlace
from ledger.models import Lot


class Recall(models.Model):
    """A recall as it was opened. ``suspects``: in words. ``frozen``: the trace of that moment."""

    number = models.PositiveIntegerField(unique=True)
    opened_at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    uuid = models.UUIDField(unique=True)
    reason = models.CharField(max_length=300)
    suspects = models.CharField(max_length=300)
    frozen = models.TextField()

    class Meta:
        ordering = ("-number",)

    def __str__(self) -> str:
        return f"recall {self.number}"


class RecallNotice(models.Model):
    """The words that customers are told; a new version never replaces an earlier one."""

    recall = models.ForeignKey(Recall, models.PROTECT, related_name="notices")
    version = models.PositiveSmallIntegerField()
    written_at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    text = models.TextField()

    class Meta:
        ordering = ("version",)
        constraints = [models.UniqueConstraint(fields=("recall", "version"), name="notice_once")]


class RecallCall(models.Model):
    """One call, message or posted notice, what was answered, and what weight came back by it.

    To a customer, or to a selling place where nobody's name is known.
    """

    recall = models.ForeignKey(Recall, models.PROTECT, related_name="calls")
    called_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    uuid = models.UUIDField(unique=True)
    customer = models.ForeignKey(Customer, models.PROTECT, null=True, related_name="recall_calls")
    place = models.ForeignKey(SellingPlace, models.PROTECT, null=True, related_name="recall_calls")
    reached = models.BooleanField()
    answer = models.CharField(max_length=300)
    recovered_mg = models.PositiveBigIntegerField(default=0)

    class Meta:
        ordering = ("called_at", "pk")
        constraints = [
            models.CheckConstraint(
                condition=models.Q(customer=None, place__isnull=False)
                | models.Q(customer__isnull=False, place=None),
                name="recall_call_to_one",
            )
        ]


class Drill(models.Model):
    """A trace of one sold lot, done to practise: when it was asked for, when the lists stood."""

    number = models.PositiveIntegerField(unique=True)
    started_at = models.DateTimeField()
    traced_at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    uuid = models.UUIDField(unique=True)
    lot = models.ForeignKey(Lot, models.PROTECT, related_name="drills")
    picked_by_chance = models.BooleanField()
    frozen = models.TextField()

    class Meta:
        ordering = ("-number",)

    def __str__(self) -> str:
        return f"drill {self.number}"


class DrillSignature(models.Model):
    """What was answered about what is missing, what was learnt, who signed and when."""

    drill = models.OneToOneField(Drill, models.PROTECT, related_name="signature")
    signed_at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    initials = models.CharField(max_length=4)
    answers = models.TextField()
    lessons = models.CharField(max_length=600, blank=True)


NEVER_CHANGED = (Recall, RecallNotice, RecallCall, Drill, DrillSignature)
