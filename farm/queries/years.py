"""A year, month by month, and a week by species: sums that the database adds up."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from typing import Any

from django.db.models import F, QuerySet, Sum
from django.db.models.functions import Coalesce, TruncMonth

from farm.models import SaleLine, SellingCost, Stage
from farm.queries.months import ROOT_DAY, Month, Span, month_of, sold_in
from farm.queries.yields import picks_of
from ledger.models import KINDS, Charge, Flow, Role

STARTED = "inoculate blocks"
COST = sum((F(kind) for kind in KINDS[1:]), F(KINDS[0]))
WEEK = timedelta(days=7)
# Fifty-two whole weeks: the same weekdays a year ago.
A_YEAR = 52 * WEEK


@dataclass(frozen=True)
class MonthSums:
    """What a month came to. ``hours_milli``: thousandths of hours charged to lots, own and paid."""

    month: Month
    blocks: int
    picked_mg: int
    net: int
    gross: int
    cost_of_sales: int
    selling: int
    lost: int
    hours_milli: int

    @property
    def left_over(self) -> int:
        return self.net - self.cost_of_sales - self.selling - self.lost


@dataclass(frozen=True)
class WeekSums:
    """What was done with one species in some days."""

    species: str
    blocks: int
    picked_mg: int
    sold_mg: int
    net: int

    @property
    def net_per_kg(self) -> int | None:
        """Net sales over what was sold by weight, in money a kg, rounded half to even."""
        return round(Fraction(self.net * 1_000_000, self.sold_mg)) if self.sold_mg > 0 else None


def year_sums(year: int) -> list[MonthSums]:
    """List the months of a year in which anything happened; seven queries."""
    flows = Flow.objects.filter(entry__happened_on__year=year)
    day = "entry__happened_on"
    sold = flows.filter(role__in=(Role.SOLD, Role.BACK))
    lost = flows.filter(role__in=(Role.LOST, Role.STRANDED))
    made = flows.filter(role=Role.MADE)
    picked = made.filter(lot__card__stage=Stage.CROP)
    started = made.filter(lot__card__stage=Stage.BLOCKS, entry__kind=STARTED)
    line_day = Coalesce("line__entry__amends__happened_on", "line__entry__happened_on")
    lines = SaleLine.objects.annotate(day=line_day).filter(day__year=year)
    fees = SellingCost.objects.annotate(day=ROOT_DAY).filter(day__year=year)
    hours = Charge.objects.annotate(day=ROOT_DAY).filter(day__year=year, kind__in=("paid", "own"))
    sums: dict[str, dict[date, Any]] = {
        "blocks": _by_month(started, day, "quantity"),
        "picked_mg": _by_month(picked, day, "quantity"),
        "net": _by_month(lines, "day", "net"),
        "gross": _by_month(lines, "day", "gross"),
        "cost_of_sales": _by_month(sold.annotate(out=-COST), day, "out"),
        "selling": _by_month(fees, "day", "amount"),
        "lost": _by_month(lost.annotate(out=-COST), day, "out"),
        "hours_milli": _by_month(hours, "day", "quantity_milli"),
    }
    firsts = sorted({first for found in sums.values() for first in found})
    return [
        MonthSums(month_of(f"{first:%Y-%m}"), **{
            name: found.get(first, 0) for name, found in sums.items()
        })
        for first in firsts
    ]  # fmt: skip


def _by_month(rows: QuerySet[Any], day: str, number: str) -> dict[date, int]:
    by = rows.annotate(month=TruncMonth(day)).values_list("month").annotate(total=Sum(number))
    return dict(by.order_by())


def week_of(day: date) -> Span:
    """The week of a day, Monday to Sunday."""
    monday = day - timedelta(days=day.weekday())
    return Span(monday, monday + WEEK - timedelta(days=1))


def same_week_last_year(week: Span) -> Span:
    return Span(week.first - A_YEAR, week.last - A_YEAR)


def week_sums(week: Span) -> list[WeekSums]:
    """What was started, picked and sold of each species in some days; six queries."""
    sums: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    started = Flow.objects.filter(
        role=Role.MADE, lot__card__stage=Stage.BLOCKS, entry__kind=STARTED,
        entry__happened_on__range=(week.first, week.last),
    )  # fmt: skip
    by_species = started.values_list("lot__card__species__name").annotate(Sum("quantity"))
    for name, blocks in by_species.order_by():
        sums[name or ""]["blocks"] += blocks
    for pick in picks_of(week.first, week.last):
        sums[pick.species]["picked_mg"] += pick.mass_mg
    for row in sold_in(week):
        sums[row.species]["sold_mg"] += row.amount.mass_mg or 0
        sums[row.species]["net"] += row.net
    names = ("blocks", "picked_mg", "sold_mg", "net")
    return [
        WeekSums(species, **{name: found[name] for name in names})
        for species, found in sorted(sums.items())
    ]
