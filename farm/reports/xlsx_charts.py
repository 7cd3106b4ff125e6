"""Charts that a spreadsheet draws by itself from a report's tables, below the table of each."""

from fractions import Fraction

from openpyxl.chart import BarChart, Reference, Series
from openpyxl.chart.axis import ChartLines
from openpyxl.chart.series import Series as Bars
from openpyxl.chart.shapes import GraphicalProperties
from openpyxl.drawing.line import LineProperties
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from farm.reports.rows import Chart, Kind, Report, Table, unit_of

HEADER_ROW = 3
FIRST_ROW = HEADER_ROW + 1
# From dark to light; the legend says which is which.
FILLS = ("1D4F6E", "8FA9B8", "565D63", "C4D0D6", "3E7D8C", "A9A295")
FAINT = "CBD3CF"
WIDTH_CM, LEAST_CM, MOST_CM = 22, 7, 24
ON_A_PAGE = 30  # rows
SCALES = {Kind.MASS: 1_000_000, Kind.MONEY: 10_000, Kind.COUNT: 1}


def add_charts(sheet: Worksheet, table: Table, report: Report) -> None:
    """Add the report's charts of one table under its last row."""
    row = FIRST_ROW + len(table.rows) + 2
    for chart in report.charts:
        if chart.table == table.title and table.rows:
            drawn = _drawn(sheet, table, chart, currency=report.currency)
            sheet.add_chart(drawn, f"A{row}")
            row += 2 * round(drawn.height) + 2  # rows are half a centimetre high
            if len(table.rows) <= ON_A_PAGE:
                sheet.page_setup.fitToHeight = 1  # no page break goes through a drawing


def _drawn(sheet: Worksheet, table: Table, chart: Chart, *, currency: str) -> BarChart:
    """Bars that lie, the first row on top; what is to be seen through has no fill."""
    names = [column.name for column in table.columns]
    last = HEADER_ROW + len(table.rows)
    drawn = BarChart()
    drawn.type, drawn.title = "bar", chart.title
    drawn.width = WIDTH_CM
    drawn.height = min(max(3 * len(table.rows) // 4 + 3, LEAST_CM), MOST_CM)
    drawn.gapWidth = 40
    places = [names.index(name) for name in chart.bars]
    if len(places) > 1 or chart.starts:
        drawn.grouping, drawn.overlap = "stacked", 100
    if chart.starts:
        kind = table.columns[places[0]].kind
        drawn.series.append(_starts(sheet, chart, column=len(table.columns) + 2, kind=kind))
    for at, place in enumerate(places):
        cells = Reference(sheet, min_col=place + 1, min_row=HEADER_ROW, max_row=last)
        bar = Series(cells, title_from_data=True)
        bar.graphicalProperties.solidFill = FILLS[at % len(FILLS)]
        drawn.series.append(bar)
    label = names.index(chart.label) + 1
    drawn.set_categories(Reference(sheet, min_col=label, min_row=FIRST_ROW, max_row=last))
    drawn.x_axis.scaling.orientation = "maxMin"
    drawn.x_axis.delete = drawn.y_axis.delete = False
    drawn.y_axis.title = unit_of(table.columns[places[0]].kind, currency)
    drawn.y_axis.number_format = "#,##0"
    drawn.y_axis.majorGridlines = ChartLines(
        GraphicalProperties(ln=LineProperties(solidFill=FAINT))
    )
    drawn.visible_cells_only = False  # where bars begin stands in a hidden column
    if len(places) == 1 or chart.starts:
        drawn.legend = None
    return drawn


def _starts(sheet: Worksheet, chart: Chart, *, column: int, kind: Kind) -> Bars:
    """Write where each bar begins into a hidden column, and stack the bars on it, unseen."""
    sheet.cell(HEADER_ROW, column).value = "where the bar begins"
    for row, start in enumerate(chart.starts, start=FIRST_ROW):
        sheet.cell(row, column).value = float(Fraction(start, SCALES[kind]))
    sheet.column_dimensions[get_column_letter(column)].hidden = True
    last = HEADER_ROW + len(chart.starts)
    cells = Reference(sheet, min_col=column, min_row=HEADER_ROW, max_row=last)
    unseen: Bars = Series(cells, title_from_data=True)
    unseen.graphicalProperties.noFill = True
    return unseen
