"""What stands: rows of the book, and rows that point at it, without what was taken back."""

from collections.abc import Collection
from typing import Self, TypeVar

from django.db import models
from django.db.models import OuterRef, Q, QuerySet

Row = TypeVar("Row", bound=models.Model)
# One place, several, or that of the row around a query.
Places = int | Collection[int] | QuerySet[models.Model, object] | OuterRef


def stands_at(places: Places, entry: str = "entry") -> Q:
    """Ask for ``StandingQuerySet.standing_at`` where it is one of several conditions."""
    one = isinstance(places, int | OuterRef)
    way = f"{entry}__" if entry else ""
    return Q(**{f"{way}place" if one else f"{way}place__in": places})


class StandingQuerySet(models.QuerySet[Row]):
    """Rows that name an entry."""

    def standing(self, entry: str = "entry") -> Self:
        """Leave out what was taken back; ``entry`` is the way from a row to its entry."""
        return self.exclude(**{f"{entry}__amendments__takes_back": True})

    def standing_at(self, places: Places, entry: str = "entry") -> Self:
        """Find the rows of an entry and of all that amends it: added up, they are what stands.

        2.0 kg picked and -0.3 kg by a correction stand as 1.7 kg; what was taken back adds up to
        nothing. ``places``: the entry's number, or many.
        """
        return self.filter(stands_at(places, entry))


class EntryQuerySet(StandingQuerySet[Row]):
    """Entries themselves."""

    def standing(self, entry: str = "") -> Self:
        """Leave out entries that were taken back."""
        way = f"{entry}__" if entry else ""
        return self.exclude(**{f"{way}amendments__takes_back": True})

    def standing_at(self, places: Places, entry: str = "") -> Self:
        """Find entries with all that amends them."""
        return super().standing_at(places, entry)
