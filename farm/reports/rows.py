"""A report, built once: facts, tables of rows, drawings, cautions.

Web page, PDF and spreadsheet only lay it out. Cells hold the whole numbers of the book (mass in mg,
money in 1/10,000, ratios in ppm); `printed` turns a table into the text that page and PDF show.
"""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import Enum

from farm.reports.drawing import Drawing

Cell = str | int | date | None
Row = tuple[Cell, ...]

EMPTY_WORDS = "Nothing to show: no rows for this report."


class Kind(Enum):
    """What a column holds, and in which whole unit."""

    TEXT = "text"
    DATE = "date"  # a date, or a datetime in the farm's own time
    MASS = "mass"  # mg, shown in kg
    MONEY = "money"  # 1/10,000 of the currency unit
    COUNT = "count"  # pieces
    RATIO = "ratio"  # ppm, shown in %; the column's name states the basis
    UNIT_COST = "unit cost"  # 1/10,000 of the currency unit per kg
    CELSIUS = "celsius"  # thousandths of a degree
    FAHRENHEIT = "fahrenheit"  # thousandths of a degree


# Whole units in one printed last digit, and how many decimals are printed.
STEPS = {Kind.MASS: (1_000, 3), Kind.MONEY: (100, 2), Kind.UNIT_COST: (100, 2),
         Kind.RATIO: (1_000, 1), Kind.COUNT: (1, 0),
         Kind.CELSIUS: (100, 1), Kind.FAHRENHEIT: (100, 1)}  # fmt: skip
SUMMED = (Kind.MASS, Kind.MONEY, Kind.COUNT)


@dataclass(frozen=True)
class Column:
    name: str
    kind: Kind = Kind.TEXT

    @property
    def is_number(self) -> bool:
        return self.kind in STEPS

    def header(self, currency: str = "") -> str:
        """Name the column with its unit: 'Picked, kg', 'Net, EUR', 'Cost, EUR per kg'."""
        unit = unit_of(self.kind, currency)
        return f"{self.name}, {unit}" if unit else self.name


@dataclass(frozen=True)
class Table:
    """Rows under columns. A number in the total row of a summed kind must be the column's sum.

    ``struck``: places of rows that no longer hold, shown struck through; a cell says why.
    """

    title: str
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    total: Row | None = None
    note: str = ""
    struck: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        for row in (*self.rows, *([self.total] if self.total else [])):
            assert len(row) == len(self.columns), f"{self.title}: {row} does not fit the columns"
        for index in self.summed_columns():
            assert self.total and self.total[index] == column_sum(self.rows, index), (
                f"{self.title}: total of {self.columns[index].name} is not the sum of its rows"
            )

    def summed_columns(self) -> list[int]:
        if self.total is None:
            return []
        pairs = enumerate(zip(self.columns, self.total, strict=True))
        return [i for i, (column, cell) in pairs if column.kind in SUMMED and isinstance(cell, int)]


@dataclass(frozen=True)
class Fact:
    """One labelled value above the tables; numbers are shown with their unit."""

    label: str
    value: Cell
    kind: Kind = Kind.TEXT


@dataclass(frozen=True)
class Report:
    """A report ready to be laid out; `made_at`, in the farm's own time, goes into the files."""

    title: str
    subtitle: str
    farm_name: str
    made_by: str
    made_at: datetime
    facts: tuple[Fact, ...] = ()
    tables: tuple[Table, ...] = ()
    drawings: tuple[Drawing, ...] = ()
    cautions: tuple[str, ...] = ()
    currency: str = ""

    @property
    def made_text(self) -> str:
        return f"made {self.made_at:%Y-%m-%d %H:%M} by {self.made_by}"


@dataclass(frozen=True)
class Content:
    """Part of a report: drawings, and tables below them."""

    tables: tuple[Table, ...]
    drawings: tuple[Drawing, ...] = ()


@dataclass(frozen=True)
class Section:
    """A part that is built only when it is written, so that a long file fits in memory."""

    title: str
    build: Callable[[], Content]


@dataclass(frozen=True)
class Printed:
    """A table as text, the same for page and PDF; `numbers` says which columns stand right."""

    title: str
    heads: tuple[str, ...]
    numbers: tuple[bool, ...]
    rows: tuple[tuple[str, ...], ...]
    total: tuple[str, ...] | None
    note: str
    struck: tuple[int, ...]

    @property
    def empty_words(self) -> str:
        return "" if self.rows else EMPTY_WORDS


def printed(table: Table, currency: str = "") -> Printed:
    """Show every cell as text, so that a printed column adds up to its printed total.

    Three rows of 3.3333 under 10.0000 print as 3.34, 3.33, 3.33 under 10.00.
    """
    shares = {i: _shared_column(table, i) for i in table.summed_columns()}
    rows = tuple(
        tuple(
            shares[i][at] if i in shares else show_cell(table.columns[i], cell)
            for i, cell in enumerate(row)
        )
        for at, row in enumerate(table.rows)
    )
    return Printed(
        title=table.title,
        heads=tuple(column.header(currency) for column in table.columns),
        numbers=tuple(column.is_number for column in table.columns),
        rows=rows,
        total=tuple(map(show_cell, table.columns, table.total)) if table.total else None,
        note=table.note,
        struck=table.struck,
    )


def total_row(columns: Sequence[Column], rows: Sequence[Row], summed: Collection[str]) -> Row:
    """Sum the named columns; 'Total' stands in the first column, the other cells are empty."""
    cells: list[Cell] = [
        column_sum(rows, i) if column.name in summed else None for i, column in enumerate(columns)
    ]
    return ("Total", *cells[1:])


def show_cell(column: Column, value: Cell) -> str:
    """Show one value without its unit, which stands in the header; nothing known shows as empty.

    Rounds half to even, as every page does: 62,450 (6.2450) shows as 6.24, 62,550 as 6.26.
    """
    if value is None:
        return ""
    if column.is_number and isinstance(value, int):
        step, decimals = STEPS[column.kind]
        return _decimal(rounded(value, step), decimals)
    if isinstance(value, datetime):
        return f"{value:%Y-%m-%d %H:%M}"
    return str(value)


def show_fact(fact: Fact, currency: str = "") -> str:
    """Show a fact with its unit: '12.400 kg', '62.00 EUR', '96.8 %'."""
    shown = show_cell(Column(fact.label, fact.kind), fact.value)
    return f"{shown} {unit_of(fact.kind, currency)}".strip() if shown else ""


def unit_of(kind: Kind, currency: str) -> str:
    units = {Kind.MASS: "kg", Kind.MONEY: currency, Kind.RATIO: "%", Kind.CELSIUS: "°C",
             Kind.FAHRENHEIT: "°F"}  # fmt: skip
    if kind is Kind.UNIT_COST:
        return f"{currency} per kg".strip()
    return units.get(kind, "")


def column_sum(rows: Sequence[Row], index: int) -> int:
    return sum(cell for row in rows if isinstance(cell := row[index], int))


def share_steps(values: Sequence[int], step: int) -> list[int]:
    """Round each value to steps so that they add up to the rounded total.

    Every value is rounded down, and the steps still missing go to the largest remainders, the
    earlier row first on a tie: 33,333 three times in steps of 100 gives 334, 333, 333.
    """
    parts = [value // step for value in values]
    missing = rounded(sum(values), step) - sum(parts)
    for index in sorted(range(len(values)), key=lambda i: -(values[i] % step))[:missing]:
        parts[index] += 1
    return parts


def rounded(value: int, step: int) -> int:
    """Divide by step, half to even: 62,450 in steps of 100 is 624, 62,550 is 626."""
    steps, rest = divmod(value, step)
    return steps + (2 * rest > step or (2 * rest == step and steps % 2 == 1))


def _shared_column(table: Table, index: int) -> dict[int, str]:
    """Print a summed column's cells, keyed by row; rows without a number stay empty."""
    step, decimals = STEPS[table.columns[index].kind]
    known = {at: cell for at, row in enumerate(table.rows) if isinstance(cell := row[index], int)}
    parts = dict(zip(known, share_steps(list(known.values()), step), strict=True))
    return {
        at: _decimal(parts[at], decimals) if at in parts else "" for at in range(len(table.rows))
    }


def _decimal(steps: int, decimals: int) -> str:
    """Write a count of last digits as a decimal number: 1234567 with 2 is 12,345.67."""
    whole, part = divmod(abs(steps), 10**decimals)
    sign = "-" if steps < 0 else ""
    return f"{sign}{whole:,}.{part:0{decimals}}" if decimals else f"{sign}{whole:,}"
