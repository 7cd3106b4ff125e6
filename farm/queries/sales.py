"""What was sold and loaded, and what is still open."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Q, QuerySet, Sum

from farm.kinds.selling import SaleTerms
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
    settled = Sale.objects.filter(stall_day=OuterRef("pk")).standing()
    loads = StallDay.objects.standing()
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
        "sale__place",
        "sale__customer",
        "line__entry",
        "line__lot__item",
        "line__lot__card",
        "product",
    ).order_by("-line__entry_id", "pk")


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


@dataclass(frozen=True)
class Sums:
    """Money and quantity of a sale, or of a lot of one; net + tax = gross."""

    net: int
    tax: int
    gross: int
    quantity: int

    @classmethod
    def of(cls, rows: Iterable[SaleLine]) -> "Sums":
        """Add rows up; the book takes out what is sold, so a sale is below zero there."""
        parts = [(row.net, row.tax, row.gross, -row.line.quantity) for row in rows]
        return cls(*map(sum, zip(*parts, strict=True))) if parts else cls(0, 0, 0, 0)


@dataclass(frozen=True)
class SoldLot:
    """One lot of a sale: as it was written, as it stands, and the rows that changed it."""

    first: SaleLine
    written: Sums
    now: Sums
    changes: tuple[SaleLine, ...]

    @property
    def is_changed(self) -> bool:
        return self.now != self.written


@dataclass(frozen=True)
class SaleNow:
    """A sale as it stands after corrections and returns, beside what was written first."""

    sale: Sale
    lots: tuple[SoldLot, ...]
    written: Sums
    now: Sums

    @property
    def is_changed(self) -> bool:
        return any(lot.is_changed for lot in self.lots)

    @property
    def changes(self) -> list[SaleLine]:
        """What changed it, in the order in which the book learned of it."""
        rows = [row for lot in self.lots for row in lot.changes]
        return sorted(rows, key=lambda row: row.line.entry_id)


def sale_of(entry: Entry) -> Sale | None:
    """The sale that an entry recorded, corrected, took back or took goods back from; one query."""
    sales = Sale.objects.filter(Q(entry=entry) | Q(lines__line__entry=entry))
    return sales.select_related("place", "customer", "entry").first()


def sale_now(sale: Sale) -> SaleNow:
    """Say what a sale comes to, lot by lot, in the order in which it was written; one query."""
    by_lot: dict[int, list[SaleLine]] = defaultdict(list)
    rows = list(sale_lines().filter(sale=sale).order_by("line__entry_id", "pk"))
    for row in rows:
        by_lot[row.line.lot_id].append(row)
    lots = tuple(
        SoldLot(first, Sums.of([first]), Sums.of([first, *changes]), tuple(changes))
        for first, *changes in by_lot.values()
    )
    return SaleNow(sale, lots, Sums.of(lot.first for lot in lots), Sums.of(rows))


def asked_for(entry: Entry, lot: Lot) -> int | None:
    """What is asked for a sold lot as it stands, as its price is meant: with its tax or without."""
    terms = SaleTerms.read(entry.particulars).terms.get(lot.code)
    if terms is None:
        return None
    kept = "gross" if terms.tax_included else "net"
    sold = Line.objects.standing_at(entry.seq).filter(lot=lot, role=Role.SOLD)
    rows = SaleLine.objects.filter(line__in=sold)
    asked: int | None = rows.aggregate(asked=Sum(kept))["asked"]
    return asked


def costs_of(entry: Entry) -> list[SellingCost]:
    return list(SellingCost.objects.filter(entry=entry).select_related("place").order_by("pk"))
