"""By-products: which of the two ways of counting them is in force on a day."""

from datetime import date
from typing import Any

from django.db.models import QuerySet

from farm.models import ByProductChoice, ByProductWay


def by_product_way(on: date) -> ByProductWay:
    """Say how by-products are counted on a day; shared by worth until the farm chooses. One query.

    Taken off, what a by-product brings lowers the cost of the main crop when it is made (IAS 2
    paragraph 14, from memory); shared, it bears cost as one more product of so much worth.
    """
    return chosen_or_shared(way_chosen(on).first())


def way_chosen(on: date) -> QuerySet[ByProductChoice, Any]:
    """The way that is in force on a day, to be asked for by itself or beside something else."""
    chosen = ByProductChoice.objects.filter(from_day__lte=on).order_by("-from_day", "-pk")
    return chosen.values_list("way", flat=True)[:1]


def chosen_or_shared(way: str | None) -> ByProductWay:
    return ByProductWay(way) if way else ByProductWay.SHARED
