"""The records kept beside the book: what was read, cleaned, tested, taught, put right.

None of these rows is ever changed; the database refuses. A correction is a new row that names the
one it corrects, which is shown struck through. Only private words can be erased: they stand in a
row of their own, so that the record keeps its number, its time and its signature.
"""

from datetime import timedelta

from django.db import models

from farm.models.growing.growing import Room
from farm.models.people.people import Person
from ledger.models import Entry, Lot

# Written down more than a day after it happened: the record shows that it is late.
LATE = timedelta(days=1)


class Record(models.Model):
    """One record; ``kind`` names its form in `farm.records`, ``said`` is its values as JSON.

    ``by`` did it and signs with ``initials``; ``typed_by`` is whose sign-in it was typed under.
    Where the two differ, the doer signed with a PIN. ``note``: of a correction, why.
    """

    kind = models.CharField(max_length=20, db_index=True)
    happened_at = models.DateTimeField()
    happened_on = models.DateField(db_index=True)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="records")
    initials = models.CharField(max_length=4)
    typed_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    uuid = models.UUIDField(unique=True)
    room = models.ForeignKey(Room, models.PROTECT, null=True, related_name="records")
    lot = models.ForeignKey(Lot, models.PROTECT, null=True, related_name="records")
    said = models.TextField(default="{}")
    note = models.CharField(max_length=300, blank=True)
    corrects = models.OneToOneField("self", models.PROTECT, null=True, related_name="corrected_by")

    class Meta:
        ordering = ("-happened_at", "-pk")

    def __str__(self) -> str:
        return f"record {self.pk}"

    @property
    def is_late(self) -> bool:
        return self.recorded_at - self.happened_at > LATE


class Review(models.Model):
    """The second signature: somebody responsible, not the doer, looked a record through."""

    record = models.OneToOneField(Record, models.PROTECT, related_name="review")
    reviewed_at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    initials = models.CharField(max_length=4)


class PrivateWords(models.Model):
    """What a private record says, as JSON; erased on request, and when it was is kept."""

    record = models.OneToOneField(Record, models.PROTECT, related_name="private_words")
    said = models.TextField()
    erased_at = models.DateTimeField(null=True)
    erased_by = models.ForeignKey(Person, models.PROTECT, null=True, related_name="+")


class RunReadings(models.Model):
    """The readings of a steriliser run, in order of time; a newer set of a run corrects an older.

    ``readings``: JSON rows of seconds since ``started_at``, thousandths of a degree Celsius and
    gauge pressure in pascals, or null. ``source``: typed, or the name of a logger's file;
    ``stated_in``: the units that the source was in. The reference temperature and z stand here
    because an F0 without them means nothing.
    """

    entry = models.ForeignKey(Entry, models.PROTECT, related_name="run_readings")
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    initials = models.CharField(max_length=4)
    typed_by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    uuid = models.UUIDField(unique=True)
    started_at = models.DateTimeField()
    source = models.CharField(max_length=80)
    stated_in = models.CharField(max_length=20)
    probe = models.CharField(max_length=60)
    reference_milli_c = models.IntegerField()
    z_milli_c = models.PositiveIntegerField()
    readings = models.TextField()

    class Meta:
        ordering = ("pk",)


NEVER_CHANGED = (Record, Review, RunReadings)
