"""The sales of a month as rows: by place, week, customer, product, species, lot, line, tax rate."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from datetime import date, timedelta

from farm.queries.months.months import MonthFigures, SoldRow
from farm.reports.report_heading import NUMBER
from farm.reports.rows import Column, Kind, Row, Table, total_row

NO_CUSTOMER = "no name (stall or door)"
NO_PLACE = "no place"
BY_WEEK = "Sales by week and place"
COUNTS = (Column("Pieces", Kind.COUNT), Column("Weight", Kind.MASS))
MONEY = (
    Column("Net", Kind.MONEY),
    Column("Tax", Kind.MONEY),
    Column("Gross", Kind.MONEY),
    Column("Cost of sales", Kind.MONEY),
)
SALES = (
    Column("Date", Kind.DATE),
    Column("Entry"),
    Column(NUMBER),
    Column("Place"),
    Column("Product"),
    Column("Lot"),
    *COUNTS,
    *MONEY,
)
BY_RATE = (
    Column("Rate of tax", Kind.RATIO),
    Column("Net", Kind.MONEY),
    Column("Tax", Kind.MONEY),
    Column("Gross", Kind.MONEY),
)


def sales_tables(figures: MonthFigures) -> tuple[Table, ...]:
    sales = figures.sales
    rows: list[Row] = [
        (
            row.day,
            str(row.entry),
            row.customer_number,
            row.place,
            row.product,
            row.lot_code,
            *_sold_cells(row),
        )
        for row in sales
    ]
    summed = {column.name for column in (*COUNTS, *MONEY)}
    return (
        _by_place(figures),
        _by_week(sales),
        _grouped("Sales by customer", NUMBER, sales, key=_customer),
        _grouped("Sales by product", "Product", sales, key=lambda row: row.product),
        _grouped("Sales by species", "Species", sales, key=lambda row: row.species),
        _grouped("Sales by lot", "Lot", sales, key=lambda row: row.lot_code),
        Table("Sales by line", SALES, tuple(rows), total_row(SALES, rows, summed)),
        _by_rate(sales),
    )


def _by_week(sales: Sequence[SoldRow]) -> Table:
    """Net sales week by week, Monday to Sunday, beside each other by place."""
    places = sorted({row.place or NO_PLACE for row in sales})
    columns = (
        Column("Week from", Kind.DATE),
        *(Column(name, Kind.MONEY) for name in places),
        Column("Total", Kind.MONEY),
    )
    net: dict[date, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    for row in sales:
        monday = row.day - timedelta(days=row.day.weekday())
        net[monday][row.place or NO_PLACE] += row.net
    rows: list[Row] = [
        (monday, *(by_place[name] for name in places), sum(by_place.values()))
        for monday, by_place in sorted(net.items())
    ]
    total = total_row(columns, rows, {*places, "Total"})
    return Table(
        BY_WEEK, columns, tuple(rows), total, "Net of tax; weeks begin on a Monday.", whole="Total"
    )


def _by_rate(sales: Sequence[SoldRow]) -> Table:
    """What was sold at each rate of sales tax; net + tax = gross in each row."""
    sums: dict[int, list[int]] = defaultdict(lambda: [0, 0, 0])
    for row in sales:
        parts = zip(sums[row.tax_ppm], (row.net, row.tax, row.gross), strict=True)
        sums[row.tax_ppm] = [a + b for a, b in parts]
    rows: list[Row] = [(rate, *money) for rate, money in sorted(sums.items())]
    total = total_row(BY_RATE, rows, {"Net", "Tax", "Gross"})
    note = (
        "Each line of a sale was rounded to the cent on its day; the tax is the sum of its lines."
    )
    return Table("Sales tax by rate", BY_RATE, tuple(rows), ("Total", *total[1:]), note)


def _customer(row: SoldRow) -> str:
    return row.customer_number or NO_CUSTOMER


def _sold_cells(row: SoldRow) -> Row:
    return (
        row.amount.pieces,
        row.amount.mass_mg,
        row.net,
        row.tax,
        row.gross,
        row.cost,
    )


def _grouped(
    title: str, label: str, sales: Sequence[SoldRow], *, key: Callable[[SoldRow], str]
) -> Table:
    columns = (Column(label), *COUNTS, *MONEY)
    rows: list[Row] = [
        (name, sums[0] or None, *sums[1:]) for name, sums in sums_of(sales, key).items()
    ]
    summed = {column.name for column in (*COUNTS, *MONEY)}
    return Table(title, columns, tuple(rows), total_row(columns, rows, summed))


def _by_place(figures: MonthFigures) -> Table:
    """Sales by place, with what selling there cost: fees and hours."""
    columns = (
        Column("Place"),
        *COUNTS,
        *MONEY,
        Column("Selling costs", Kind.MONEY),
        Column("Left over", Kind.MONEY),
    )
    sums = sums_of(figures.sales, key=lambda row: row.place)
    rows: list[Row] = []
    for place in sorted(sums.keys() | figures.selling.keys()):
        pieces, mass_mg, net, tax, gross, cost = sums.get(place, [0] * 6)
        selling = figures.selling.get(place, 0)
        rows.append(
            (place, pieces or None, mass_mg, net, tax, gross, cost, selling, net - cost - selling)
        )
    summed = {column.name for column in columns[1:]}
    note = "Left over = net - cost of sales - selling costs; losses are not taken off."
    return Table("Sales by place", columns, tuple(rows), total_row(columns, rows, summed), note)


def sums_of(sales: Iterable[SoldRow], key: Callable[[SoldRow], str]) -> dict[str, list[int]]:
    sums: dict[str, list[int]] = defaultdict(lambda: [0] * 6)
    for row in sales:
        cells = [cell if isinstance(cell, int) else 0 for cell in _sold_cells(row)]
        sums[key(row)] = [a + b for a, b in zip(sums[key(row)], cells, strict=True)]
    return dict(sorted(sums.items()))
