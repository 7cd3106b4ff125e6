"""A month's files: the same numbers on page, PDF, spreadsheet and CSV, to the cent and the gram."""

import csv
import io
import shutil
import subprocess
import zipfile
from decimal import Decimal
from pathlib import Path

import pytest
from openpyxl import Workbook, load_workbook
from openpyxl.chart import BarChart
from openpyxl.worksheet.worksheet import Worksheet

from farm.models import Customer
from farm.queries.months.months import month_figures, month_of
from farm.reports import rows
from farm.reports.csv_tables import table_csv, zipped_tables
from farm.reports.months.month_rows import month_report
from farm.reports.rows import Column, Kind, Report, Table
from farm.reports.xlsx import workbook_bytes
from tests.farm.season import MADE, season
from tests.farm.world import UNIT, World

pytestmark = pytest.mark.django_db

SCALES = {
    Kind.MASS: 1_000_000, Kind.MONEY: 10_000, Kind.EXACT_MONEY: 10_000, Kind.COUNT: 1
}  # fmt: skip
HEADER_ROW = 3  # of each table's sheet


def october() -> Report:
    season()
    return month_report(month_figures(month_of("2026-10")), MADE)


def book_of(report: Report, *, computed: bool = False) -> Workbook:
    return load_workbook(io.BytesIO(workbook_bytes(report)), data_only=computed)


def totals(report: Report) -> dict[tuple[str, int], Decimal]:
    """Each stated total by table and column, in the unit that files show."""
    return {
        (table.title, at): Decimal(cell) / SCALES[table.columns[at].kind]
        for table in report.tables
        for at in table.summed_columns()
        if table.total and isinstance(cell := table.total[at], int)
    }


def number_in(sheet: Worksheet, row: int, column: int) -> float:
    """The number in a cell; nothing is 0."""
    return float(str(sheet.cell(row, column).value or 0))


def totals_in(book: Workbook, report: Report) -> dict[tuple[str, int], object]:
    """What a workbook holds where the totals stand."""
    sheets = dict(zip([table.title for table in report.tables], book.worksheets[1:], strict=True))
    return {
        (table.title, at): sheets[table.title].cell(HEADER_ROW + len(table.rows) + 1, at + 1).value
        for table in report.tables
        for at in table.summed_columns()
    }


def charts_of(book: Workbook) -> dict[str, list[BarChart]]:
    """The charts of each sheet that has some."""
    found = {sheet.title: vars(sheet)["_charts"] for sheet in book.worksheets}
    return {title: charts for title, charts in found.items() if charts}


def files_in(report: Report) -> dict[str, list[list[str]]]:
    """The CSV of each table, by its title: heads, then rows."""
    with zipfile.ZipFile(io.BytesIO(zipped_tables(report))) as archive:
        found = [archive.read(name).decode() for name in archive.namelist()]
    lines = [list(csv.reader(io.StringIO(text, newline=""))) for text in found]
    return dict(zip([table.title for table in report.tables], lines, strict=True))


# --- every form holds the same ---------------------------------------------------------------


def test_the_spreadsheets_totals_are_formulas_with_the_books_values_beside() -> None:
    report = october()
    formulas = totals_in(book_of(report), report)
    values = totals_in(book_of(report, computed=True), report)

    with_rows = {table.title for table in report.tables if table.rows}
    assert {str(formulas[at])[:14] for at in formulas if at[0] in with_rows} == {"=SUBTOTAL(109,"}
    assert {at: round(Decimal(str(value)), 6) for at, value in values.items()} == {
        at: round(value, 6) for at, value in totals(report).items()
    }


def test_another_program_works_the_month_out_to_the_same_totals(tmp_path: Path) -> None:
    """LibreOffice opens it, calculates every formula anew, and saves what it got."""
    report = october()
    program = shutil.which("soffice")
    if program is None:
        pytest.skip("LibreOffice is not installed")
    # Saving once more drops the values that stand beside the formulas.
    book_of(report).save(tmp_path / "month.xlsx")
    command = [
        program,
        f"-env:UserInstallation=file://{tmp_path}/home",
        "--headless",
        "--convert-to",
        "xlsx",
        "--outdir",
        f"{tmp_path}/out",
        f"{tmp_path}/month.xlsx",
    ]
    subprocess.run(command, capture_output=True, check=True, timeout=180)
    worked = load_workbook(tmp_path / "out" / "month.xlsx", data_only=True)
    found = totals_in(worked, report)
    stated = totals(report)

    assert {at: found[at] for at in stated} == pytest.approx(
        {at: float(value) for at, value in stated.items()}, abs=1e-9
    )
    assert len(stated) > 80


def test_the_csv_of_each_table_adds_up_to_its_total() -> None:
    report = october()
    found = files_in(report)

    for (title, at), total in totals(report).items():
        cells = [line[at] for line in found[title][1:]]
        assert sum((Decimal(cell) for cell in cells if cell), Decimal()) == total, (title, at)


def test_the_csv_holds_every_row_of_every_table() -> None:
    report = october()
    found = files_in(report)

    assert [len(lines) - 1 for lines in found.values()] == [len(t.rows) for t in report.tables]
    assert found["Sales by line"][0][:3] == ["Date", "Entry", "Customer number"]
    assert found["Sales by line"][1][0] == "2026-10-12"


def test_the_steps_that_the_crop_took_print_to_the_same_gram() -> None:
    """The page's table, the drawing that page and PDF share, and the spreadsheet."""
    report = october()
    table = next(one for one in report.tables if one.title == "Where the fresh crop went")
    drawing = next(one for one in report.drawings if one.title.startswith(table.title))
    sheet = book_of(report, computed=True)["Where the fresh crop went"]
    printed = rows.printed(table).rows

    assert len(printed) > 5
    for at, row in enumerate(printed, start=HEADER_ROW + 1):
        assert f"{row[0]} {row[1] or '- ' + row[2]}" in drawing.description
        weight = number_in(sheet, at, 2) + number_in(sheet, at, 3)
        assert f"{weight:.3f}" == (row[1] or row[2])


def test_the_same_month_gives_the_same_bytes() -> None:
    report = october()

    assert workbook_bytes(report) == workbook_bytes(report)
    assert zipped_tables(report) == zipped_tables(report)


# --- the workbook ----------------------------------------------------------------------------


def test_the_rows_of_every_sheet_are_a_table_of_the_spreadsheet() -> None:
    report = october()
    for sheet, table in zip(book_of(report).worksheets[1:], report.tables, strict=True):
        found = list(sheet.tables.values())
        assert len(found) == (1 if table.rows else 0), table.title
        for one in found:
            heads = [cell.value for cell in sheet[one.ref][0]]
            assert heads == [column.name for column in one.tableColumns]
            assert len(sheet[one.ref]) == len(table.rows) + 1


def test_every_table_has_a_name_of_its_own() -> None:
    names = [name for sheet in book_of(october()).worksheets for name in sheet.tables]

    assert len(names) == len(set(names)) > 10


def test_heads_that_are_the_same_are_told_apart() -> None:
    """A spreadsheet's table refuses two columns of one name, whatever their case."""
    table = Table("Two", (Column("Net"), Column("net"), Column("Net")), (("a", "b", "c"),))
    report = Report("t", "", "f", "m", MADE.at, tables=(table,))
    (found,) = book_of(report)["Two"].tables.values()

    assert [column.name for column in found.tableColumns] == ["Net", "net (2)", "Net (3)"]


def test_every_sheet_prints_on_its_width_with_its_head_on_each_page() -> None:
    for sheet in book_of(october()).worksheets[1:]:
        assert sheet.freeze_panes == "A4"
        assert sheet.print_title_rows == "$3:$3"
        assert (sheet.page_setup.orientation, sheet.page_setup.fitToWidth or 1) == ("landscape", 1)
        assert sheet.sheet_properties.pageSetUpPr
        assert sheet.sheet_properties.pageSetUpPr.fitToPage


def test_charts_are_drawn_from_the_tables() -> None:
    """What a chart shows are the cells of its table, the first row after the heads."""
    charts = charts_of(book_of(october()))
    (chart,) = charts["Harvest by species"]

    assert list(charts) == [
        "Sales by place",
        "Sales by week and place",
        "Harvest by species",
        "Where the fresh crop went",
        "Where the dried crop went",
    ]
    assert [series.val.numRef.f for series in chart.series] == [
        f"'Harvest by species'!${column}$4" for column in "BCD"
    ]
    assert chart.grouping == "stacked"
    # The first row on top, and nothing hangs from the far side.
    assert chart.x_axis.scaling.orientation == "maxMin"
    assert chart.y_axis.scaling.orientation == "minMax"


def test_a_step_is_stacked_on_where_it_begins() -> None:
    """Bars hang in the air: an unseen one from nothing to where the step begins lies below."""
    report = october()
    book = book_of(report, computed=True)
    sheet = book["Where the fresh crop went"]
    (chart,) = charts_of(book)[sheet.title]
    unseen = chart.series[0]
    assert unseen.spPr.noFill
    assert sheet.column_dimensions["G"].hidden
    for row in range(HEADER_ROW + 1, HEADER_ROW + 7):
        begins, came_in, left = (number_in(sheet, row, column) for column in (7, 2, 4))
        assert begins == pytest.approx(left - came_in)


def test_a_customers_number_and_no_name_is_in_any_file() -> None:
    report = october()
    words = str(files_in(report)) + str(report)

    assert Customer.objects.get(name="The Anchor").number in words
    assert "The Anchor" not in words


@pytest.mark.parametrize("typed", ["=1+1", "+1", "-1", "@SUM(A1)"])
def test_what_someone_typed_is_no_formula_in_any_file(world: World, typed: str) -> None:
    """The quote before it is what OWASP, “CSV Injection”, recommends."""
    table = Table("Typed", (Column("Place"),), ((typed,),))
    report = Report("t", "", "f", "m", MADE.at, tables=(table,))

    assert book_of(report)["Typed"]["A4"].data_type == "s"
    assert table_csv(table).decode().splitlines()[1].startswith("'")


# --- the CSV's cells -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "cell", "written"),
    [
        (Kind.MASS, 1_234_567, "1.234567"),
        (Kind.MONEY, -47_872, "-4.7872"),
        (Kind.EXACT_MONEY, 2_747, "0.2747"),
        (Kind.RATIO, 278_707, "27.8707"),
        (Kind.COUNT, 40, "40"),
        (Kind.HOURS, 1_500, "1.500"),
        (Kind.POUNDS, 453_592, "0.9999992"),  # 453.592 g of the pound's 453.59237 g
    ],
)
def test_numbers_are_written_whole_with_a_point(kind: Kind, cell: int, written: str) -> None:
    table = Table("One", (Column("Number", kind), Column("What")), ((cell, "a"), (None, "b")))

    assert table_csv(table).decode().split("\r\n")[1:3] == [f"{written},a", ",b"]


# --- what the tables say ---------------------------------------------------------------------


def test_net_and_tax_come_to_gross_at_each_rate() -> None:
    report = october()
    table = next(one for one in report.tables if one.title == "Sales tax by rate")

    for _, net, tax, gross in table.rows:
        assert isinstance(net, int) and isinstance(tax, int)
        assert net + tax == gross
    # 20 packs at 4.00 and 0.5 kg at 12.00, 6 packs at 5.00, 2 packs back at 4.00.
    assert table.total and table.total[3] == (80 + 6 + 30 - 8) * UNIT


def test_efficiency_is_stated_on_both_bases() -> None:
    """10 kg / (40 or 39 blocks x 975 g x 0.92)."""
    report = october()
    table = next(one for one in report.tables if one.title == "Harvest by flush")
    names = [column.name for column in table.columns]
    started, fruited = (
        table.rows[0][names.index(f"Biological efficiency, per block {basis}")]
        for basis in ("started", "fruited")
    )

    assert (started, fruited) == (278_707, 285_853)
    assert "blocks started" in table.note and "blocks fruited" in table.note
