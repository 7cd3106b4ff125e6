"""A year as rows: its months side by side, and this week beside the same week a year ago."""

from collections.abc import Sequence
from datetime import date

from farm.queries.months.months import Month, Span
from farm.queries.months.years import WeekSums, YearSums
from farm.queries.roll_forward import Rolled
from farm.reports.bars import Bar, bars
from farm.reports.months.account_rows import rolled_by_month_tables
from farm.reports.pounds import beside_pounds
from farm.reports.report_heading import Made
from farm.reports.rows import Chart, Column, Fact, Kind, Report, Row, Table, show_cell, total_row

MONTHS = (
    Column("Month"),
    Column("Blocks started", Kind.COUNT),
    Column("Picked", Kind.MASS),
    Column("Net sales", Kind.MONEY),
    Column("Gross sales", Kind.MONEY),
    Column("Cost of sales", Kind.MONEY),
    Column("Selling costs", Kind.MONEY),
    Column("Lost", Kind.MONEY),
    Column("Left over", Kind.MONEY),
    Column("Hours charged to lots", Kind.HOURS),
)
WEEK = (
    Column("Species"),
    Column("Blocks started", Kind.COUNT),
    Column("Picked", Kind.MASS),
    Column("Sold", Kind.MASS),
    Column("Net sales", Kind.MONEY),
    Column("Net", Kind.UNIT_COST),
)
SIDE_BY_SIDE = "Month by month"
SINCE = "since closing"
Week = tuple[str, Span, Sequence[WeekSums]]


def year_report(
    year: int,
    sums: YearSums,
    *,
    weeks: Sequence[Week],
    begins: Month | None,
    made: Made,
    rolled: Sequence[tuple[date, Sequence[Rolled]]] = (),
) -> Report:
    """Lay a year out; ``weeks``: each with its name, its days, and what was done in it.

    ``rolled``: what customers owed and what was held for them, month by month.

    ``begins``: the first month that the book knows of.
    """
    table, months = _months(sums), sums.months
    report = Report(
        title=str(year),
        subtitle=f"{len(months)} months with entries, by the day it happened",
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        facts=(
            Fact("Picked", sum(one.picked_mg for one in sums.rows), Kind.MASS, lead=True),
            Fact("Net sales", sum(one.net for one in sums.rows), Kind.MONEY, lead=True),
            Fact("Left over", sum(one.left_over for one in sums.rows), Kind.MONEY, lead=True),
        ),
        tables=(
            table,
            *rolled_by_month_tables(rolled),
            *(_week(*week, begins=begins) for week in weeks),
        ),
        drawings=(
            bars(
                [Bar(one.month.name, one.net, _money(one.net)) for one in months],
                title=f"Net sales, {made.currency}",
            ),
        )
        if months
        else (),
        currency=made.currency,
        charts=(
            Chart("Net sales", SIDE_BY_SIDE, "Month", ("Net sales",)),
            Chart("Picked", SIDE_BY_SIDE, "Month", ("Picked",)),
        ),
    )
    return beside_pounds(report, made)


def _money(money: int) -> str:
    return show_cell(Column("", Kind.MONEY), money)


def _months(sums: YearSums) -> Table:
    rows: list[Row] = [
        (
            SINCE if one is sums.since else one.month.key,
            one.blocks,
            one.picked_mg,
            one.net,
            one.gross,
            one.cost_of_sales,
            one.selling,
            one.lost,
            one.left_over,
            one.hours_milli,
        )
        for one in sums.rows
    ]
    total = total_row(MONTHS, rows, {column.name for column in MONTHS[1:]})
    note = (
        "Left over = net sales - cost of sales - selling costs - lost. Hours are those charged to "
        "lots; what selling took stands in the selling costs."
    )
    if sums.since:
        note += (
            " A closed month stands as it was frozen; what came late for it or was corrected is "
            "added since closing."
        )
    return Table(SIDE_BY_SIDE, MONTHS, tuple(rows), total, note)


def _week(name: str, days: Span, sums: Sequence[WeekSums], *, begins: Month | None) -> Table:
    rows: list[Row] = [
        (
            one.species or "no species",
            one.blocks,
            one.picked_mg,
            one.sold_mg,
            one.net,
            one.net_per_kg,
        )
        for one in sums
    ]
    total = total_row(WEEK, rows, {"Blocks started", "Picked", "Sold", "Net sales"})
    return Table(f"{name}: {days.name}", WEEK, tuple(rows), total, _why_empty(days, sums, begins))


def _why_empty(days: Span, sums: Sequence[WeekSums], begins: Month | None) -> str:
    """Say why there is nothing to show of some days, where there is nothing."""
    if sums:
        return ""
    if begins and days.last < begins.first:
        return f"Nothing to compare with yet: the book begins in {begins.name}, after these days."
    return "Nothing was started, picked or sold in these days."
