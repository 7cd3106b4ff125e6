"""What was there before the book began, as it was read from a filled-in workbook."""

from django.db import models

from farm.models.people.people import Person


class StartWorkbook(models.Model):
    """A starting workbook that was read in; its entries are those from the first to the last.

    ``sha256``: of the file, so that the same one is not read in twice.
    """

    uuid = models.UUIDField(unique=True)
    name = models.CharField(max_length=120)
    sha256 = models.CharField("SHA-256 of the file", max_length=64)
    read_at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    first_seq = models.BigIntegerField()
    last_seq = models.BigIntegerField()

    class Meta:
        ordering = ("-pk",)

    def __str__(self) -> str:
        return self.name


NEVER_CHANGED = (StartWorkbook,)
