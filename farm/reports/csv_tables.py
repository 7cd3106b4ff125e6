"""Every table of a report as CSV, for programs that add up: exact, without totals, in one zip."""

import csv
import io
from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from fractions import Fraction
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

from django.utils.text import slugify

from farm.reports.rows import Cell, Column, Kind, Report, Table
from farm.units import MG_PER_LB, MG_PER_UNIT

# The book's unit in one unit of the column's head, and decimals that lose nothing of it.
UNITS: dict[Kind, tuple[Fraction, int]] = {
    Kind.MASS: (Fraction(1_000_000), 6),
    Kind.MONEY: (Fraction(10_000), 4),
    Kind.EXACT_MONEY: (Fraction(10_000), 4),
    Kind.UNIT_COST: (Fraction(10_000), 4),
    Kind.POUNDS: (MG_PER_LB, 7),
    Kind.HANDED_POUNDS: (Fraction(100), 2),
    Kind.POUND_COST: (10_000 * MG_PER_UNIT["kg"] / MG_PER_LB, 7),
    Kind.RATIO: (Fraction(10_000), 4),
    Kind.COUNT: (Fraction(1), 0),
    Kind.HOURS: (Fraction(1_000), 3),
    Kind.CELSIUS: (Fraction(1_000), 3),
    Kind.FAHRENHEIT: (Fraction(1_000), 3),
}
# What a spreadsheet would take for a formula: OWASP, "CSV Injection", asks for a quote before it.
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def zipped_tables(report: Report) -> bytes:
    """Zip one file a table, numbered in their order; the same report gives the same bytes."""
    out = io.BytesIO()
    with ZipFile(out, "w", ZIP_DEFLATED) as archive:
        for at, table in enumerate(report.tables, start=1):
            name = f"{at:02}-{slugify(table.title) or 'table'}.csv"
            part = ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))
            part.compress_type = ZIP_DEFLATED
            archive.writestr(part, table_csv(table, report.currency))
    return out.getvalue()


def table_csv(table: Table, currency: str = "") -> bytes:
    """Write RFC 4180 lines in UTF-8: heads with their units, then rows, and no total."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(column.header(currency) for column in table.columns)
    writer.writerows(_line(table.columns, row) for row in table.rows)
    return out.getvalue().encode()


def _line(columns: Iterable[Column], row: Iterable[Cell]) -> list[str]:
    return [_shown(column, cell) for column, cell in zip(columns, row, strict=True)]


def _shown(column: Column, cell: Cell) -> str:
    """12,400,000 mg is 12.400000; a pound is rounded half to even, all else is exact."""
    if cell is None:
        return ""
    if isinstance(cell, int) and column.is_number:
        unit, places = UNITS[column.kind]
        return f"{Decimal(round(cell * 10**places / unit)).scaleb(-places):f}"
    if isinstance(cell, date):
        return cell.isoformat()
    words = str(cell)
    return f"'{words}" if words.startswith(FORMULA_STARTS) else words
