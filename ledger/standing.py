"""What stands: rows of the book, and rows that point at it, without what was taken back."""

from typing import Self, TypeVar

from django.db import models

Row = TypeVar("Row", bound=models.Model)


class StandingQuerySet(models.QuerySet[Row]):
    """Rows that name an entry."""

    def standing(self, entry: str = "entry") -> Self:
        """Leave out what was taken back; ``entry`` is the way from a row to its entry."""
        return self.exclude(**{f"{entry}__amendments__takes_back": True})


class EntryQuerySet(StandingQuerySet[Row]):
    """Entries themselves."""

    def standing(self, entry: str = "") -> Self:
        """Leave out entries that were taken back."""
        way = f"{entry}__" if entry else ""
        return self.exclude(**{f"{way}amendments__takes_back": True})
