"""The month's real bills, and what the rates charged in their place."""

from collections.abc import Iterator
from dataclasses import dataclass

from django.db.models import QuerySet, Sum

from farm.models import Bill, BillKind, SellingCost
from farm.queries.months import ROOT_DAY, Month, charged_in
from ledger.models import KINDS

HOURS = "hours"  # what a selling cost of time is called; the others are fees


@dataclass(frozen=True)
class Compared:
    """One kind of cost in a month. Own hours are nobody's bill and stand nowhere here."""

    kind: BillKind
    billed: int
    charged: int

    @property
    def under_charged(self) -> int:
        """What the bills came to beyond what the rates charged; over-charged: below zero."""
        return self.billed - self.charged


def charged_and_billed(month: Month) -> list[Compared]:
    """Compare the month's bills with what rates, fees and shares charged; three queries.

    Paid hours: of the work and at the selling places. A bill of 120.00 for energy where runs were
    charged 90.00 is under-charged by 30.00; the lots' cost stays as it is.
    """
    charged = dict(zip(KINDS, charged_in(month), strict=True))
    selling = dict(_selling(month))
    sums = Bill.objects.filter(month=month.first).values_list("kind").annotate(Sum("cost_money"))
    billed = dict(sums.order_by())
    by_rates = {
        BillKind.PAID: charged["paid"] + selling.get(True, 0),
        BillKind.ENERGY: charged["energy"],
        BillKind.ROOM: charged["room"],
        BillKind.FEES: selling.get(False, 0),
        BillKind.OTHER: 0,
    }
    return [Compared(kind, billed.get(kind, 0), money) for kind, money in by_rates.items()]


def bills_of(month: Month) -> QuerySet[Bill]:
    bills = Bill.objects.filter(month=month.first)
    return bills.select_related("supplier", "by", "takes_back", "taken_back_by").order_by("pk")


def _selling(month: Month) -> Iterator[tuple[bool, int]]:
    """What selling cost, apart: paid hours (True), and fees and shares of takings (False)."""
    costs = SellingCost.objects.annotate(day=ROOT_DAY).filter(day__range=(month.first, month.last))
    sums = costs.filter(own=False).values_list("what").annotate(Sum("amount")).order_by()
    found = list(sums)
    for is_hours in (True, False):
        yield is_hours, sum(money for what, money in found if (what == HOURS) is is_hours)
