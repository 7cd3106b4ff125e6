"""What was sold and loaded, and what is still open."""

import json

from django.db.models import Exists, OuterRef, QuerySet, Sum

from farm.models import (
    LoadLine,
    Product,
    Sale,
    SaleLine,
    SellingCost,
    StallDay,
)
from ledger.models import Entry, Line, Lot, Role


def open_loads() -> QuerySet[StallDay]:
    """Load lists that stand and were not settled, oldest first."""
    settled = Sale.objects.filter(stall_day=OuterRef("pk")).exclude(
        entry__amendments__takes_back=True
    )
    loads = StallDay.objects.exclude(entry__amendments__takes_back=True)
    return loads.filter(~Exists(settled)).select_related("place").order_by("day", "pk")


def loads_of(lot: Lot) -> list[LoadLine]:
    """What open loads hold of a lot, oldest first; one query."""
    lines = LoadLine.objects.filter(lot=lot, stall_day__in=open_loads().order_by())
    return list(lines.select_related("stall_day__place").order_by("stall_day"))


def in_open_loads() -> dict[int, int]:
    """How much of each lot open loads hold, by pk; one query."""
    lines = LoadLine.objects.filter(stall_day__in=open_loads().order_by()).order_by()
    return dict(lines.values_list("lot").annotate(Sum("quantity")))


def sale_lines() -> QuerySet[SaleLine]:
    """Every line that states money of a sale, newest first; corrections and returns are lines."""
    return SaleLine.objects.select_related(
        "sale__place", "sale__customer", "line__entry", "line__lot__item", "line__lot__card",
        "product",
    ).order_by("-line__entry_id", "pk")  # fmt: skip


def returnable() -> QuerySet[SaleLine]:
    """Lines that first said that a lot was sold and still stand: what can come back."""
    backs = Entry.objects.filter(amends=OuterRef("line__entry"), takes_back=True)
    first = sale_lines().filter(line__role=Role.SOLD, line__entry__amends=None)
    return first.filter(~Exists(backs))


def products_sold() -> QuerySet[Product]:
    return Product.objects.filter(sale_lines__isnull=False).distinct()


def money_of(entry: Entry) -> list[SaleLine]:
    """What one entry itself wrote of a sale's money."""
    return list(sale_lines().filter(line__entry=entry))


def asked_for(entry: Entry, lot: Lot) -> int | None:
    """What is asked for a sold lot as it stands, as its price is meant: with its tax or without."""
    terms = json.loads(entry.particulars).get("terms", {}).get(lot.code)
    if terms is None:
        return None
    kept = "gross" if terms["tax_included"] else "net"
    sold = Line.objects.filter(entry__place=entry.seq, lot=lot, role=Role.SOLD)
    rows = SaleLine.objects.filter(line__in=sold)
    asked: int | None = rows.aggregate(asked=Sum(kept))["asked"]
    return asked


def costs_of(entry: Entry) -> list[SellingCost]:
    return list(SellingCost.objects.filter(entry=entry).select_related("place").order_by("pk"))
