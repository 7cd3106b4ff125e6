"""Which price is in force: what is agreed with the customer, else the place's list, else the
goods' own price.

Goods are a product, or what is loose by species, state and grade: a price of fresh firsts is none
of seconds, nor of what was dried of them.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from django.db.models import Q, QuerySet

from farm import habits
from farm.models import (
    AgreedPrice,
    Customer,
    Form,
    Goods,
    Grade,
    Loose,
    PlaceKind,
    Price,
    SellingPlace,
    Species,
    sales_tax_ppm,
)
from farm.queries.orders.orders import DueOrder, fits
from farm.units import MG_PER_UNIT
from ledger.models import Lot

CENT = 100  # of money, which is kept in ten-thousandths


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
    what: Goods | None,
) -> Listed | None:
    """Find the price of something in force on a day; at most two queries."""
    return prices_at(place, day, customer).get(what) if what else None


def ordered_price(due: DueOrder, lot: Lot) -> Listed | None:
    return ordered_prices(due, [lot])[lot.pk]


def ordered_prices(due: DueOrder, lots: Iterable[Lot]) -> dict[int, Listed | None]:
    """The price of each lot, by pk, that may be given for an order; two queries.

    It is what the order names, else what is agreed or listed.
    """
    customer = due.order.customer
    listed = prices_at(customer.place, due.day, customer)
    return {lot.pk: _named(due, lot) or listed.get(lot.card.goods) for lot in lots}


def prices_at(
    place: SellingPlace, day: date, customer: Customer | None = None
) -> dict[Goods | None, Listed]:
    """Everything that has a price in force at a place; at most two queries.

    The latest that began counts: a list that changes later changes no earlier sale, which keeps
    what it was asked for.
    """
    lists = Price.objects.filter(Q(place=place) | Q(place=None), from_day__lte=day)
    rows = lists.select_related("place", "product__species", "species").order_by("from_day")
    # A later row goes over an earlier one, and the place's list over the goods' own price.
    found: dict[Goods | None, Listed] = {
        row.what: _listed(row) for row in sorted(rows, key=lambda row: bool(row.place))
    }
    for row in _agreed(customer, day) if customer else ():
        source = f"agreed with {customer} from {habits.short_day(row.from_day)}"
        found[row.what] = Listed(row.unit_money, row.tax_included, source, row.weight_unit)
    return found


def usual_kg_money(species: Species, day: date) -> int | None:
    """What a kilo of fresh firsts usually brings, net of tax, to the cent; two queries.

    What is loose goes before packs, the goods' own price before that of a place, the latest first.
    A pack of 250 g at 5.00 with 7 % tax in it: 18.69 a kilo.
    """
    loose = Q(species=species, state=Loose.FRESH, grade=Grade.FIRSTS)
    packs = Q(product__species=species, product__form=Form.FRESH)
    rows = Price.objects.filter(loose | packs, from_day__lte=day)
    found = rows.select_related("product__species", "species").order_by("-from_day", "-pk")
    row = min(found, key=lambda one: (bool(one.product_id), bool(one.place_id)), default=None)
    if row is None:
        return None
    taxed = sales_tax_ppm(row.what, day) if row.tax_included else 0
    per_mg = row.product.net_mg if row.product else MG_PER_UNIT[row.weight_unit]
    net = Fraction(row.pack_money * MG_PER_UNIT["kg"], per_mg) / (1 + Fraction(taxed, 10**6))
    return round(net / CENT) * CENT


# --- parts -----------------------------------------------------------------------------------


def _named(due: DueOrder, lot: Lot) -> Listed | None:
    """The price that an order itself names for what a lot is."""
    for asked in due.asked:
        money = asked.line.unit_money
        if money is not None and fits(asked.line, lot):
            included = due.order.customer.place.kind != PlaceKind.KITCHENS
            source = f"order {due.order.pk}"
            return Listed(money, included, source, asked.line.weight_unit)
    return None


def _agreed(customer: Customer, day: date) -> QuerySet[AgreedPrice]:
    ends = Q(until=None) | Q(until__gte=day)
    rows = AgreedPrice.objects.filter(ends, customer=customer, from_day__lte=day)
    return rows.select_related("product__species", "species").order_by("from_day")


def _listed(row: Price) -> Listed:
    source = f"list of {row.place}" if row.place else "own price of the product"
    source = f"{source} from {habits.short_day(row.from_day)}"
    return Listed(row.pack_money, row.tax_included, source, row.weight_unit)
