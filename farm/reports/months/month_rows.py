"""The month as rows: its tables and column names stand here and stay; later work adds tables.

Rows carry customer numbers, not names: files are frozen and sent on, and a name may be erased. The
page of a month that is still worked names them (`with_names`). Every total is the sum of its rows,
of whole grams and cents that were handed out before; the last table shows the book's own decimals.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace

from farm import habits
from farm.queries.accounts.owed import AGES
from farm.queries.months.months import MonthFigures, Movement, StockRow
from farm.queries.months.reconciliation import Reconciliation
from farm.reports.bars import Bar, bars
from farm.reports.drawing import Drawing
from farm.reports.months.account_rows import rolled_tables, settled_facts
from farm.reports.months.month_harvest import HARVEST_BY_SPECIES, harvest_tables
from farm.reports.months.month_sales import BY_WEEK, COUNTS, sales_tables
from farm.reports.months.reconciliation_rows import (
    IN,
    OUT,
    TITLES,
    steps_drawings,
    steps_table,
    told,
)
from farm.reports.pounds import beside_pounds
from farm.reports.report_heading import NUMBER, Made
from farm.reports.rows import Chart, Column, Fact, Kind, Report, Row, Table, total_row
from farm.units import show_mass

LOSSES = (
    Column("Stage"),
    Column("Reason"),
    *COUNTS,
    Column("Cost", Kind.MONEY),
)
STOCK = (
    Column("Stage"),
    Column("Lots at the start", Kind.COUNT),
    Column("Pieces at the start", Kind.COUNT),
    Column("Weight at the start", Kind.MASS),
    Column("Cost at the start", Kind.MONEY),
    Column("Lots at the end", Kind.COUNT),
    Column("Pieces at the end", Kind.COUNT),
    Column("Weight at the end", Kind.MASS),
    Column("Cost at the end", Kind.MONEY),
)
KINDS = (
    Column("Materials", Kind.EXACT_MONEY),
    Column("Paid hours", Kind.EXACT_MONEY),
    Column("Own hours", Kind.EXACT_MONEY),
    Column("Energy", Kind.EXACT_MONEY),
    Column("Room", Kind.EXACT_MONEY),
    Column("Total", Kind.EXACT_MONEY),
)
AGREES = (Column("The book's cost"), *KINDS)
LEFT_OVER = "Left over after costs and losses"
OWED = (
    Column(NUMBER),
    Column("Open", Kind.MONEY),
    *(Column(age.capitalize(), Kind.MONEY) for age in AGES),
    Column("Paid ahead", Kind.MONEY),
    Column("Deposits held", Kind.MONEY),
)


def month_report(figures: MonthFigures, made: Made) -> Report:
    """Lay the figures of a month, or of any days, out; what was left out is said in the title."""
    month, only = figures.month, figures.only
    tables = _tables(figures, made.weight_unit)
    report = Report(
        title=f"{month.name}: {only.words}" if only.words else month.name,
        subtitle=f"{habits.days(month.first, month.last)}, by the day it happened",
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        facts=_facts(figures),
        tables=tables,
        drawings=_drawings(figures),
        currency=made.currency,
        charts=_charts(figures, {table.title: table for table in tables}, made.weight_unit),
    )
    return beside_pounds(report, made)


def with_names(report: Report, names: Mapping[str, str]) -> Report:
    """Name customers in place of their numbers; what is nobody's number stays."""
    return replace(report, tables=tuple(_with_names(table, names) for table in report.tables))


def _with_names(table: Table, names: Mapping[str, str]) -> Table:
    heads = [column.name for column in table.columns]
    if NUMBER not in heads:
        return table
    at = heads.index(NUMBER)
    columns = (*table.columns[:at], Column("Customer"), *table.columns[at + 1 :])
    rows = tuple(
        (*row[:at], names.get(f"{row[at]}", row[at]), *row[at + 1 :]) for row in table.rows
    )
    return replace(table, columns=columns, rows=rows)


def _tables(figures: MonthFigures, weight_unit: str) -> tuple[Table, ...]:
    """Of one selling place there are sales alone."""
    if figures.only.place:
        return sales_tables(figures)
    return (
        *sales_tables(figures),
        *harvest_tables(figures),
        _losses(figures),
        _stock(figures.stock_start, figures.stock_end),
        *(steps_table(found, weight_unit) for found in figures.goods),
        *([_accounts(figures)] if not figures.only.species else []),
        *rolled_tables(figures.rolled),
        *([_agrees(figures.movement)] if figures.movement else []),
    )


# --- what is looked for first ----------------------------------------------------------------


def _facts(figures: MonthFigures) -> tuple[Fact, ...]:
    """Six figures first, then what they are made of; of a part of the farm, those it has."""
    sales, whole = figures.sales, figures.movement
    selling, lost = sum(figures.selling.values()), sum(row.cost for row in figures.losses)
    net, cost = sum(row.net for row in sales), sum(row.cost for row in sales)
    picked = Fact("Picked", sum(pick.mass_mg for pick in figures.picks), Kind.MASS, lead=True)
    wasted = Fact("Lost", lost, Kind.MONEY, lead=True)
    owed = Fact(
        "Owed to the farm at the end",
        sum(one.open_money for one in figures.accounts),
        Kind.MONEY,
        lead=True,
    )
    at_a_place = figures.only.place is not None
    return (
        *(() if at_a_place else (picked,)),
        Fact("Sold", sum(row.amount.mass_mg or 0 for row in sales), Kind.MASS, lead=True),
        Fact("Sales, net of tax", net, Kind.MONEY, lead=True),
        *(() if at_a_place else (wasted,)),
        Fact(LEFT_OVER, net - cost - selling - lost, Kind.MONEY, lead=True),
        *((owed,) if whole else ()),
        Fact("Cost of sales", cost, Kind.MONEY),
        Fact("Selling costs", selling, Kind.MONEY),
        Fact("Sales tax", sum(row.tax for row in sales), Kind.MONEY),
        *_owing(figures),
        *settled_facts(figures.rolled),
        *_unexplained(figures.goods),
        *((Fact("Agrees with the book", _agreement(whole.difference)),) if whole else ()),
    )


def _owing(figures: MonthFigures) -> list[Fact]:
    held = sum(one.deposit_money for one in figures.accounts)
    return [Fact("Deposits held for boxes", held, Kind.MONEY)] if held else []


def _unexplained(goods: Sequence[Reconciliation]) -> list[Fact]:
    """Say how much is unexplained, and whether water and the scale may be the reason."""
    missing = sum(found.unexplained_mg for found in goods)
    flagged = any(found.is_flagged for found in goods)
    words = "beyond the scale's error" if flagged else "within the scale's error"
    return [Fact(f"Unexplained, {words}", missing, Kind.MASS)] if missing else []


def _agreement(difference: int) -> str:
    return "yes, difference 0" if not difference else f"NO: {difference} ten-thousandths apart"


# --- losses, stock, accounts, and the book ---------------------------------------------------


def _losses(figures: MonthFigures) -> Table:
    rows: list[Row] = [
        (row.stage.label, row.reason, row.pieces or None, row.mass_mg, row.cost)
        for row in figures.losses
    ]
    note = "Planned losses and water leave without cost; spent blocks are no loss."
    total = total_row(LOSSES, rows, {"Weight", "Pieces", "Cost"})
    return Table("Losses by stage and reason", LOSSES, tuple(rows), total, note)


def _stock(start: Sequence[StockRow], end: Sequence[StockRow]) -> Table:
    before, after = {row.stage: row for row in start}, {row.stage: row for row in end}
    rows: list[Row] = [
        (stage.label, *_stock_cells(before.get(stage)), *_stock_cells(after.get(stage)))
        for stage in sorted(before.keys() | after.keys())
    ]
    summed = {"Cost at the start", "Cost at the end", "Lots at the start", "Lots at the end"}
    return Table("Stock", STOCK, tuple(rows), total_row(STOCK, rows, summed))


def _stock_cells(row: StockRow | None) -> Row:
    return (row.lots, row.pieces, row.mass_mg, row.cost) if row else (0, 0, 0, 0)


def _accounts(figures: MonthFigures) -> Table:
    """Who owed what at the end, by age; and what was paid ahead, which the farm owes."""
    rows: list[Row] = [
        (one.customer.number, one.open_money, *one.by_age, one.ahead_money, one.deposit_money)
        for one in figures.accounts
    ]
    note = (
        f"At the end of {habits.short_day(figures.month.last)}: invoices less payments, by days "
        "past the day they "
        "were due. Deposits held were paid for boxes not yet given out: a debt, not income."
    )
    total = total_row(OWED, rows, {column.name for column in OWED[1:]})
    return Table("Who owes what", OWED, tuple(rows), total, note)


def _agrees(moved: Movement) -> Table:
    """Add up the book's cost: the total row is the sum of the others, and must be the stock."""
    rows: list[Row] = [
        ("In stock at the start", *moved.start, sum(moved.start)),
        ("+ bought", *moved.bought, sum(moved.bought)),
        ("+ labour, energy, room", *moved.charged, sum(moved.charged)),
        ("- sold", *[-part for part in moved.sold], -sum(moved.sold)),
        ("- lost", *[-part for part in moved.lost], -sum(moved.lost)),
    ]
    total = total_row(AGREES, rows, {column.name for column in KINDS})
    note = (
        "The last row is the sum of those above it, and what the lots hold at the end. Here stand "
        "all four decimals that the book keeps; elsewhere whole cents, handed out month by month "
        "so that every table adds up."
    )
    return Table(
        "How it agrees with the book",
        AGREES,
        tuple(rows),
        ("= in stock at the end", *total[1:]),
        note,
        whole="Total",
    )


# --- drawings and charts ---------------------------------------------------------------------


def _drawings(figures: MonthFigures) -> tuple[Drawing, ...]:
    drawings = []
    picked: dict[str, int] = defaultdict(int)
    for pick in figures.picks:
        picked[pick.species] += pick.mass_mg
    if picked:
        drawings.append(_bars(picked, "Picked, by species"))
    sold: dict[str, int] = defaultdict(int)
    for row in figures.sales:
        sold[row.place] += row.amount.mass_mg or 0
    if sold:
        drawings.append(_bars(sold, "Sold, by place"))
    return (*drawings, *(drawn for found in figures.goods for drawn in steps_drawings(found)))


def _bars(masses: dict[str, int], title: str) -> Drawing:
    largest_first = sorted(masses.items(), key=lambda bar: -bar[1])
    return bars(
        [Bar(name, mass_mg, show_mass(mass_mg, "kg")) for name, mass_mg in largest_first],
        title=title,
    )


def _charts(
    figures: MonthFigures, tables: Mapping[str, Table], weight_unit: str
) -> tuple[Chart, ...]:
    """What a spreadsheet draws: sales by week and place, the harvest, where the crop went."""
    places = tuple(column.name for column in tables[BY_WEEK].columns[1:-1])
    charts = [Chart("Net sales by week", BY_WEEK, "Week from", places)]
    if not figures.only.place:
        charts.append(Chart("Sales by place, net", "Sales by place", "Place", ("Net",)))
    if HARVEST_BY_SPECIES in tables:
        charts.append(
            Chart(HARVEST_BY_SPECIES, HARVEST_BY_SPECIES, "Species", ("Firsts", "Seconds", "Trim"))
        )
    for found in figures.goods:
        title = TITLES[found.form]
        starts = tuple(step.left - step.came_in for step in told(found, weight_unit))
        charts.append(Chart(title, title, "Step", (IN, OUT), starts))
    return tuple(charts)
