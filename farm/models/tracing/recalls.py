"""Recalls and traceability drills, as they were opened, carried out and signed.

None of these rows is ever changed; the database refuses. What was traced is frozen as canonical
JSON that holds lots by code and customers by number, so that a name can still be erased. What a
recall lists now, and what is left to do for it, is worked, and brought up to date by each entry.
"""

from django.db import models

from farm.models.people.people import Person
from farm.models.selling.stall import Given
from farm.models.trading import Customer, SellingPlace
from ledger.models import Entry, Lot


class Recall(models.Model):
    """A recall as it was opened. ``suspects``: in words. ``frozen``: the trace of that moment.

    ``entry``: the hold of all that it listed. ``asked``: of suspects that may become more, what was
    asked for: what stood in a room, a supplier's lot.
    """

    number = models.PositiveIntegerField(unique=True)
    opened_at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    uuid = models.UUIDField(unique=True)
    reason = models.CharField(max_length=300)
    suspects = models.CharField(max_length=300)
    asked = models.CharField(max_length=200, blank=True)
    entry = models.OneToOneField(Entry, models.PROTECT, related_name="recall")
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

    To a customer, to a selling place where nobody's name is known, or to those who were ``given``
    something for one reason.
    """

    recall = models.ForeignKey(Recall, models.PROTECT, related_name="calls")
    called_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    uuid = models.UUIDField(unique=True)
    customer = models.ForeignKey(Customer, models.PROTECT, null=True, related_name="recall_calls")
    place = models.ForeignKey(SellingPlace, models.PROTECT, null=True, related_name="recall_calls")
    given = models.CharField(max_length=8, choices=Given, blank=True)
    reached = models.BooleanField()
    answer = models.CharField(max_length=300)
    recovered_mg = models.PositiveBigIntegerField(default=0)

    class Meta:
        ordering = ("called_at", "pk")
        constraints = [
            models.CheckConstraint(
                condition=models.Q(customer=None, place__isnull=False, given="")
                | models.Q(customer__isnull=False, place=None, given="")
                | models.Q(models.Q(customer=None, place=None), ~models.Q(given="")),
                name="recall_call_to_one",
            )
        ]


class RecallLot(models.Model):
    """Worked: a lot that a recall lists, or listed until it was let go (``left``).

    ``suspect``: the fault may begin with it. ``certain``: it must hold some of a suspect.
    ``came_at``: when it came on the list; blank for what was listed when the recall was opened.
    """

    recall = models.ForeignKey(Recall, models.PROTECT, related_name="lots")
    lot = models.ForeignKey(Lot, models.PROTECT, related_name="recalls")
    suspect = models.BooleanField(default=False)
    certain = models.BooleanField(default=False)
    left = models.BooleanField(default=False)
    came_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=("recall", "lot"), name="recall_lot_once")]


class RecallStanding(models.Model):
    """Worked: what is left to do for a recall.

    ``customers``, of whom ``told`` were spoken to. Of customers, places without names and reasons
    for giving away, as many are ``silent``: nothing came of calls yet. ``here``: lots of its list.
    ``sold_mg``: all that was sold of it, less what came back.
    """

    recall = models.OneToOneField(Recall, models.PROTECT, primary_key=True, related_name="standing")
    customers = models.PositiveIntegerField(default=0)
    told = models.PositiveIntegerField(default=0)
    silent_customers = models.PositiveIntegerField(default=0)
    silent_places = models.PositiveIntegerField(default=0)
    silent_given = models.PositiveIntegerField(default=0)
    here = models.PositiveIntegerField(default=0)
    sold_mg = models.BigIntegerField(default=0)


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
