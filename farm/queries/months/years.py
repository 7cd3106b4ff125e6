"""A year, month by month, and a week by species: sums that the database adds up.

A closed month stands in its year as it was frozen; what changed in it since is a row of its own.
"""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from typing import Any

from django.db.models import F, Q, QuerySet, Sum
from django.db.models.expressions import Combinable
from django.db.models.functions import Coalesce, TruncMonth

from farm.kinds.growing import INOCULATE_BLOCKS
from farm.models import ClosedMonth, SaleLine, SellingCost, Stage
from farm.queries.cells import CENT, GRAM, handed_between
from farm.queries.months.canonical import from_text
from farm.queries.months.months import Month, Span, month_with, sold_among
from farm.queries.months.yields import picks_among
from farm.queries.movements import ROOT_DAY, given_into, sale_lines
from farm.steps import rounded
from farm.weight import HUNDREDTH, SCALE, Weight
from ledger.models import KINDS, Charge, Flow, Role

SUMMED = (
    "blocks", "picked_mg", "net", "gross", "cost_of_sales", "selling", "lost", "hours_milli",
)  # fmt: skip
# What is printed in whole grams and cents; blocks and hours are told as they are.
STEPS = {"picked_mg": GRAM} | dict.fromkeys(
    ("net", "gross", "cost_of_sales", "selling", "lost"), CENT
)
COST = sum((F(kind) for kind in KINDS[1:]), F(KINDS[0]))
# Where a closed month keeps each of them: the table of its rows, and the number's name.
FROZEN = {
    "picked_mg": ("harvest", "picked_mg"),
    "net": ("sales", "net_money"),
    "gross": ("sales", "gross_money"),
    "cost_of_sales": ("sales", "cost_of_sales_money"),
    "selling": ("selling", "selling_costs_money"),
    "lost": ("losses", "lost_money"),
}
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
class YearSums:
    """A year's months, each as its own page says it, and what changed since in those closed."""

    months: tuple[MonthSums, ...]
    since: MonthSums | None

    @property
    def rows(self) -> tuple[MonthSums, ...]:
        return (*self.months, *([self.since] if self.since else []))


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
    """List the months of a year in which anything happened; four queries."""
    flows = Flow.objects.filter(entry__happened_on__year=year)
    made = Q(role=Role.MADE)
    line_day = Coalesce("line__entry__amends__happened_on", "line__entry__happened_on")
    lines = SaleLine.objects.annotate(day=line_day).filter(day__year=year)
    fees = SellingCost.objects.annotate(day=ROOT_DAY).filter(day__year=year)
    hours = Charge.objects.annotate(day=ROOT_DAY).filter(day__year=year, kind__in=("paid", "own"))
    blocks = made & Q(lot__card__stage=Stage.BLOCKS, entry__kind=INOCULATE_BLOCKS)
    found = [
        _by_month(
            flows,
            "entry__happened_on",
            blocks=_sum("quantity", blocks),
            picked_mg=_sum("quantity", made & Q(lot__card__stage=Stage.CROP)),
            cost_of_sales=_sum(-COST, Q(role__in=(Role.SOLD, Role.BACK))),
            lost=_sum(-COST, Q(role__in=(Role.LOST, Role.STRANDED))),
        ),
        _by_month(lines, "day", net=Sum("net"), gross=Sum("gross")),
        _by_month(fees, "day", selling=Sum("amount")),
        _by_month(hours, "day", hours_milli=Sum("quantity_milli")),
    ]
    sums: dict[date, dict[str, int]] = defaultdict(lambda: dict.fromkeys(SUMMED, 0))
    for months in found:
        for first, numbers in months.items():
            sums[first] |= numbers
    return [_in_whole_steps(month_with(first), sums[first]) for first in sorted(sums)]


def year_as_shown(year: int) -> YearSums:
    """Show closed months as they were frozen, and apart what they come to now less that.

    Flush 1 took 3.57 in September, closed; spent in October it takes 3.85. The year shows 3.57,
    +0.28 since closing, and October's 1.15: 5.00. Five queries.
    """
    worked = {one.month.first: one for one in year_sums(year)}
    since = dict.fromkeys(FROZEN, 0)
    for closed in ClosedMonth.objects.filter(month__year=year).only("month", "rows"):
        now = worked.get(closed.month) or _in_whole_steps(month_with(closed.month), {})
        worked[closed.month] = then = _with(now, _frozen(closed))
        for name in since:
            since[name] += getattr(now, name) - getattr(then, name)
    months = tuple(worked[first] for first in sorted(worked))
    if not any(since.values()):
        return YearSums(months, None)
    return YearSums(months, _in_whole_steps(months[-1].month, since))


def _with(sums: MonthSums, numbers: dict[str, int]) -> MonthSums:
    known = {name: getattr(sums, name) for name in SUMMED}
    return MonthSums(sums.month, **known | numbers)


def _frozen(closed: ClosedMonth) -> dict[str, int]:
    """What a closed month came to, as its own page prints it."""
    sums = dict.fromkeys(FROZEN, 0)
    for row in from_text(closed.rows):
        if row.month == f"{closed.month:%Y-%m}":
            for name, (table, number) in FROZEN.items():
                sums[name] += row.numbers[number] if row.table == table else 0
    return {name: _rounded(name, number) for name, number in sums.items()}


def _in_whole_steps(month: Month, sums: dict[str, int]) -> MonthSums:
    """Round a month's totals, which are what its cells were handed out under."""
    return MonthSums(month, **{name: _rounded(name, sums.get(name, 0)) for name in SUMMED})


def _rounded(name: str, number: int) -> int:
    if isinstance(number, Weight):  # whole steps already
        return number
    step = STEPS.get(name, 1)
    whole = rounded(number, step) * step
    return Weight(whole, rounded(number * SCALE, HUNDREDTH)) if name == "picked_mg" else whole


def _sum(number: str | Combinable, of: Q) -> Sum:
    return Sum(number, filter=of, default=0)


def _by_month(rows: QuerySet[Any], day: str, **sums: Sum) -> dict[date, dict[str, int]]:
    """Add rows up by month; one query."""
    by = rows.annotate(month=TruncMonth(day)).values("month").annotate(**sums).order_by()
    return {row.pop("month"): row for row in by}


def week_of(day: date) -> Span:
    """The week of a day, Monday to Sunday."""
    monday = day - timedelta(days=day.weekday())
    return Span(monday, monday + WEEK - timedelta(days=1))


def same_week_last_year(week: Span) -> Span:
    return Span(week.first - A_YEAR, week.last - A_YEAR)


def week_sums(week: Span) -> list[WeekSums]:
    """What was started, picked and sold of each species in some days; four queries."""
    days = (week.first, week.last)
    rows = [one for one in handed_between(*days) if week.first <= one.day <= week.last]
    sums: dict[str, dict[str, int]] = defaultdict(
        lambda: dict.fromkeys(("blocks", "picked_mg", "sold_mg", "net"), 0)
    )
    for one in rows:
        if (one.role, one.stage, one.kind) == (Role.MADE, Stage.BLOCKS, INOCULATE_BLOCKS):
            sums[one.species or ""]["blocks"] += one.quantity
    for pick in picks_among(rows, given_into(*days)):
        sums[pick.species]["picked_mg"] += pick.mass_mg
    for row in sold_among(rows, sale_lines(*days)):
        sums[row.species]["sold_mg"] += row.amount.mass_mg or 0
        sums[row.species]["net"] += row.net
    return [WeekSums(species, **sums[species]) for species in sorted(sums)]
