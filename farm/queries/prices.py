"""Which price is in force: what is agreed with the customer, else the place's list, else the
product's own price.
"""

from dataclasses import dataclass
from datetime import date

from django.db.models import Q, QuerySet

from farm.models import (
    AgreedPrice,
    Customer,
    PlaceKind,
    Price,
    Product,
    SellingPlace,
    Species,
    Stage,
)
from farm.queries.orders import DueOrder, fits
from ledger.models import Lot


@dataclass(frozen=True)
class Listed:
    """A price of a pack, or of a ``weight_unit`` of what is loose, and where it was found."""

    unit_money: int
    tax_included: bool
    source: str
    weight_unit: str = "kg"


def listed_price(
    place: SellingPlace,
    day: date,
    *,
    customer: Customer | None = None,
    what: Product | Species | None,
) -> Listed | None:
    """Find the price in force on a day; of what is loose there is only an agreed one.

    The latest that began counts: a list that changes later changes no earlier sale, which keeps
    what it was asked for. At most two queries.
    """
    agreed = _agreed(customer, day, what) if customer and what else None
    if agreed:
        return Listed(
            agreed.unit_money,
            agreed.tax_included,
            f"agreed with {customer} from {agreed.from_day}",
            agreed.weight_unit,
        )
    return _of_list(place, day, what) if isinstance(what, Product) else None


def ordered_price(due: DueOrder, lot: Lot) -> Listed | None:
    """The price of a lot that is given for an order: what the order names, else what is listed."""
    customer = due.order.customer
    for asked in due.asked:
        money = asked.line.unit_money
        if money is not None and fits(asked.line, lot):
            included = customer.place.kind != PlaceKind.KITCHENS
            source = f"order {due.order.pk}"
            return Listed(money, included, source, asked.line.weight_unit)
    return listed_price(customer.place, due.day, customer=customer, what=goods_of(lot))


def goods_of(lot: Lot) -> Product | Species | None:
    """What a price is asked for: the product of packs, the species of what is loose."""
    return lot.card.product if lot.card.stage == Stage.PACKS else lot.card.species


def prices_at(
    place: SellingPlace, day: date, customer: Customer | None = None
) -> dict[int, Listed]:
    """The price of a pack of each product in force at a place, by pk; at most two queries."""
    rows = _lists(place, day).select_related("place").order_by("from_day")
    # A later row goes over an earlier one, and the place's list over the product's own price.
    found = {row.product_id: _listed(row) for row in sorted(rows, key=lambda row: bool(row.place))}
    if customer:
        for row in _in_force(customer, day).filter(product__isnull=False).order_by("from_day"):
            source = f"agreed with {customer} from {row.from_day}"
            found[row.product_id or 0] = Listed(row.unit_money, row.tax_included, source)
    return found


# --- parts -----------------------------------------------------------------------------------


def _agreed(customer: Customer, day: date, what: Product | Species) -> AgreedPrice | None:
    named = {"product" if isinstance(what, Product) else "species": what}
    return _in_force(customer, day).filter(**named).order_by("-from_day").first()


def _in_force(customer: Customer, day: date) -> QuerySet[AgreedPrice]:
    ends = Q(until=None) | Q(until__gte=day)
    return AgreedPrice.objects.filter(ends, customer=customer, from_day__lte=day)


def _of_list(place: SellingPlace, day: date, product: Product) -> Listed | None:
    rows = list(_lists(place, day).filter(product=product).select_related("place"))
    best = max(rows, key=lambda row: (bool(row.place), row.from_day), default=None)
    return _listed(best) if best else None


def _lists(place: SellingPlace, day: date) -> QuerySet[Price]:
    return Price.objects.filter(Q(place=place) | Q(place=None), from_day__lte=day)


def _listed(row: Price) -> Listed:
    source = f"list of {row.place}" if row.place else "own price of the product"
    return Listed(row.pack_money, row.tax_included, f"{source} from {row.from_day}")
