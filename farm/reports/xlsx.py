"""Lay a report out as a spreadsheet: a summary sheet, then a sheet for each table.

Numbers stay numbers: exact, not rounded. Rows are a table of the spreadsheet, to sort and filter;
totals are formulas over it that follow the filter. The same report gives the same bytes, so that
a closed month can be compared with what was handed out.
"""

import io
import re
from collections.abc import Iterator, Mapping, Sequence
from copy import copy
from datetime import date, datetime
from decimal import Decimal
from fractions import Fraction
from textwrap import wrap
from typing import NamedTuple
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

from openpyxl import Workbook
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE, Cell
from openpyxl.styles import Alignment, Border, Font, Side
from openpyxl.styles.cell_style import StyleArray
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.filters import AutoFilter
from openpyxl.worksheet.table import Table as SheetTable
from openpyxl.worksheet.table import TableColumn
from openpyxl.worksheet.worksheet import Worksheet
from openpyxl.writer.excel import ExcelWriter

from farm.reports import rows
from farm.reports.rows import Column, Fact, Kind, Report, Table
from farm.reports.xlsx_charts import add_charts
from farm.units import MG_PER_LB, MG_PER_UNIT

HEADER_ROW = 3
FIRST_ROW = HEADER_ROW + 1
WIDEST = 48  # characters
LINE_HEIGHT, HIGHEST = 13.0, 400.0  # points
ADD_SHOWN = 109  # of SUBTOTAL: add up the rows that a filter leaves
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
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
FONTS = {
    "plain": Font(name="Arial", size=10),
    "bold": Font(name="Arial", size=10, bold=True),
    "struck": Font(name="Arial", size=10, strike=True),
    "title": Font(name="Arial", size=14, bold=True),
}
RULE = Side(style="thin", color="FF565D63")
BORDERS = {
    "head": Border(top=RULE, bottom=RULE),
    "row": Border(bottom=Side(style="hair", color="FFCBD3CF")),
    "total": Border(top=RULE, bottom=Side(style="double", color="FF565D63")),
}
Value = str | int | Decimal | date | None
Values = dict[str, Decimal]


def workbook_bytes(report: Report) -> bytes:
    book = Workbook()
    book.properties.title = report.title
    book.properties.creator = report.made_by
    # The file format keeps time without a zone; the farm's own clock is what people compare.
    book.properties.created = book.properties.modified = report.made_at.replace(tzinfo=None)
    names = sheet_names(["Summary", *[table.title for table in report.tables]])
    summary = book.active
    assert isinstance(summary, Worksheet)
    summary.title = names[0]
    _write_summary(summary, report)
    totals: list[Values] = [{}]
    for at, (name, table) in enumerate(zip(names[1:], report.tables, strict=True), start=1):
        sheet = book.create_sheet(name)
        totals.append(_write_table(sheet, table, report, name=f"Table{at}"))
    for sheet in book.worksheets:
        _set_print(sheet, report)
    for sheet, table in zip(book.worksheets[1:], report.tables, strict=True):
        add_charts(sheet, table, report)
    return packed(book, totals)


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


def _write_summary(sheet: Worksheet, report: Report) -> None:
    sheet.sheet_view.showGridLines = False
    pen = _Pen(sheet)
    pen.write((1, 1), report.title, Look("title"))
    pen.write((2, 1), report.subtitle)
    facts = [
        Fact("Farm", report.farm_name),
        Fact("Made", report.made_text),
        *report.facts,
        *[Fact("Caution", words) for words in report.cautions],
    ]
    widths = [2 + min(max(len(fact.label) for fact in facts), 40), 70]
    label = Look("bold", upright="top", wraps=True)
    for at, fact in enumerate(facts, start=4):
        pen.write((at, 1), fact.label, label)
        value, shape = _value(Column(fact.label, fact.kind), fact.value)
        unit = rows.unit_of(fact.kind, report.currency)
        if unit and fact.kind is not Kind.RATIO:  # the percent sign is part of its format
            shape = shape.rstrip("?") + f'" {unit}"'
        look = Look(shape=shape, across="left", upright="top", wraps=True)
        pen.write((at, 2), value, look)
        pen.fit(at, [fact.label, value], widths)
    for letter, width in zip("AB", widths, strict=True):
        sheet.column_dimensions[letter].width = width


def _write_table(sheet: Worksheet, table: Table, report: Report, *, name: str) -> Values:
    """Write title, header, rows and total; give back the value of each total formula."""
    pen = _Pen(sheet)
    pen.write((1, 1), table.title, Look("title"))
    pen.write((2, 1), table.note or ("" if table.rows else rows.EMPTY_WORDS))
    heads = _heads(table, report.currency)
    for at, (head, column) in enumerate(zip(heads, table.columns, strict=True), start=1):
        side = "right" if column.is_number else "left"
        pen.write((HEADER_ROW, at), head, Look("bold", "head", "General", side, "bottom", True))
    widths = _widths(table, report.currency)
    for at, width in enumerate(widths, start=1):
        sheet.column_dimensions[get_column_letter(at)].width = width
    pen.fit(HEADER_ROW, heads, widths)
    struck = set(table.struck)
    for down, row in enumerate(table.rows, start=FIRST_ROW):
        font = "struck" if down - FIRST_ROW in struck else "plain"
        values = [_value(column, cell) for column, cell in zip(table.columns, row, strict=True)]
        for at, (column, (value, shape)) in enumerate(
            zip(table.columns, values, strict=True), start=1
        ):
            across = "left" if column.kind is Kind.DATE and value is not None else None
            wraps = isinstance(value, str) and value != ""
            pen.write((down, at), value, Look(font, "row", shape, across, "top", wraps))
        pen.fit(down, [value for value, _ in values], widths)
    sheet.freeze_panes = f"A{FIRST_ROW}"
    sheet.print_title_rows = f"{HEADER_ROW}:{HEADER_ROW}"
    if table.rows:
        sheet.add_table(_sheet_table(name, heads, len(table.rows)))
    return _write_total(pen, table)


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


def _sheet_table(name: str, heads: Sequence[str], count: int) -> SheetTable:
    """Make the rows a table of the spreadsheet; the total stays outside: sorting leaves it."""
    ref = f"A{HEADER_ROW}:{get_column_letter(len(heads))}{HEADER_ROW + count}"
    columns = [TableColumn(id=at, name=head) for at, head in enumerate(heads, start=1)]
    return SheetTable(
        displayName=name, name=name, ref=ref, tableColumns=columns, autoFilter=AutoFilter(ref=ref)
    )


def _write_total(pen: "_Pen", table: Table) -> Values:
    values: Values = {}
    if table.total is None:
        return values
    down = FIRST_ROW + len(table.rows)
    summed = table.summed_columns() if table.rows else []
    for at, (column, cell) in enumerate(zip(table.columns, table.total, strict=True)):
        value, shape = _value(column, cell)
        written = pen.write((down, at + 1), value, Look("bold", "total", shape))
        if at in summed:
            letter = get_column_letter(at + 1)
            values[written.coordinate] = Decimal(str(value))
            written.value = f"=SUBTOTAL({ADD_SHOWN},{letter}{FIRST_ROW}:{letter}{down - 1})"
    return values


# --- cells -----------------------------------------------------------------------------------


class Look(NamedTuple):
    """How a cell looks, in words that are quickly compared; ``shape``: its number format."""

    font: str = "plain"
    border: str = ""
    shape: str = "General"
    across: str | None = None
    upright: str | None = None
    wraps: bool = False
    quoted: bool = False


PLAIN = Look()


class _Pen:
    """Writes into one sheet. Each look is made once and copied: openpyxl is slow at making them."""

    def __init__(self, sheet: Worksheet) -> None:
        self.sheet = sheet
        self.styles: dict[Look, StyleArray] = {}

    def write(self, at: tuple[int, int], value: Value, look: Look = PLAIN) -> Cell:
        """Write a value; words stay words: what a customer typed never becomes a formula."""
        cell = self.sheet.cell(*at)
        assert isinstance(cell, Cell)  # no cells are merged here
        if isinstance(value, str) and value.startswith(FORMULA_STARTS):
            look = look._replace(quoted=True)  # not even when it is edited
        cell._style = copy(self.styles.get(look) or self._made(look))  # type: ignore[attr-defined]
        if value not in (None, ""):
            cell.value = value
        if isinstance(value, str) and value:
            cell.data_type = "s"
        return cell

    def fit(self, row: int, values: Sequence[Value], widths: Sequence[float]) -> None:
        """Make a row high enough for its words; not every program does so by itself."""
        most = max(_lines_of(value, width) for value, width in zip(values, widths, strict=True))
        if most > 1:
            self.sheet.row_dimensions[row].height = min(LINE_HEIGHT * most + 2, HIGHEST)

    def _made(self, look: Look) -> StyleArray:
        cell = Cell(self.sheet, 1, 1)  # of no sheet's rows
        cell.font, cell.number_format = FONTS[look.font], look.shape
        if look.border:
            cell.border = BORDERS[look.border]
        cell.alignment = Alignment(look.across, look.upright, wrap_text=look.wraps or None)
        cell.quotePrefix = look.quoted
        self.styles[look] = cell._style  # type: ignore[attr-defined]
        return self.styles[look]


def _value(column: Column, value: rows.Cell) -> tuple[Value, str]:
    """Give the value that a cell gets, and its number format."""
    if isinstance(value, datetime):
        return value.replace(tzinfo=None), "yyyy-mm-dd hh:mm"
    if isinstance(value, date):
        return value, "yyyy-mm-dd"
    if isinstance(value, int) and column.is_number:
        unit, shape = FORMATS[column.kind]
        return value if unit == 1 else _decimal(value, unit), shape
    return None if value is None else ILLEGAL_CHARACTERS_RE.sub("", str(value)), "General"


def _decimal(value: int, unit: int | Fraction) -> Decimal:
    """Divide by a unit: exact by a power of ten, by a pound to as many digits as decimals have."""
    if isinstance(unit, int):
        return Decimal(value) / unit
    parts = value / unit
    return Decimal(parts.numerator) / parts.denominator


def _lines_of(value: Value, width: float) -> int:
    """How many lines words take in a column; what is no words takes one."""
    if not isinstance(value, str) or (len(value) <= width - 2 and value.isprintable()):
        return 1
    return len(wrap(value, int(width) - 2))


def _widths(table: Table, currency: str) -> list[float]:
    """Fit each column to its longest cell; a header may wrap, so only its longest word counts."""
    shown = rows.printed(table, currency)
    lines = [*shown.rows, *([shown.total] if shown.total else [])]
    widths: list[float] = []
    for at, head in enumerate(shown.heads):
        widest = max((len(line[at]) for line in lines), default=0)
        words = max(len(head) // 2, *map(len, head.split()), 6) + 3  # room for the filter's arrow
        extra = 3 if shown.numbers[at] else 0  # decimals that print leaves out
        widths.append(min(max(widest + extra, words), WIDEST) + 2)
    return widths


def _set_print(sheet: Worksheet, report: Report) -> None:
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.paperSize = sheet.PAPERSIZE_A4
    sheet.page_setup.fitToWidth = 1
    sheet.page_setup.fitToHeight = 0
    assert sheet.sheet_properties.pageSetUpPr is not None
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    # An ampersand is a command in headers and footers; two print one.
    foot = sheet.oddFooter
    assert foot is not None
    foot.left.text = report.farm_name.replace("&", "&&")
    foot.center.text = report.made_text.replace("&", "&&")
    foot.right.text = "page &P of &N"


def packed(book: Workbook, totals: list[Values]) -> bytes:
    """Zip the parts with one fixed time, and put the totals' values beside their formulas.

    Without them a viewer that does not calculate (a phone's preview) would show empty totals.
    """
    first, second = io.BytesIO(), io.BytesIO()
    with ZipFile(first, "w", ZIP_DEFLATED) as archive:
        # Workbook.save would write today's time into the file; the writer itself does not.
        ExcelWriter(book, archive).save()
    with ZipFile(first) as read, ZipFile(second, "w", ZIP_DEFLATED) as written:
        for name, content in _parts(read, totals):
            part = ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))
            part.compress_type = ZIP_DEFLATED
            written.writestr(part, content)
    return second.getvalue()


def _parts(archive: ZipFile, totals: list[Values]) -> Iterator[tuple[str, bytes]]:
    values = {f"xl/worksheets/sheet{at}.xml": found for at, found in enumerate(totals, start=1)}
    for name in sorted(archive.namelist()):
        content = archive.read(name)
        for cell, value in values.get(name, {}).items():
            pattern = rf'(<c r="{cell}"[^>]*><f>[^<]*</f>)<v ?(?:/>|></v>)'.encode()
            content = re.sub(pattern, rb"\g<1><v>%b</v>" % f"{value:f}".encode(), content)
        yield name, content
