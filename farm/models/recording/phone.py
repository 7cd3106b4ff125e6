"""What came from a telephone: forms that waited there for a signal, and photos."""

from datetime import datetime, timedelta

from django.db import models

from farm.models.people.people import Person
from farm.models.records.records import Record
from ledger.models import Entry

# A clock that is further off than this is said beside the entry.
CLOCK_MAY_BE_OFF = timedelta(minutes=5)


class PhoneForm(models.Model):
    """A form that waited on a telephone until there was a signal, under the form's own UUID.

    The entry or record that came of it bears the same UUID. ``saved_at`` is by the telephone's
    clock, ``received_at`` by the site's. ``clock_off_s``: how far the telephone's clock was ahead
    when it sent, in seconds; behind is negative. Times are noted, never put right by themselves.
    """

    uuid = models.UUIDField(unique=True)
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    saved_at = models.DateTimeField()
    received_at = models.DateTimeField()
    clock_off_s = models.IntegerField()

    @property
    def kept_at(self) -> datetime:
        """When it was kept on the telephone, by the site's clock."""
        return self.saved_at - timedelta(seconds=self.clock_off_s)

    @property
    def is_clock_off(self) -> bool:
        return abs(self.clock_off_s) > CLOCK_MAY_BE_OFF.total_seconds()


class Photo(models.Model):
    """A photo beside an entry or a record: a sheet from the wall, a bag, a delivery.

    ``image`` is a JPEG, shrunk and without what a camera writes into it. It stands in the
    database, so that one backup, one transaction and one right hold for it as for its entry.
    ``digest``: SHA-256 of it, kept when the picture itself was taken out.
    """

    entry = models.ForeignKey(Entry, models.PROTECT, null=True, related_name="photos")
    record = models.ForeignKey(Record, models.PROTECT, null=True, related_name="photos")
    added_at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    image = models.BinaryField()
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    digest = models.CharField(max_length=64)
    removed_at = models.DateTimeField(null=True)
    removed_by = models.ForeignKey(Person, models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ("pk",)
        constraints = [
            models.CheckConstraint(
                name="photo_of_an_entry_or_a_record",
                condition=models.Q(entry=None, record__isnull=False)
                | models.Q(entry__isnull=False, record=None),
            )
        ]


NEVER_CHANGED = (PhoneForm,)
