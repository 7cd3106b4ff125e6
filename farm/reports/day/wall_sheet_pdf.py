"""A wall sheet on paper: few rows a page, codes in large type, boxes for a pencil."""

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from reportlab.pdfgen.canvas import Canvas

from farm import habits
from farm.models import Farm
from farm.queries.day import wall_sheets as sheets
from farm.queries.day.wall_sheets import ROWS_A_PAGE, SheetRow, in_pages
from farm.queries.tracing.labels import grouped
from farm.reports.faces import font, plain, text_width
from farm.reports.pdf import wrapped
from farm.reports.tracing.label_sheets import A4_MM, LETTER_MM, MM

ROW, HEAD, MARGIN = 16 * MM, 8 * MM, 11 * MM  # a row is at least 14 mm high, for a pencil
LEAST_SPARE = 2
CODE, NAME, SMALL = 21.0, 15.0, 9.0
INK, SOFT = "#000000", "#555555"
# What a box is to hold: its head, and its share of what the first columns leave.
BOXES: Mapping[str, tuple[tuple[str, int], ...]] = {
    sheets.PICKS: (("Flush", 2), ("Firsts", 4), ("Seconds", 4), ("Trim", 3), ("Time", 3),
                   ("Initials", 3)),
    sheets.CHECKS: (("Grown through, %", 4), ("Lost", 3), ("To what", 7), ("Time", 3),
                    ("Initials", 3)),
    sheets.FRIDGE: (("Weight now", 5), ("Why, if much is missing", 7), ("Time", 3),
                    ("Initials", 3)),
    sheets.TEMPERATURES: (("Temperature", 4), ("What was done, if it was not right", 8),
                          ("Time", 3), ("Initials", 3)),
}  # fmt: skip
WITH_UNIT = ("Firsts", "Seconds", "Trim", "Weight now")
FIRST, SECOND = 40 * MM, 56 * MM  # the code, and what and where it is


@dataclass(frozen=True)
class WallSheet:
    """``address``: where it is typed up, without the page's number."""

    sheet: str
    day: date
    address: str
    rows: Sequence[SheetRow]


def wall_sheet_pdf(sheet: WallSheet, farm: Farm) -> bytes:
    """Write the sheet on US Letter where the farm works in pounds, else on A4."""
    size = LETTER_MM if farm.weight_unit == "lb" else A4_MM
    width, height = size[1] * MM, size[0] * MM
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=(width, height), invariant=1, lang="en")
    canvas.setTitle(f"{sheets.TITLES[sheet.sheet]} {sheet.day}")
    pages = with_spare(in_pages(sheet.rows))
    for number, rows in enumerate(pages, start=1):
        paper = _Paper(canvas, width, height - MARGIN)
        _write_head(paper, sheet, farm, at=(number, len(pages)))
        _write_boxes(paper, sheet.sheet, farm)
        for at in range(ROWS_A_PAGE):
            _write_row(paper, rows[at] if at < len(rows) else None)
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def with_spare(pages: Sequence[Sequence[SheetRow]]) -> list[Sequence[SheetRow]]:
    """Add a page of empty rows where the last one has hardly any."""
    last = len(pages[-1]) if pages else ROWS_A_PAGE
    return [*pages, *([()] if ROWS_A_PAGE - last < LEAST_SPARE else [])]


@dataclass
class _Paper:
    """A page, and how far down it is written."""

    canvas: Canvas
    width: float
    y: float

    def put(
        self,
        at: tuple[float, float],
        words: str,
        size: float,
        *,
        bold: bool = False,
        colour: str = INK,
    ) -> None:
        self.canvas.setFont(font(bold, words), size)
        self.canvas.setFillColor(colour)
        self.canvas.drawString(*at, plain(words))

    def columns(self, sheet: str) -> list[tuple[str, float]]:
        """The heads of the boxes, each with its left edge."""
        room = self.width - 2 * MARGIN - FIRST - SECOND
        whole = sum(share for _, share in BOXES[sheet])
        x, found = MARGIN + FIRST + SECOND, []
        for head, share in BOXES[sheet]:
            found.append((head, x))
            x += room * share / whole
        return found


def _write_head(paper: _Paper, sheet: WallSheet, farm: Farm, *, at: tuple[int, int]) -> None:
    paper.y -= 18
    title = f"{sheets.TITLES[sheet.sheet]}, {habits.day(sheet.day)}"
    paper.put((MARGIN, paper.y), title, 18, bold=True)
    number = f"page {at[0]} of {at[1]}"
    paper.put((paper.width - MARGIN - text_width(number, 12), paper.y), number, 12)
    paper.y -= 13
    filled = at[0] <= len(in_pages(sheet.rows))
    where = f"type up at {sheet.address}{at[0]}/" if filled else "record what stands here by itself"
    words = f"{farm.name}. Empty is nothing to record; {where}"
    paper.put((MARGIN, paper.y), words, SMALL, colour=SOFT)
    paper.y -= 7


def _write_boxes(paper: _Paper, sheet: str, farm: Farm) -> None:
    """Rule all boxes of the page, under their heads."""
    canvas, top = paper.canvas, paper.y
    bottom = top - HEAD - ROWS_A_PAGE * ROW
    columns = paper.columns(sheet)
    first = "Room" if sheet == sheets.TEMPERATURES else "Lot"
    heads = [(first, MARGIN), ("What, where", MARGIN + FIRST), *columns]
    canvas.setStrokeColor(INK)
    canvas.setLineWidth(0.7)
    for head, x in heads:
        unit = f", {farm.weight_unit}" if head in WITH_UNIT else ""
        paper.put((x + 4, top - HEAD + 7), head + unit, SMALL, bold=True)
        canvas.line(x, top, x, bottom)
    canvas.line(paper.width - MARGIN, top, paper.width - MARGIN, bottom)
    for y in (top, *(top - HEAD - at * ROW for at in range(ROWS_A_PAGE + 1))):
        canvas.line(MARGIN, y, paper.width - MARGIN, y)
    paper.y = top - HEAD


def _write_row(paper: _Paper, row: SheetRow | None) -> None:
    top = paper.y
    paper.y -= ROW
    if row is None:
        return
    if row.lot:
        paper.put((MARGIN + 5, top - ROW / 2 - 7), grouped(row.lot.code), CODE, bold=True)
        place = f"On hold. {row.place}" if row.lot.held else row.place
        said = [str(row.lot.card.strain or row.lot.item.name), place]
    else:
        said = [row.time.capitalize()]
        lines = wrapped(row.place, FIRST - 10, NAME, bold=True)[:2]
        for at, line in enumerate(lines):
            y = top - ROW / 2 - 5 + (len(lines) - 1 - 2 * at) * NAME * 0.55
            paper.put((MARGIN + 5, y), line, NAME, bold=True)
    lines = [line for words in said for line in wrapped(words, SECOND - 10, 11, bold=True)][:3]
    for at, line in enumerate(lines):
        y = top - ROW / 2 + len(lines) * 6 - 9.5 - at * 12
        paper.put((MARGIN + FIRST + 5, y), line, 11, bold=at == 0)
    if row.flush:
        x = MARGIN + FIRST + SECOND + 8
        paper.put((x, top - ROW / 2 - 5), str(row.flush), 14)
