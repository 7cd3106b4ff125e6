"""Reports are built once as rows; page, PDF and spreadsheet show the same."""

import io
import re
import shutil
import subprocess
from dataclasses import replace
from datetime import UTC, date, datetime
from itertools import combinations
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import Workbook, load_workbook

from farm.reports import pdf, rows, xlsx
from farm.reports.bars import Bar, Step, bars, waterfall
from farm.reports.drawing import Box, Text, Tone, svg
from farm.reports.faces import text_width
from farm.reports.rows import Column, Fact, Kind, Report, Table
from farm.reports.tracing.pictures import stages_picture
from farm.reports.tracing.stages import Link, Node, arranged, folded

# Reports take rows, whatever these came from.
pytestmark = pytest.mark.same_on_any_engine

SALES = (
    Column("Day", Kind.DATE),
    Column("Customer"),
    Column("Packs", Kind.COUNT),
    Column("Weight", Kind.MASS),
    Column("Net", Kind.MONEY),
    Column("Share of net sales", Kind.RATIO),
    Column("Cost, sold, before selling costs", Kind.UNIT_COST),
)
DAY = date(2026, 10, 3)
MADE_AT = datetime(2026, 11, 2, 18, 30, tzinfo=UTC)
# 3 x 33,333 money units are 9.9999: printed 10.00, so one of the three rows prints 3.34.
SALES_ROWS = tuple(
    (DAY, customer, 12, 2_400_400, 33_333, 333_333, 62_550)
    for customer in ("Mill kitchen", '=HYPERLINK("http://x")', "@stall")
)
TOTAL = rows.total_row(SALES, SALES_ROWS, {"Packs", "Weight", "Net"})


def sales_report(table_rows: tuple[rows.Row, ...] = SALES_ROWS) -> Report:
    total = rows.total_row(SALES, table_rows, {"Packs", "Weight", "Net"})
    return Report(
        title="October 2026",
        subtitle="Sales by the day they happened",
        farm_name="Quiet Wood & Daughters",
        made_by="Ana",
        made_at=MADE_AT,
        facts=(Fact("Picked", 412_345_678, Kind.MASS),),
        tables=(Table("Sales", SALES, table_rows, total), Table("Brought back", SALES, ())),
        drawings=(bars([Bar("Oyster", 41_200, "41.200 kg")], title="Picked, by species"),),
        cautions=("Steam scalds.",),
        currency="EUR",
    )


def workbook(report: Report) -> Workbook:
    return load_workbook(io.BytesIO(xlsx.workbook_bytes(report)))


def pdf_text(report: Report, folder: Path) -> str:
    program = shutil.which("pdftotext")
    if program is None:
        pytest.skip("pdftotext is not installed")
    (folder / "report.pdf").write_bytes(pdf.pdf_bytes(report))
    command = [program, "-layout", str(folder / "report.pdf"), "-"]
    return subprocess.run(command, capture_output=True, text=True, check=True).stdout


# Rows


def test_printed_cents_add_up_to_the_printed_total() -> None:
    shown = rows.printed(sales_report().tables[0], "EUR")

    assert shown.total and shown.total[4] == "10.00"
    assert [row[4] for row in shown.rows] == ["3.34", "3.33", "3.33"]


def test_printed_grams_add_up_to_the_printed_total() -> None:
    shown = rows.printed(sales_report().tables[0], "EUR")

    # 3 x 2.4004 kg = 7.2012 kg, printed 7.201: the first row takes the gram left over.
    assert shown.total and shown.total[3] == "7.201"
    assert [row[3] for row in shown.rows] == ["2.401", "2.400", "2.400"]


@pytest.mark.parametrize(
    ("kind", "value", "expected"),
    [
        (Kind.MASS, 12_345_678, "12.346"),
        (Kind.MONEY, -62_550, "-6.26"),  # half to even, both ways
        (Kind.MONEY, 62_450, "6.24"),
        (Kind.MONEY, -49, "0.00"),
        (Kind.MONEY, 12_345_678_900, "1,234,567.89"),
        (Kind.COUNT, 1_250, "1,250"),
        (Kind.RATIO, 968_400, "96.8"),
        (Kind.UNIT_COST, 62_550, "6.26"),
        (Kind.POUNDS, 5_624_545, "12.40"),
        (Kind.POUND_COST, 264_555, "12.00"),  # 26.4555 a kg x 0.45359237
        (Kind.DATE, DAY, "3 Oct 2026"),
        (Kind.DATE, datetime(2026, 10, 3, 6, 5, tzinfo=UTC), "3 Oct 2026, 06:05"),
        (Kind.MONEY, None, ""),
    ],
)
def test_it_shows_a_value_by_its_kind(kind: Kind, value: rows.Cell, expected: str) -> None:
    assert expected == rows.show_cell(Column("x", kind), value)


def test_headers_and_facts_say_their_unit() -> None:
    assert SALES[3].header("EUR") == "Weight, kg"
    assert SALES[6].header("EUR") == "Cost, sold, before selling costs, EUR per kg"
    assert rows.show_fact(sales_report().facts[0], "EUR") == "412.346 kg"


def test_it_refuses_a_total_that_is_not_the_sum_of_its_column() -> None:
    with pytest.raises(AssertionError, match="total of Net is not the sum"):
        Table("Sales", SALES, SALES_ROWS, (*TOTAL[:4], 1, *TOTAL[5:]))


def test_an_empty_table_says_so() -> None:
    assert "None." in rows.printed(sales_report().tables[1]).empty_words
    assert "None." in str(workbook(sales_report())["Brought back"]["A2"].value)


# Spreadsheet


def test_spreadsheet_totals_are_sums_that_carry_our_totals() -> None:
    data = xlsx.workbook_bytes(sales_report())
    formulas, values = (
        load_workbook(io.BytesIO(data), data_only=computed)["Sales"] for computed in (False, True)
    )

    # 109 adds up the rows that a filter leaves.
    assert formulas["E7"].value == "=SUBTOTAL(109,E4:E6)"
    # 36 packs, 7.2012 kg, 9.9999 EUR: exact, where print rounds.
    assert [values[cell].value for cell in ("C7", "D7", "E7")] == [36, 7.2012, 9.9999]


def test_another_program_works_out_the_same_totals(tmp_path: Path) -> None:
    program = shutil.which("soffice")
    if program is None:
        pytest.skip("LibreOffice is not installed")
    # Saving once more drops the values that stand beside the formulas.
    workbook(sales_report()).save(tmp_path / "bare.xlsx")
    home = f"-env:UserInstallation=file://{tmp_path}/home"
    command = [program, home, "--headless", "--convert-to", "xlsx", "--outdir"]
    command += [str(tmp_path / "out"), str(tmp_path / "bare.xlsx")]
    subprocess.run(command, capture_output=True, check=True, timeout=120)
    sheet = load_workbook(tmp_path / "out" / "bare.xlsx", data_only=True)["Sales"]

    assert [sheet[c].value for c in ("C7", "D7", "E7")] == pytest.approx([36, 7.2012, 9.9999])


def test_spreadsheet_holds_real_numbers_and_dates() -> None:
    sheet = workbook(sales_report())["Sales"]

    assert sheet["A4"].is_date and str(sheet["A4"].value) == "2026-10-03 00:00:00"
    assert (sheet["D4"].value, sheet["D4"].number_format) == (2.4004, "#,##0.000")
    assert (sheet["E4"].value, sheet["F4"].value) == (3.3333, 0.333333)


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "#N/A"])
def test_what_someone_typed_never_becomes_a_formula(start: str) -> None:
    words = f"{start}1+1"
    table = Table(words, (Column(words),), ((words,),))
    report = Report(words, words, words, words, MADE_AT, (Fact(words, words),), (table,))
    cells = [cell for sheet in workbook(report) for row in sheet for cell in row if cell.value]

    assert {"s"} == {cell.data_type for cell in cells}


def test_each_cell_of_a_row_keeps_what_it_is() -> None:
    """A moment loses its zone, a sign that no spreadsheet holds is left out, 2 lb are 2."""
    columns = (
        Column("When", Kind.DATE),
        Column("Note"),
        Column("Bill", Kind.MONEY),
        Column("Weight", Kind.POUNDS),
    )
    lines: tuple[rows.Row, ...] = (
        (datetime(2026, 10, 3, 6, 5, tzinfo=UTC), "be\x07ll", "no bill", 907_185),
        (None, "", -62_550, None),
    )
    report = replace(sales_report(), tables=(Table("Cells", columns, lines, struck=(1,)),))
    first, second = workbook(report)["Cells"].iter_rows(min_row=4)

    moment = datetime(2026, 10, 3, 6, 5, tzinfo=UTC).replace(tzinfo=None)
    assert [cell.value for cell in first[:3]] == [moment, "bell", "no bill"]
    assert first[3].value == pytest.approx(2, abs=1e-5)  # 907,184.74 mg
    assert [cell.value for cell in second] == [None, None, -6.255, None]
    assert [bool(row[2].font.strike) for row in (first, second)] == [False, True]


def test_a_column_is_as_wide_as_its_longest_number_and_a_row_as_high_as_its_words() -> None:
    columns = (Column("Net", Kind.MONEY), Column("Note"))
    lines = ((12_345_678_900, "x" * 20), (5, "word " * 30))
    report = replace(sales_report(), tables=(Table("Sizes", columns, lines),))
    sheet = workbook(report)["Sizes"]

    # 1,234,567.89 has 12 signs, two decimals that print leaves out a point and two, and the edge 2.
    assert sheet.column_dimensions["A"].width == pytest.approx(12 + 3 + 2, abs=1)
    # 149 signs in 48 a line are four lines of 13 points.
    assert sheet.row_dimensions[4].height is None
    assert sheet.row_dimensions[5].height == pytest.approx(4 * 13 + 2, abs=1)


def test_spreadsheet_freezes_filters_and_prints_its_header() -> None:
    sheet = workbook(sales_report())["Sales"]

    (table,) = sheet.tables.values()
    assert (
        sheet.freeze_panes,
        table.ref,
        table.autoFilter.ref,
        sheet.print_title_rows,
    ) == ("A4", "A3:G6", "A3:G6", "$3:$3")
    assert (
        sheet.page_setup.orientation,
        sheet.page_setup.fitToWidth or 1,  # one, where nothing else is said
        sheet.page_setup.fitToHeight,
    ) == ("landscape", 1, 0)


def test_sheet_names_are_safe_short_and_different() -> None:
    names = xlsx.sheet_names(
        ["Summary", "summary", "Sales: by [place]/day?", "x" * 40, "x" * 40, ""]
    )

    assert len({name.casefold() for name in names}) == 6
    assert all(0 < len(name) <= 31 and not re.search(r"[\[\]:*?/\\]", name) for name in names)


def test_the_same_report_gives_the_same_bytes() -> None:
    assert xlsx.workbook_bytes(sales_report()) == xlsx.workbook_bytes(sales_report())
    assert pdf.pdf_bytes(sales_report()) == pdf.pdf_bytes(sales_report())


# PDF


def test_pdf_shows_the_printed_totals(tmp_path: Path) -> None:
    text = pdf_text(sales_report(), tmp_path)

    assert re.search(r"Total +36 +7\.201 +10\.00", text)
    assert "made 2 Nov 2026, 18:30 by Ana" in text
    assert "None." in text
    assert "Steam scalds." in text


def test_pdf_repeats_header_and_counts_pages(tmp_path: Path) -> None:
    text = pdf_text(sales_report(SALES_ROWS * 50), tmp_path)
    pages = text.strip("\f\n").split("\f")

    assert len(pages) > 3
    assert all("Customer" in page for page in pages[1:-1])
    for number, page in enumerate(pages, start=1):
        assert re.search(rf"page {number} of +{len(pages)}\b", page)


def test_long_words_wrap_inside_their_width() -> None:
    lines = pdf.wrapped("short " + "x" * 200, 100, 9, bold=False)

    assert all(text_width(line, 9) <= 100 for line in lines)
    assert "".join(lines).replace(" ", "") == "short" + "x" * 200


# Pictures

STAGES = {1: "Supplies", 2: "Grain", 3: "Blocks", 4: "Picks"}


def small_trace(picks: int = 3) -> tuple[list[Node], list[Link]]:
    """Rye and a culture into grain, grain into grain, that into blocks, picked several times."""
    nodes = [
        Node("rye", 1, "RY-4K7P", "rye"),
        Node("g1", 2, "GR-3T6X", "grain, first"),
        Node("g2", 2, "GR-5V8Y", "grain, second"),
        Node("blocks", 3, "BL-8D3R", "oyster blocks", "38 blocks", "on hold"),
        *[
            Node(f"p{i}", 4, f"PK-{i:02}", "oyster", "2.600 kg", mass_mg=2_600_000)
            for i in range(picks)
        ],
    ]
    links = [
        Link("rye", "g1", "8.850 kg"),
        Link("g1", "g2", "2.000 kg"),
        Link("rye", "blocks", "0.100 kg", certain=False),
        Link("g2", "blocks", "9.072 kg"),
        *[Link("blocks", f"p{i}", "2.600 kg", mass_mg=2_600_000) for i in range(picks)],
    ]
    return nodes, links


def words_of(nodes: list[Node], links: list[Link]) -> str:
    return svg(stages_picture(nodes, links, title="Trace", stage_names=STAGES, fold_after=4))


def test_picture_shows_every_lot_and_says_what_is_held_and_possible() -> None:
    nodes, links = small_trace()
    drawn = words_of(nodes, links)

    assert all(f">{node.title}<" in drawn for node in nodes)
    assert ">on hold<" in drawn
    assert "stroke-dasharray" in drawn and ">possible<" in drawn


def test_picture_without_doubt_has_no_dashes() -> None:
    nodes, links = small_trace()
    drawn = words_of(nodes, [link for link in links if link.certain])

    assert "stroke-dasharray" not in drawn


def test_many_alike_lots_fold_into_one_that_says_how_many_and_how_much() -> None:
    nodes, links = folded(*small_trace(picks=17), fold_after=4)

    # 17 picks: three shown, 14 folded, 14 x 2.6 kg = 36.4 kg.
    assert (nodes[-1].title, nodes[-1].line3) == ("+ 14 more", "36.400 kg")
    assert len(nodes) == 4 + 3 + 1
    assert links[-1].label == "36.400 kg"


def test_a_held_lot_is_never_folded() -> None:
    nodes, links = small_trace(picks=17)
    nodes[-1] = Node("p16", 4, "PK-16", "oyster", mark="on hold")

    assert "PK-16" in {node.title for node in folded(nodes, links, fold_after=4)[0]}


def test_grain_from_grain_and_a_clone_from_a_pick_stand_right_of_their_parents() -> None:
    nodes, links = small_trace()
    nodes.append(Node("clone", 1, "CU-2H8W", "culture"))
    links.append(Link("p0", "clone", "0.005 kg"))
    spots = arranged(nodes, links, 100).spots

    assert all(spots[link.src].x < spots[link.dst].x for link in links)


@given(st.data(), st.integers(1, 25))
def test_boxes_never_overlap(data: st.DataObject, count: int) -> None:
    stages = data.draw(st.lists(st.integers(1, 5), min_size=count, max_size=count))
    pairs = data.draw(st.sets(st.sampled_from(list(combinations(range(count + 1), 2)))))
    nodes = [Node(str(i), stage, f"L{i}", "lot") for i, stage in enumerate(stages)]
    links = [Link(str(a), str(b), "1 kg") for a, b in sorted(pairs) if b < count]
    spots = arranged(nodes, links, 100).spots.values()

    assert count == sum(spot.node is not None for spot in spots)
    for one, other in combinations(spots, 2):
        apart = abs(one.x - other.x) >= 100
        assert apart or one.y + one.height <= other.y or other.y + other.height <= one.y


def test_words_stay_inside_the_picture() -> None:
    drawing = stages_picture(*small_trace(picks=17), title="Trace", stage_names=STAGES)
    points = [shape.at for shape in drawing.shapes if isinstance(shape, Text)]

    assert all(0 <= x <= drawing.width and 0 <= y <= drawing.height for x, y in points)


def test_printed_steps_of_a_cascade_add_up_to_every_printed_sum() -> None:
    steps = [Step("Materials", 33_333), Step("Hours", 33_333), Step("Picked"), Step("Trim", 33_333)]
    drawing = waterfall([*steps, Step("Saleable")], title="A kilo", unit="EUR per kg")
    words = [shape.words for shape in drawing.shapes if isinstance(shape, Text)]

    # Sums 3.3333, 6.6666, 9.9999 print as 3.33, 6.67, 10.00.
    assert words[1::2] == ["+3.33", "+3.34", "6.67", "+3.33", "10.00"]


def test_bars_are_as_long_as_their_sizes() -> None:
    drawing = bars([Bar("Oyster", 400, "400 g"), Bar("Shiitake", 100, "100 g")], title="Picked")
    boxes = [shape for shape in drawing.shapes if isinstance(shape, Box)]
    widths = [box.width for box in boxes if box.fill is Tone.ACCENT]

    assert widths[0] / widths[1] == 4


def test_svg_names_itself_for_a_screen_reader_and_escapes_words() -> None:
    drawn = svg(bars([Bar("<b>", 1, "1 kg")], title="Picked & packed"), key="d1")

    assert 'role="img" aria-labelledby="d1-title d1-desc"' in drawn
    assert '<title id="d1-title">Picked &amp; packed</title>' in drawn
    assert "&lt;b&gt;" in drawn and "<b>" not in drawn
    assert "currentColor" in drawn and "style=" not in drawn


def test_more_columns_than_a_page_is_wide_never_break_a_figure(tmp_path: Path) -> None:
    columns = tuple(Column(f"Week {week}", Kind.MONEY) for week in range(1, 26))
    table = Table("Weeks", columns, ((12_345_678_900,) * 25,))
    report = Report("Year", "", "Farm", "Ana", MADE_AT, tables=(table,))

    assert pdf_text(report, tmp_path).count("1,234,567.89") == 25
