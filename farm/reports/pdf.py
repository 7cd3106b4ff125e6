"""Lay a report out as a PDF: ruled lines, figures under each other, every page says whose it is.

Written straight onto the page, row by row, which is several times faster than a flowing layout.
The same report gives the same bytes.
"""

import io
from collections.abc import Sequence

from reportlab.lib.pagesizes import A4, landscape
from reportlab.lib.utils import simpleSplit
from reportlab.pdfgen.canvas import Canvas

from farm.reports import rows
from farm.reports.drawing import Drawing, Tone, paint
from farm.reports.faces import font, plain, text_width
from farm.reports.rows import Printed, Report

MARGIN = 42
FOOT = 56  # nothing but the footer below this line
SIZE, LEADING, GUTTER = 9, 11.5, 14
TEXT_MAX, TEXT_MIN = 230, 66  # the least holds a date without breaking it
INK, SOFT, ACCENT = Tone.INK.value[2], Tone.SOFT.value[2], Tone.ACCENT.value[2]
HAIR = 0.1  # lengths are sums of floats: a word that just fits must not be broken
FAINT = "#cbd3cf"
Lines = list[list[str]]


def pdf_bytes(report: Report) -> bytes:
    tables = [rows.printed(table, report.currency) for table in report.tables]
    wide = any(sum(_natural_widths(table)) > A4[0] - 2 * MARGIN for table in tables)
    wide = wide or any(drawing.width > A4[0] - 2 * MARGIN for drawing in report.drawings)
    page = Page(report, landscape(A4) if wide else A4)
    page.write_head()
    for drawing in report.drawings:
        page.write_drawing(drawing)
    for table in tables:
        TableWriter(page, table).write()
    page.write_cautions()
    return page.finish()


class Page:
    """A canvas, how far down it is written, and the footer of each page."""

    def __init__(self, report: Report, size: tuple[float, float]) -> None:
        self.report = report
        self.width, self.height = size
        self.room = self.width - 2 * MARGIN
        self.buffer = io.BytesIO()
        self.canvas = Canvas(self.buffer, pagesize=size, invariant=1, lang="en")
        self.canvas.setTitle(report.title)
        self.canvas.setAuthor(report.farm_name)
        self.canvas.setSubject(report.subtitle)
        self.number = 1
        self.y = self.height - MARGIN

    def write_head(self) -> None:
        self.say(self.report.title, 20, bold=True)
        if self.report.subtitle:
            self.say(self.report.subtitle, 11, colour=SOFT)
        self.y -= 7
        self.rule(self.y, ACCENT, width=1.5)
        self.y -= 8
        label_width = max((text_width(fact.label, SIZE) for fact in self.report.facts), default=0)
        for fact in self.report.facts:
            shown = rows.show_fact(fact, self.report.currency)
            self.say_fact(fact.label, shown, min(label_width, self.room / 2) + GUTTER)
        self.y -= 8

    def say(self, words: str, size: float, *, bold: bool = False, colour: str = INK) -> None:
        """Write words from the margin, wrapped to the page's width."""
        for line in wrapped(words, self.room, size, bold=bold):
            self.need(size * 1.3)
            self.y -= size * 1.25
            self.put(MARGIN, line, size, bold=bold, colour=colour)

    def say_fact(self, label: str, shown: str, indent: float) -> None:
        lines = wrapped(shown, self.room - indent, SIZE, bold=True) or [""]
        self.need(len(lines) * LEADING)
        for at, line in enumerate(lines):
            self.y -= LEADING + 1
            if at == 0:
                self.put(MARGIN, plain(label), SIZE, colour=SOFT)
            self.put(MARGIN + indent, line, SIZE, bold=True)

    def write_drawing(self, drawing: Drawing) -> None:
        """Paint a drawing as large as drawn, or smaller to fit what is left of the page.

        It goes to the next page rather than shrink by more than a third for that.
        """
        head = 30
        room_here = (self.y - FOOT - head) / drawing.height
        room_page = (self.height - MARGIN - FOOT - head) / drawing.height
        full = min(1, self.room / drawing.width, room_page)
        scale = min(full, room_here) if room_here > full * 2 / 3 else full
        self.need(drawing.height * scale + head)
        self.say(drawing.title, 12, bold=True)
        self.y -= 6
        paint(self.canvas, drawing, (MARGIN, self.y), scale=scale)
        self.y -= drawing.height * scale + 8

    def write_cautions(self) -> None:
        if not self.report.cautions:
            return
        self.need(50)
        self.y -= 6
        self.say("Cautions", 12, bold=True)
        for caution in self.report.cautions:
            self.y -= 3
            self.say(caution, SIZE)

    def put(
        self, x: float, line: str, size: float, *, bold: bool = False, colour: str = INK
    ) -> None:
        self.canvas.setFont(font(bold, line), size)
        self.canvas.setFillColor(colour)
        self.canvas.drawString(x, self.y, line)

    def rule(self, y: float, colour: str, *, width: float, right: float | None = None) -> None:
        self.canvas.setStrokeColor(colour)
        self.canvas.setLineWidth(width)
        self.canvas.setDash([])
        self.canvas.line(MARGIN, y, right or self.width - MARGIN, y)

    def need(self, height: float) -> bool:
        """Turn the page unless this much fits; say whether it was turned."""
        if self.y - height >= FOOT:
            return False
        self.turn()
        return True

    def turn(self) -> None:
        self._foot()
        self.canvas.showPage()
        self.number += 1
        self.y = self.height - MARGIN

    def finish(self, **later: str) -> bytes:
        """Close the file; ``later``: words shown by `show_later`, known only now."""
        self._foot()
        self.canvas.showPage()
        for name, words in {"pages": str(self.number), **later}.items():
            self.canvas.beginForm(name, 0, 0, 60, 20)
            self.canvas.setFont(font(bold=False), 8)
            self.canvas.setFillColor(SOFT)
            self.canvas.drawString(0, 0, words)
            self.canvas.endForm()
        self.canvas.save()
        return self.buffer.getvalue()

    def _foot(self) -> None:
        self.rule(FOOT - 12, FAINT, width=0.6)
        self.y = FOOT - 24
        report = self.report
        left = wrapped(f"{report.farm_name} · {report.title}", self.room * 0.45, 8, bold=False)
        self.put(MARGIN, left[0] if left else "", 8, colour=SOFT)
        middle = plain(report.made_text)
        self.put((self.width - text_width(middle, 8)) / 2 + 30, middle, 8, colour=SOFT)
        words = f"page {self.number} of "
        x = self.width - MARGIN - 18
        self.put(x - text_width(words, 8), words, 8, colour=SOFT)
        self.show_later("pages", x)

    def show_later(self, name: str, x: float) -> None:
        """Leave room for words that are known only when all is written, such as a page number."""
        self.canvas.saveState()
        self.canvas.translate(x, self.y)
        self.canvas.doForm(name)
        self.canvas.restoreState()


class TableWriter:
    """One table, its header repeated on every page."""

    def __init__(self, page: Page, table: Printed) -> None:
        self.page = page
        self.table = table
        self.widths = _fitted_widths(_natural_widths(table), table.numbers, page.room)
        # More figures than a page is wide are written smaller, never broken.
        self.scale = min(1, page.room / sum(self.widths))
        self.right = MARGIN + sum(self.widths) * self.scale

    def write(self) -> None:
        self.page.need(80 + self._first_row())
        self.page.y -= 8
        self.page.say(self.table.title, 12, bold=True)
        if self.table.note:
            self.page.say(self.table.note, SIZE, colour=SOFT)
        if not self.table.rows:
            self.page.say(self.table.empty_words, SIZE, colour=SOFT)
            self.page.y -= 10
            return
        self._write_header()
        for at, row in enumerate(self.table.rows):
            last_with_total = at == len(self.table.rows) - 1 and self.table.total is not None
            keep = 24 if last_with_total else 0
            self._write_row(row, keep, struck=at in self.table.struck)
        self._write_total()
        self.page.y -= 14

    def _first_row(self) -> float:
        """How high the first row is, so that a header never stands alone; half a page at most."""
        if not self.table.rows:
            return 10
        height = _height(self._lines(self.table.rows[0], bold=False)) * self.scale
        return min(height, self.page.height / 2)

    def _write_header(self) -> None:
        self.page.y -= 4
        lines = self._lines(self.table.heads, bold=True)
        self._write_lines(lines, bold=True, from_bottom=True)
        self.page.rule(self.page.y, INK, width=0.9, right=self.right)

    def _write_row(self, row: Sequence[str], keep: float, *, struck: bool) -> None:
        """Write one row; `keep` is room wanted below it, so that a total never stands alone."""
        lines = self._lines(row, bold=False)
        if self.page.need(_height(lines) * self.scale + keep):
            self._write_header()
        self._write_lines(lines, bold=False, struck=struck)
        self.page.rule(self.page.y, FAINT, width=0.4, right=self.right)

    def _write_total(self) -> None:
        if self.table.total is None:
            return
        self.page.rule(self.page.y, INK, width=0.9, right=self.right)
        self._write_lines(self._lines(self.table.total, bold=True), bold=True)
        self.page.rule(self.page.y, INK, width=0.6, right=self.right)
        self.page.rule(self.page.y - 2, INK, width=0.6, right=self.right)
        self.page.y -= 2

    def _lines(self, cells: Sequence[str], *, bold: bool) -> Lines:
        pairs = zip(cells, self.widths, strict=True)
        return [wrapped(cell, width - GUTTER, SIZE, bold=bold) for cell, width in pairs]

    def _write_lines(
        self, cells: Lines, *, bold: bool, from_bottom: bool = False, struck: bool = False
    ) -> None:
        canvas, height = self.page.canvas, _height(cells)
        canvas.saveState()
        canvas.translate(MARGIN, self.page.y)
        canvas.scale(self.scale, self.scale)
        canvas.setFillColor(INK)
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(0.7)
        x = 0.0
        for lines, width, number in zip(cells, self.widths, self.table.numbers, strict=True):
            y = -LEADING
            if from_bottom:
                y = 4.5 - height + LEADING * (len(lines) - 1)
            for at, line in enumerate(lines):
                canvas.setFont(font(bold, line), SIZE)
                if number:
                    canvas.drawRightString(x + width - GUTTER / 2, y - at * LEADING, line)
                else:
                    canvas.drawString(x + GUTTER / 2, y - at * LEADING, line)
                if struck:
                    length = text_width(line, SIZE, bold=bold)
                    start = x + (width - GUTTER / 2 - length if number else GUTTER / 2)
                    level = y - at * LEADING + SIZE * 0.3
                    canvas.line(start, level, start + length, level)
            x += width
        canvas.restoreState()
        self.page.y -= height * self.scale


def wrapped(words: str, width: float, size: float, *, bold: bool) -> list[str]:
    """Break words into lines of a width; a single word that is too long is broken inside."""
    words = plain(words)
    if text_width(words, size, bold=bold) <= width and "\n" not in words:
        return [words] if words else []
    lines: list[str] = []
    for line in simpleSplit(words, font(bold, words), size, width):
        rest = line
        while len(rest) > 1 and text_width(rest, size, bold=bold) > width:
            fits = len(rest) - 1
            while fits > 1 and text_width(rest[:fits], size, bold=bold) > width:
                fits -= 1
            lines.append(rest[:fits])
            rest = rest[fits:]
        lines.append(rest)
    return lines


def _natural_widths(table: Printed) -> list[float]:
    """Measure what each column would like: its longest cell, at least its header's longest word."""
    widths = []
    lines = [*table.rows, *([table.total] if table.total else [])]
    for at, head in enumerate(table.heads):
        words = max((text_width(word, SIZE, bold=True) for word in head.split()), default=0)
        cells = max((text_width(line[at], SIZE, bold=True) for line in lines), default=0)
        most = TEXT_MAX if not table.numbers[at] else cells
        # A two-line header looks better than one of a word a line.
        widest = max(words, text_width(head, SIZE, bold=True) / 2, min(cells, most))
        widths.append(widest + GUTTER + HAIR)
    return widths


def _fitted_widths(natural: list[float], numbers: Sequence[bool], room: float) -> list[float]:
    """Fill the room: spare width goes to columns with long words, or to all; words give it up."""
    words = [at for at, number in enumerate(numbers) if not number]
    spare = room - sum(natural)
    if spare < 0 and words:
        soft = sum(max(natural[at] - TEXT_MIN, 0) for at in words)
        part = min(1, -spare / soft) if soft else 0
        natural = [
            width if numbers[at] else width - max(width - TEXT_MIN, 0) * part
            for at, width in enumerate(natural)
        ]
    long = [at for at in words if natural[at] >= TEXT_MAX + GUTTER] or range(len(natural))
    return [
        width + max(spare, 0) / len(long) if at in long else width
        for at, width in enumerate(natural)
    ]


def _height(cells: Lines) -> float:
    return LEADING * max(1, *map(len, cells), 1) + 4
