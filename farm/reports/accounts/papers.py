"""A paper for a customer: whose it is and for whom, then the rows of its report, then words.

The same paper gives the same bytes: it bears the day on which it was issued, not printed.
"""

from dataclasses import dataclass

from reportlab.lib.pagesizes import A4, landscape

from farm.reports import rows
from farm.reports.faces import plain, text_width
from farm.reports.pdf import ACCENT, INK, LEADING, MARGIN, SIZE, SOFT, Page, TableWriter, wrapped
from farm.reports.rows import Report

BLOCK = 10.0


@dataclass(frozen=True)
class Paper:
    """``sender`` and ``receiver``: name, address and numbers, a line each."""

    report: Report
    sender: tuple[str, ...]
    receiver: tuple[str, ...]
    words: tuple[str, ...] = ()
    is_signed: bool = False


def paper_pdf(paper: Paper) -> bytes:
    tables = [rows.printed(table, paper.report.currency) for table in paper.report.tables]
    wide = any(len(table.heads) > 8 for table in tables)
    page = Page(paper.report, landscape(A4) if wide else A4)
    _write_head(page, paper)
    for table in tables:
        TableWriter(page, table).write()
    for words in paper.words:
        page.y -= 4
        page.say(words, SIZE)
    if paper.is_signed:
        _write_signature(page)
    page.write_cautions()
    return page.finish()


def _write_head(page: Page, paper: Paper) -> None:
    """Write the seller on the left, the customer on the right, the title and the facts below."""
    top, middle = page.y, MARGIN + page.room / 2 + BLOCK
    lowest = top
    for x, label, lines in (
        (MARGIN, "From", paper.sender),
        (middle, "To", paper.receiver),
    ):
        page.y = top - LEADING
        page.put(x, label, 8, colour=SOFT)
        for at, words in enumerate(lines):
            for line in wrapped(words, page.room / 2 - BLOCK, BLOCK, bold=at == 0):
                page.y -= LEADING + 1.5
                page.put(x, line, BLOCK, bold=at == 0)
        lowest = min(lowest, page.y)
    page.y = lowest - 22
    page.say(paper.report.title, 20, bold=True)
    if paper.report.subtitle:
        page.say(paper.report.subtitle, 11, colour=SOFT)
    page.y -= 7
    page.rule(page.y, ACCENT, width=1.5)
    page.y -= 8
    facts = paper.report.facts
    label_width = max((text_width(fact.label, SIZE) for fact in facts), default=0)
    for fact in facts:
        shown = rows.show_fact(fact, paper.report.currency)
        page.say_fact(fact.label, shown, label_width + 14)
    page.y -= 8


def _write_signature(page: Page) -> None:
    page.need(70)
    page.y -= 46
    for x, words in ((MARGIN, "Received on"), (MARGIN + page.room / 2, "Signed")):
        page.canvas.setStrokeColor(INK)
        page.canvas.setLineWidth(0.6)
        page.canvas.line(x, page.y + 12, x + page.room / 2 - 30, page.y + 12)
        page.put(x, plain(words), 8, colour=SOFT)
