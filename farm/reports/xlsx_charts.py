"""Charts that a spreadsheet draws by itself from a report's tables, below the table of each."""

from fractions import Fraction
from typing import Any

from xlsxwriter import Workbook
from xlsxwriter.chart_bar import ChartBar
from xlsxwriter.worksheet import Worksheet

from farm.reports.rows import Chart, Kind, Report, Table, unit_of

HEADER_ROW = 2  # counted from 0, as columns are
FIRST_ROW = HEADER_ROW + 1
# From dark to light; the legend says which is which.
FILLS = ("#1D4F6E", "#8FA9B8", "#565D63", "#C4D0D6", "#3E7D8C", "#A9A295")
FAINT = "#CBD3CF"
WIDTH_CM, LEAST_CM, MOST_CM = 22, 7, 24
PIXELS_PER_CM = 96 / 2.54
ON_A_PAGE = 30  # rows
SCALES = {Kind.MASS: 1_000_000, Kind.MONEY: 10_000, Kind.COUNT: 1}


def add_charts(book: Workbook, sheet: Worksheet, table: Table, *, report: Report) -> None:
    """Add the report's charts of one table under its last row."""
    row = FIRST_ROW + len(table.rows) + 2
    for chart in report.charts:
        if chart.table == table.title and table.rows:
            drawn = _drawn(book, sheet, table, chart=chart, currency=report.currency)
            height_cm = min(max(3 * len(table.rows) // 4 + 3, LEAST_CM), MOST_CM)
            width, height = (round(cm * PIXELS_PER_CM) for cm in (WIDTH_CM, height_cm))
            drawn.set_size({"width": width, "height": height})
            sheet.insert_chart(row, 0, drawn)
            row += 2 * height_cm + 2  # rows are half a centimetre high
            if len(table.rows) <= ON_A_PAGE:
                sheet.fit_to_pages(1, 1)  # no page break goes through a drawing


def _drawn(
    book: Workbook, sheet: Worksheet, table: Table, *, chart: Chart, currency: str
) -> ChartBar:
    """Bars that lie, the first row on top; what is to be seen through has no fill."""
    names = [column.name for column in table.columns]
    places = [names.index(name) for name in chart.bars]
    kind, stacked = table.columns[places[0]].kind, len(places) > 1 or bool(chart.starts)
    drawn = book.add_chart({"type": "bar", **({"subtype": "stacked"} if stacked else {})})
    assert isinstance(drawn, ChartBar)
    fills: list[dict[str, Any]] = [{"color": FILLS[at % len(FILLS)]} for at in range(len(places))]
    if chart.starts:
        column = len(names) + 1
        _write_starts(sheet, chart, column=column, kind=kind)
        places, fills = [column, *places], [{"none": True}, *fills]
    label, last = names.index(chart.label), HEADER_ROW + len(table.rows)
    for place, fill in zip(places, fills, strict=True):
        drawn.add_series(
            {
                "name": [sheet.name, HEADER_ROW, place],
                "categories": [sheet.name, FIRST_ROW, label, last, label],
                "values": [sheet.name, FIRST_ROW, place, last, place],
                "fill": fill,
                "gap": 40,
                "overlap": 100 if stacked else 0,
            }
        )
    drawn.set_title({"name": chart.title})
    drawn.set_y_axis({"reverse": True, "major_gridlines": {"visible": False}})
    unit = unit_of(kind, currency)
    grid = {"visible": True, "line": {"color": FAINT}}
    drawn.set_x_axis({"name": unit, "num_format": "#,##0", "major_gridlines": grid})
    drawn.show_hidden_data()  # where bars begin stands in a hidden column
    if len(chart.bars) == 1 or chart.starts:
        drawn.set_legend({"none": True})
    return drawn


def _write_starts(sheet: Worksheet, chart: Chart, *, column: int, kind: Kind) -> None:
    """Write where each bar begins into a hidden column; the bars are stacked on it, unseen."""
    sheet.write_string(HEADER_ROW, column, "where the bar begins")
    for row, start in enumerate(chart.starts, start=FIRST_ROW):
        sheet.write_number(row, column, float(Fraction(start, SCALES[kind])))
    sheet.set_column(column, column, None, None, {"hidden": True})
