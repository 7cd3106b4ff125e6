"""The secret address at which a person's calendar program asks for what is due."""

from django.db import models

from farm.models.people.people import Person


class CalendarAddress(models.Model):
    """One person's address. ``digest``: SHA-256 of its secret part, which is kept nowhere.

    A renewed address replaces the row, so that the old one leads nowhere from then on.
    """

    person = models.OneToOneField(Person, models.CASCADE, related_name="calendar_address")
    digest = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"calendar of {self.person}"
