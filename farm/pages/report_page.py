"""A report laid out for the screen: drawings as SVG, tables with their codes as links."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from django.urls import reverse
from django.utils.text import slugify

from farm.reports.drawing import svg
from farm.reports.rows import Printed, Report, printed, show_fact
from ledger.codes import is_code

CODE_HEADS = ("Lot", "Block lot")
# Columns whose cells are the end of an address, by its name.
HEADS_LEAD_TO = {"Entry": "entry", "Month": "month-of"}
WIDE = 620  # points; what is wider would become too small to read on a page
ONE_LINE = 24  # letters
TWO_LINES = 14  # letters of a head, in a column as narrow as its numbers
NARROW = 340  # points; as wide as a phone, and never drawn much wider
LONG = 15  # rows; what is longer may be folded


@dataclass(frozen=True)
class Way:
    """A way on from a page: a word, an address, and whether it is where one is.

    ``is_due``: what is to be done next with what the page shows; it is never folded away.
    """

    label: str
    address: str
    is_here: bool = False
    is_due: bool = False


@dataclass(frozen=True)
class Picture:
    title: str
    svg: str
    fits: bool  # small enough to be as wide as the page; others are scrolled
    narrow: bool


@dataclass(frozen=True)
class ShownCell:
    """One cell of a table; ``looks``: figures, few words on one line, or more words."""

    words: str
    looks: str
    address: str = ""

    @property
    def is_code(self) -> bool:
        return is_code(self.words)


@dataclass(frozen=True)
class ShownTable:
    title: str
    note: str
    empty_words: str
    heads: tuple[ShownCell, ...]
    rows: tuple[tuple[ShownCell, ...], ...]
    total: tuple[ShownCell, ...]
    struck: tuple[int, ...]

    @property
    def key(self) -> str:
        """What a link to the table ends in."""
        return slugify(self.title)

    @property
    def is_long(self) -> bool:
        return len(self.rows) > LONG


@dataclass(frozen=True)
class AnswerPage:
    """``leads``: the facts that are looked for first. ``folds``: "all", or long tables alone."""

    title: str
    subtitle: str
    leads: tuple[tuple[str, str], ...]
    facts: tuple[tuple[str, str], ...]
    pictures: tuple[Picture, ...]
    tables: tuple[ShownTable, ...]
    cautions: tuple[str, ...]
    made_text: str
    others: tuple[Way, ...]
    files: tuple[Way, ...]
    folds: str = field(default="", kw_only=True)


def laid_out(
    report: Report, *, others: tuple[Way, ...], files: tuple[Way, ...], codes_lead_to: str
) -> AnswerPage:
    """Lay a report out; ``codes_lead_to``: the page that a lot's code in a table leads to.

    The number of an entry leads to it, and words that are a table's title to that table.
    """
    facts = [(fact.lead, (fact.label, show_fact(fact, report.currency))) for fact in report.facts]
    titles = {table.title: f"#{slugify(table.title)}" for table in report.tables}
    return AnswerPage(
        title=report.title,
        subtitle=report.subtitle,
        leads=tuple(words for lead, words in facts if lead),
        facts=tuple(words for lead, words in facts if not lead),
        pictures=tuple(
            Picture(
                drawing.title,
                svg(drawing, f"drawing-{at}"),
                drawing.width < WIDE,
                drawing.width <= NARROW,
            )
            for at, drawing in enumerate(report.drawings)
        ),
        tables=tuple(
            _shown(printed(table, report.currency), codes_lead_to, titles)
            for table in report.tables
        ),
        cautions=report.cautions,
        made_text=report.made_text,
        others=others,
        files=files,
    )


def _shown(table: Printed, page_name: str, titles: Mapping[str, str]) -> ShownTable:
    return ShownTable(
        title=table.title,
        note=table.note,
        empty_words=table.empty_words,
        heads=tuple(map(_head, _cells(table, table.heads))),
        rows=tuple(
            tuple(
                replace(
                    cell,
                    address=_address(head, cell.words, page_name) or titles.get(cell.words, ""),
                )
                for head, cell in zip(table.heads, _cells(table, row), strict=True)
            )
            for row in table.rows
        ),
        total=_cells(table, table.total) if table.rows and table.total else (),
        struck=table.struck,
    )


def _cells(table: Printed, line: tuple[str, ...]) -> tuple[ShownCell, ...]:
    return tuple(
        ShownCell(words, "num" if number else "short" if len(words) <= ONE_LINE else "long")
        for words, number in zip(line, table.numbers, strict=True)
    )


def _head(cell: ShownCell) -> ShownCell:
    """Mark a head of many words: on a phone its column is wide enough for two lines of it."""
    return replace(cell, looks=f"{cell.looks} wordy") if len(cell.words) > TWO_LINES else cell


def _address(head: str, words: str, page_name: str) -> str:
    if head in CODE_HEADS and is_code(words):
        return reverse(page_name, args=[words])
    leads_to = HEADS_LEAD_TO.get(head)
    return reverse(leads_to, args=[words]) if leads_to and words[:1].isdecimal() else ""
