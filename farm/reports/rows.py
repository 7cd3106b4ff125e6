"""A report, built once: facts, tables of rows, drawings, cautions.

Web page, PDF and spreadsheet only lay it out. Cells hold the whole numbers of the book (mass in mg,
money in 1/10,000, ratios in ppm); `printed` turns a table into the text that page and PDF show.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import Enum

from farm.habits import in_force, short_day, short_moment
from farm.reports.drawing import Drawing
from farm.reports.prints import Print
from farm.steps import Step, rounded, share_steps, steps_across
from farm.units import MG_PER_LB, MG_PER_UNIT, in_currency

Cell = str | int | date | None
Row = tuple[Cell, ...]

EMPTY_WORDS = "None."


class Kind(Enum):
    """What a column holds, and in which whole unit."""

    TEXT = "text"
    DATE = "date"  # a date, or a datetime in the farm's own time
    MASS = "mass"  # mg, shown in kg
    MONEY = "money"  # 1/10,000 of the currency unit
    EXACT_MONEY = "exact money"  # the same, all four decimals shown: rounded nowhere
    COUNT = "count"  # pieces
    HOURS = "hours"  # thousandths of an hour
    RATIO = "ratio"  # ppm, shown in %; the column's name states the basis
    UNIT_COST = "unit cost"  # 1/10,000 of the currency unit per kg
    POUNDS = "pounds"  # mg, shown in lb
    HANDED_POUNDS = "handed pounds"  # hundredths of a pound, as they were handed out
    POUND_COST = "pound cost"  # 1/10,000 of the currency unit per kg, shown per lb
    CELSIUS = "celsius"  # thousandths of a degree
    FAHRENHEIT = "fahrenheit"  # thousandths of a degree


# Whole units in one printed last digit, and how many decimals are printed.
STEPS: Mapping[Kind, tuple[Step, int]] = {
    Kind.MASS: (1_000, 3), Kind.MONEY: (100, 2), Kind.EXACT_MONEY: (1, 4),
    Kind.UNIT_COST: (100, 2),
    Kind.HANDED_POUNDS: (1, 2),
    Kind.POUNDS: (MG_PER_LB / 100, 2), Kind.POUND_COST: (100 * MG_PER_UNIT["kg"] / MG_PER_LB, 2),
    Kind.RATIO: (1_000, 1), Kind.COUNT: (1, 0), Kind.HOURS: (100, 1),
    Kind.CELSIUS: (100, 1), Kind.FAHRENHEIT: (100, 1)}  # fmt: skip
IN_CURRENCY = (Kind.MONEY, Kind.EXACT_MONEY)
SUMMED = (Kind.MASS, Kind.POUNDS, Kind.HANDED_POUNDS, *IN_CURRENCY, Kind.COUNT, Kind.HOURS)


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

    ``whole``: the column that in each row is the sum of the columns of its kind before it.
    ``struck``: places of rows that no longer hold, shown struck through; a cell says why.
    """

    title: str
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    total: Row | None = None
    note: str = ""
    struck: tuple[int, ...] = ()
    whole: str = ""

    def __post_init__(self) -> None:
        for row in (*self.rows, *([self.total] if self.total else [])):
            assert len(row) == len(self.columns), f"{self.title}: {row} does not fit the columns"
        for index in self.summed_columns():
            assert self.total and self.total[index] == column_sum(self.rows, index), (
                f"{self.title}: total of {self.columns[index].name} is not the sum of its rows"
            )

    def parts_and_whole(self) -> list[int]:
        """Places of the columns that add up across, the whole last; empty where none do."""
        names = [column.name for column in self.columns]
        if self.whole not in names:
            return []
        last = first = names.index(self.whole)
        while first and self.columns[first - 1].kind is self.columns[last].kind:
            first -= 1
        return list(range(first, last + 1))

    def summed_columns(self) -> list[int]:
        if self.total is None:
            return []
        pairs = enumerate(zip(self.columns, self.total, strict=True))
        return [i for i, (column, cell) in pairs if column.kind in SUMMED and isinstance(cell, int)]


@dataclass(frozen=True)
class Fact:
    """One labelled value above the tables; numbers are shown with their unit.

    ``lead``: among the few that are looked for first.
    """

    label: str
    value: Cell
    kind: Kind = Kind.TEXT
    lead: bool = False


@dataclass(frozen=True)
class Chart:
    """A chart that a spreadsheet draws by itself from one of the report's tables, a bar a row.

    ``table``: its title. ``label``: the column that names the bars. ``bars``: the columns that are
    drawn, on top of each other where there are several. ``starts``: where each bar begins, in the
    bars' own unit, for steps that hang in the air.
    """

    title: str
    table: str
    label: str
    bars: tuple[str, ...]
    starts: tuple[int, ...] = ()


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
    charts: tuple[Chart, ...] = ()

    @property
    def made_text(self) -> str:
        return f"made {short_moment(self.made_at)} by {self.made_by}"


@dataclass(frozen=True)
class Content:
    """Part of a report: drawings, tables below them, and photos below those, on paper."""

    tables: tuple[Table, ...]
    drawings: tuple[Drawing, ...] = ()
    prints: tuple[Print, ...] = ()


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

    Three rows of 3.3333 under 10.0000 print as 3.34, 3.33, 3.33 under 10.00. Where columns also
    add up across, `steps_across` hands out the cents, so that both sums hold.
    """
    shown = _shared(table)
    rows = tuple(
        tuple(
            shown.get((at, i), show_cell(column, cell))
            for i, (column, cell) in enumerate(zip(table.columns, row, strict=True))
        )
        for at, row in enumerate(table.rows)
    )
    last = len(table.rows)
    return Printed(
        title=table.title,
        heads=tuple(column.header(currency) for column in table.columns),
        numbers=tuple(column.is_number for column in table.columns),
        rows=rows,
        total=tuple(
            shown.get((last, i), show_cell(column, cell))
            for i, (column, cell) in enumerate(zip(table.columns, table.total, strict=True))
        )
        if table.total
        else None,
        note=table.note,
        struck=table.struck,
    )


def total_row(columns: Sequence[Column], rows: Sequence[Row], summed: Collection[str]) -> Row:
    """Sum the named columns; 'Total' stands in the first column, the other cells are empty."""
    cells: list[Cell] = [
        column_sum(rows, i) if column.name in summed else None for i, column in enumerate(columns)
    ]
    return ("Total", *cells[1:])


def without_empty(
    columns: Sequence[Column], rows: Sequence[Row], name: str
) -> tuple[tuple[Column, ...], tuple[Row, ...]]:
    """Leave a column out where nothing stands in it."""
    at = [column.name for column in columns].index(name)
    if any(row[at] for row in rows):
        return tuple(columns), tuple(rows)
    left = tuple((*row[:at], *row[at + 1 :]) for row in rows)
    return (*columns[:at], *columns[at + 1 :]), left


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
        return short_moment(value)
    return short_day(value) if isinstance(value, date) else str(value)


def show_fact(fact: Fact, currency: str = "") -> str:
    """Show a fact with its unit: '12.400 kg', '€62.00', '96.8 %'."""
    shown = show_cell(Column(fact.label, fact.kind), fact.value)
    if shown and fact.kind in IN_CURRENCY:
        return in_currency(shown.removeprefix("-"), currency, below_zero=shown[0] == "-").strip()
    return f"{shown} {unit_of(fact.kind, currency)}".strip() if shown else ""


def unit_of(kind: Kind, currency: str) -> str:
    units = {
        Kind.MASS: "kg",
        Kind.POUNDS: "lb",
        Kind.HANDED_POUNDS: "lb",
        Kind.RATIO: "%",
        **dict.fromkeys(IN_CURRENCY, currency),
        Kind.CELSIUS: "°C",
        Kind.FAHRENHEIT: "°F",
        Kind.UNIT_COST: f"{currency} per kg".strip(),
        Kind.POUND_COST: f"{currency} per lb".strip(),
    }
    return units.get(kind, "")


def column_sum(rows: Sequence[Row], index: int) -> int:
    return sum(cell for row in rows if isinstance(cell := row[index], int))


def _shared(table: Table) -> dict[tuple[int, int], str]:
    """Print the cells that must add up, keyed by row and column; the total row comes last."""
    across = table.parts_and_whole()
    shown: dict[tuple[int, int], str] = {}
    for i in set(table.summed_columns()) - set(across):
        step, decimals = STEPS[table.columns[i].kind]
        known = {at: cell for at, row in enumerate(table.rows) if isinstance(cell := row[i], int)}
        parts = share_steps(list(known.values()), step)
        shown |= {(at, i): _decimal(part, decimals) for at, part in zip(known, parts, strict=True)}
    if across:
        step, decimals = STEPS[table.columns[across[-1]].kind]
        for at, parts in enumerate(
            steps_across(_numbers(table, across[:-1]), step, has_total=table.total is not None)
        ):
            for i, part in zip(across, parts, strict=True):
                shown[at, i] = _decimal(part, decimals)
    return shown


def _numbers(table: Table, columns: Sequence[int]) -> list[list[int]]:
    """Read some columns of all rows, the total row last; what is empty is nothing."""
    rows = [*table.rows, *([table.total] if table.total else [])]
    return [[cell if isinstance(cell := row[i], int) else 0 for i in columns] for row in rows]


def _decimal(steps: int, decimals: int) -> str:
    """Write a count of last digits as a decimal number: 1234567 with 2 is 12,345.67."""
    whole, part = divmod(abs(steps), 10**decimals)
    sign = "-" if steps < 0 else ""
    grouped = f"{whole:,}".replace(",", in_force().doubtful)
    return f"{sign}{grouped}{in_force().mark}{part:0{decimals}}" if decimals else f"{sign}{grouped}"
