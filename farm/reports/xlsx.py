"""Lay a report out as a spreadsheet: a summary sheet, then a sheet for each table.

Numbers stay numbers: exact, not rounded. Rows are a table of the spreadsheet, to sort and filter;
totals are formulas over it that follow the filter, with their values beside them: a viewer that
does not calculate (a phone's preview) shows these. The same report gives the same bytes, so that
a closed month can be compared with what was handed out.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from fractions import Fraction
from io import BytesIO
from textwrap import wrap

from xlsxwriter import Workbook
from xlsxwriter.utility import xl_col_to_name
from xlsxwriter.worksheet import Worksheet

from farm.reports import rows
from farm.reports.rows import Cell, Column, Fact, Kind, Report, Table
from farm.reports.xlsx_charts import FIRST_ROW, HEADER_ROW, add_charts
from farm.reports.xlsx_looks import PLAIN, Look, Looks
from farm.units import MG_PER_LB, MG_PER_UNIT

WIDEST = 48  # characters
LINE_HEIGHT, HIGHEST = 13.0, 400.0  # points
ADD_SHOWN = 109  # of SUBTOTAL: add up the rows that a filter leaves
A4 = 9
# The unit of the book in one unit of the sheet, and how it is shown. Question marks keep the
# points of 3.50 and 4.7872 under each other without hiding what the book holds.
FORMATS: Mapping[Kind, tuple[int | Fraction, str]] = {
    Kind.MASS: (1_000_000, "#,##0.000"),
    Kind.MONEY: (10_000, "#,##0.00??"),
    Kind.EXACT_MONEY: (10_000, "#,##0.0000"),
    Kind.UNIT_COST: (10_000, "#,##0.00??"),
    Kind.POUNDS: (MG_PER_LB, "#,##0.00"),
    Kind.HANDED_POUNDS: (100, "#,##0.00"),
    Kind.POUND_COST: (10_000 * MG_PER_UNIT["kg"] / MG_PER_LB, "#,##0.00??"),
    Kind.RATIO: (1_000_000, "0.0%"),
    Kind.COUNT: (1, "#,##0"),
    Kind.HOURS: (1_000, "#,##0.0"),
    Kind.CELSIUS: (1_000, "0.0"),
    Kind.FAHRENHEIT: (1_000, "0.0"),
}
DAY, MOMENT = "yyyy-mm-dd", "yyyy-mm-dd hh:mm"
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
NOT_WRITTEN = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f]")  # no spreadsheet can hold them
LABEL = Look("bold", upright="top", wraps=True)
HEAD = Look("bold", "head", across="left", upright="bottom", wraps=True)
NUMBER_HEAD = HEAD._replace(across="right")
ROW = Look(border="row", upright="top")
TOTAL = Look("bold", "total")
Cells = Iterable[tuple[int, Cell]]  # by their row, counted from 0


def workbook_bytes(report: Report) -> bytes:
    file = BytesIO()
    book = opened(file, report.title, made_by=report.made_by, made_at=report.made_at)
    looks = Looks(book)
    names = sheet_names(["Summary", *[table.title for table in report.tables]])
    summary, *sheets = [book.add_worksheet(name) for name in names]
    _write_summary(_Pen(summary, looks), report)
    for at, (sheet, table) in enumerate(zip(sheets, report.tables, strict=True), start=1):
        _write_table(_Pen(sheet, looks), table, report, name=f"Table{at}")
    for sheet in (summary, *sheets):
        _set_print(sheet, report)
    for sheet, table in zip(sheets, report.tables, strict=True):
        add_charts(book, sheet, table, report=report)
    book.close()
    return file.getvalue()


def opened(file: BytesIO, title: str, *, made_by: str, made_at: datetime) -> Workbook:
    """Begin a workbook that is written to ``file`` when it is closed."""
    book = Workbook(file, {"in_memory": True})
    # The file format keeps time without a zone; the farm's own clock is what people compare.
    made = made_at.replace(tzinfo=None)
    book.set_properties({"title": title, "author": made_by, "created": made})
    return book


def sheet_names(titles: list[str]) -> list[str]:
    """Make names that a spreadsheet takes: at most 31 characters, none of []:*?/\\, all different.

    A name that is taken gets a number: 'Sales', 'Sales (2)'.
    """
    names: list[str] = []
    taken: set[str] = set()
    for title in titles:
        plain = re.sub(r"[\[\]:*?/\\\x00-\x1f]", " ", title).strip(" '")
        number, name = 1, plain[:31].strip() or "Table"
        while name.casefold() in taken:
            number += 1
            name = f"{plain[:25].strip()} ({number})"
        taken.add(name.casefold())
        names.append(name)
    return names


def _write_summary(pen: "_Pen", report: Report) -> None:
    pen.sheet.hide_gridlines(2)
    pen.words((0, 0), report.title, Look("title"))
    pen.words((1, 0), report.subtitle)
    facts = [
        Fact("Farm", report.farm_name),
        Fact("Made", report.made_text),
        *report.facts,
        *[Fact("Caution", words) for words in report.cautions],
    ]
    widths = [2 + min(max(len(fact.label) for fact in facts), 40), 70]
    for down, fact in enumerate(facts, start=3):
        pen.words((down, 0), fact.label, LABEL)
        unit, shape = rows.unit_of(fact.kind, report.currency), ""
        if unit and fact.kind is not Kind.RATIO:  # the percent sign is part of its format
            shape = FORMATS[fact.kind][1].rstrip("?") + f'" {unit}"'
        look = Look(shape=shape, across="left", upright="top", wraps=True)
        pen.column(1, Column(fact.label, fact.kind), [(down, fact.value)], look=look)
        pen.fit([(down, fact.label)], widths[0])
        pen.fit([(down, fact.value)], widths[1])
    pen.set_sizes(widths)


def _write_table(pen: "_Pen", table: Table, report: Report, *, name: str) -> None:
    pen.words((0, 0), table.title, Look("title"))
    pen.words((1, 0), table.note or ("" if table.rows else rows.EMPTY_WORDS))
    heads = _heads(table, report.currency)
    columns = list(zip(*table.rows, strict=True)) or [()] * len(heads)
    widths = _widths(table, columns, heads)
    for at, (column, cells) in enumerate(zip(table.columns, columns, strict=True)):
        pen.words((HEADER_ROW, at), heads[at], NUMBER_HEAD if column.is_number else HEAD)
        pen.fit([(HEADER_ROW, heads[at])], widths[at])
        pen.column(at, column, enumerate(cells, start=FIRST_ROW), look=ROW)
        pen.fit(enumerate(cells, start=FIRST_ROW), widths[at])
    for row in table.struck:
        for at, column in enumerate(table.columns):
            struck = [(FIRST_ROW + row, table.rows[row][at])]
            pen.column(at, column, struck, look=ROW._replace(font="struck"))
    pen.set_sizes(widths)
    pen.sheet.freeze_panes(FIRST_ROW, 0)
    pen.sheet.repeat_rows(HEADER_ROW)
    if table.rows:
        _make_table(pen, table, heads, name=name)
    _write_total(pen, table)


def _heads(table: Table, currency: str) -> list[str]:
    """Name the columns; a spreadsheet's table wants every name once, whatever its case."""
    heads: list[str] = []
    for column in table.columns:
        head = " ".join(column.header(currency).split())
        taken = {known.casefold() for known in heads}
        number, name = 1, head
        while name.casefold() in taken:
            number += 1
            name = f"{head} ({number})"
        heads.append(name)
    return heads


def _make_table(pen: "_Pen", table: Table, heads: Sequence[str], *, name: str) -> None:
    """Make the rows a table of the spreadsheet; the total stays outside: sorting leaves it."""
    columns = [
        {"header": head, "header_format": pen.looks.of(NUMBER_HEAD if column.is_number else HEAD)}
        for head, column in zip(heads, table.columns, strict=True)
    ]
    last = HEADER_ROW + len(table.rows)
    said = {"name": name, "style": None, "columns": columns}
    pen.sheet.add_table(HEADER_ROW, 0, last, len(heads) - 1, said)


def _write_total(pen: "_Pen", table: Table) -> None:
    if table.total is None:
        return
    down, summed = FIRST_ROW + len(table.rows), table.summed_columns() if table.rows else []
    for at, (column, cell) in enumerate(zip(table.columns, table.total, strict=True)):
        if at in summed and isinstance(cell, int):
            unit, shape = FORMATS[column.kind]
            letter = xl_col_to_name(at)
            formula = f"=SUBTOTAL({ADD_SHOWN},{letter}{FIRST_ROW + 1}:{letter}{down})"
            look = pen.looks.of(TOTAL._replace(shape=shape))
            pen.sheet.write_formula(down, at, formula, look, float(cell / unit))
        else:
            pen.column(at, column, [(down, cell)], look=TOTAL)


# --- cells -----------------------------------------------------------------------------------


class _Pen:
    """Writes into one sheet; places are (row, column), both counted from 0."""

    def __init__(self, sheet: Worksheet, looks: Looks) -> None:
        self.sheet, self.looks = sheet, looks
        self.lines: dict[int, int] = {}  # of the rows that have more than one

    def words(self, at: tuple[int, int], words: str, look: Look = PLAIN) -> None:
        """Write words as words: what a customer typed never becomes a formula."""
        if words.startswith(FORMULA_STARTS):
            look = look._replace(quoted=True)  # not even when it is edited
        if not words.isprintable():
            words = NOT_WRITTEN.sub("", words)
        if words:
            self.sheet.write_string(*at, words, self.looks.of(look))

    def column(self, at: int, column: Column, cells: Cells, *, look: Look) -> None:
        """Write cells of one column, each as what it is: a number, a day, words, or nothing."""
        unit, shape = FORMATS.get(column.kind, (1, ""))
        number = self.looks.of(look._replace(shape=look.shape or shape))
        plain, wrapped = look._replace(shape=""), look._replace(shape="", wraps=True)
        is_number, sheet, empty = column.is_number, self.sheet, self.looks.of(plain)
        for down, cell in cells:
            if is_number and isinstance(cell, int):
                sheet.write_number(down, at, float(cell / unit), number)
            elif cell is None or cell == "":
                sheet.write_blank(down, at, None, empty)
            elif isinstance(cell, date):
                self._day((down, at), cell, plain)
            else:
                self.words((down, at), str(cell), wrapped)

    def _day(self, at: tuple[int, int], day: date, look: Look) -> None:
        is_moment = isinstance(day, datetime)
        shown = look._replace(shape=MOMENT if is_moment else DAY, across="left")
        when = day.replace(tzinfo=None) if isinstance(day, datetime) else day
        self.sheet.write_datetime(*at, when, self.looks.of(shown))  # type: ignore[call-overload]

    def fit(self, cells: Cells, width: float) -> None:
        """Note how many lines the words of a column take in its width."""
        for down, cell in cells:
            if isinstance(cell, str) and (len(cell) > width - 2 or not cell.isprintable()):
                lines = len(wrap(cell, int(width) - 2))
                self.lines[down] = max(lines, self.lines.get(down, 1))

    def set_sizes(self, widths: Sequence[float]) -> None:
        """Make columns wide enough, and rows high enough: not every program does so by itself."""
        for at, width in enumerate(widths):
            self.sheet.set_column(at, at, width)
        for down, lines in self.lines.items():
            if lines > 1:
                self.sheet.set_row(down, min(LINE_HEIGHT * lines + 2, HIGHEST))


def _widths(table: Table, columns: Sequence[Sequence[Cell]], heads: Sequence[str]) -> list[float]:
    """Fit each column to its longest cell; a header may wrap, so only its longest word counts."""
    widths: list[float] = []
    totals = table.total or [None] * len(heads)
    for column, cells, total, head in zip(table.columns, columns, totals, heads, strict=True):
        words = max(len(head) // 2, *map(len, head.split()), 6) + 3  # room for the filter's arrow
        extra = 3 if column.is_number else 0  # decimals that print leaves out
        widths.append(min(max(_longest(column, [*cells, total]) + extra, words), WIDEST) + 2)
    return widths


def _longest(column: Column, cells: Sequence[Cell]) -> int:
    """Say how long the longest cell is in print; of numbers it is the largest or the smallest."""
    numbers = [cell for cell in cells if isinstance(cell, int)] if column.is_number else []
    others = [cell for cell in cells if not isinstance(cell, int)] if numbers else cells
    most = {*others, *([min(numbers), max(numbers)] if numbers else [])}
    return max((len(rows.show_cell(column, cell)) for cell in most), default=0)


def _set_print(sheet: Worksheet, report: Report) -> None:
    sheet.set_landscape()
    sheet.set_paper(A4)
    sheet.fit_to_pages(1, 0)
    # An ampersand is a command in headers and footers; two print one.
    farm, made = (words.replace("&", "&&") for words in (report.farm_name, report.made_text))
    sheet.set_footer(f"&L{farm}&C{made}&Rpage &P of &N")
