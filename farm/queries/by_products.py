"""By-products: which of the two ways of counting them is in force on a day."""

from datetime import date

from farm.models import ByProductChoice, ByProductWay


def by_product_way(on: date) -> ByProductWay:
    """Say how by-products are counted on a day; shared by worth until the farm chooses. One query.

    Taken off, what a by-product brings lowers the cost of the main crop when it is made (IAS 2
    paragraph 14, from memory); shared, it bears cost as one more product of so much worth.
    """
    chosen = ByProductChoice.objects.filter(from_day__lte=on).order_by("-from_day", "-pk")
    way = chosen.values_list("way", flat=True).first()
    return ByProductWay(way) if way else ByProductWay.SHARED
