"""How the farm counts its by-products: trim, spent blocks, what was binned and still brought money.

A choice holds from a day on and is never changed; a later one stands beside it. What is recorded
keeps the way that was in force on its day.
"""

from django.db import models

from farm import habits


class ByProductWay(models.TextChoices):
    SHARED = "shared", "shares the cost by what it is worth"
    TAKEN_OFF = "taken off", "is taken off the cost of the main crop at what it is worth"


class ByProductChoice(models.Model):
    """From a day on, by-products are counted so; of two for one day the later one holds."""

    from_day = models.DateField()
    way = models.CharField("a by-product", max_length=9, choices=ByProductWay)

    class Meta:
        ordering = ("-from_day", "-pk")

    def __str__(self) -> str:
        return f"A by-product {self.get_way_display()}, from {habits.short_day(self.from_day)}"


NEVER_CHANGED = (ByProductChoice,)
