"""The month's real bills, and what the rates charged in their place."""

from dataclasses import dataclass

from django.db.models import QuerySet

from farm.models import Bill, BillKind
from farm.queries.months.months import Month
from farm.queries.movements import Money
from ledger.models import KINDS

NO_BILL = "no bill entered"
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

    @property
    def is_billed(self) -> bool:
        """Say whether a bill stands, so that there is something to compare."""
        return bool(self.billed)

    @property
    def is_missing(self) -> bool:
        """Say whether something was charged and no bill stands beside it: unknown, not nothing."""
        return bool(self.charged) and not self.is_billed


def charged_and_billed(money: Money) -> list[Compared]:
    """Compare a month's bills with what rates, fees and shares charged in it.

    Paid hours: of the work and at the selling places. A bill of 120.00 for energy where runs were
    charged 90.00 is under-charged by 30.00; the lots' cost stays as it is.
    """
    charged = dict(zip(KINDS, money.charged(), strict=True))
    hours = sum(one.money for one in money.selling if not one.own and one.what == HOURS)
    fees = sum(one.money for one in money.selling if not one.own and one.what != HOURS)
    by_rates = {
        BillKind.PAID: charged["paid"] + hours,
        BillKind.ENERGY: charged["energy"],
        BillKind.ROOM: charged["room"],
        BillKind.FEES: fees,
        BillKind.OTHER: 0,
    }
    return [
        Compared(kind, sum(one.money for one in money.billed if one.kind == kind), charged_money)
        for kind, charged_money in by_rates.items()
    ]


def missing_words(money: Money) -> str:
    """Name the kinds of which something was charged and no bill is entered; '' where none is."""
    return ", ".join(row.kind.label for row in charged_and_billed(money) if row.is_missing)


def bills_of(month: Month) -> QuerySet[Bill]:
    bills = Bill.objects.filter(month=month.first)
    return bills.select_related("supplier", "by", "takes_back", "taken_back_by").order_by("pk")
