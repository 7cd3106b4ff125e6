"""Read the tables of a report again: off its page, its spreadsheet, its CSV and its paper.

Each gives titles with heads and rows of plain words, days as 2026-10-03 and numbers as decimals,
so that one can be held against the other. No code of the reports is used.
"""

import csv
import io
import re
import shutil
import subprocess
import zipfile
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from html.parser import HTMLParser

import pytest
from openpyxl import load_workbook

DAY = re.compile(r"(\d{1,2}) ([A-Z][a-z]{2}) (\d{4})")
MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]
Word = str | Decimal


@dataclass
class Read:
    """A table as it was read. ``heads``: without their units. ``total``: empty where none is."""

    heads: list[str]
    rows: list[list[Word]]
    total: list[Word] = field(default_factory=list)

    def by(
        self, keys: tuple[str, ...], numbers: tuple[str, ...]
    ) -> dict[tuple[str, ...], list[Decimal]]:
        """Add rows of the same words up; what is empty is nothing."""
        found: dict[tuple[str, ...], list[Decimal]] = {}
        if not self.rows:
            return found
        at, of = [[self.heads.index(name) for name in names] for names in (keys, numbers)]
        for row in self.rows:
            cells = [as_number(row[place]) for place in of]
            key = tuple(str(row[place]) for place in at)
            found[key] = [
                a + b for a, b in zip(found.get(key, [Decimal()] * len(of)), cells, strict=True)
            ]
        return {key: sums for key, sums in found.items() if any(sums)}


Tables = dict[str, Read]


def as_number(word: Word) -> Decimal:
    """What is empty, or says in words that something is missing (“no bill entered”), is nothing.

    A word with a digit in it is a number, or else refused.
    """
    if isinstance(word, Decimal):
        return word
    digits = any(sign.isdigit() for sign in word)
    return Decimal(word.replace(",", "")) if digits else Decimal()


def plain(cell: object) -> Word:
    """Write a day in one way, wherever it was read; numbers that are typed stay numbers."""
    if isinstance(cell, bool) or cell is None:
        return ""
    if isinstance(cell, datetime | date):
        return f"{cell:%Y-%m-%d}"
    if isinstance(cell, int | float):
        return Decimal(str(cell))
    words = " ".join(str(cell).split())
    day = DAY.fullmatch(words)
    return f"{day[3]}-{MONTHS.index(day[2]) + 1:02}-{int(day[1]):02}" if day else words


def bare(head: object) -> str:
    """Take the unit off a head: “Picked, kg” is “Picked”."""
    return re.sub(r", (kg|[A-Z]{3}|%|lb|[A-Z]{3} per kg)$", "", str(head))


# --- the page --------------------------------------------------------------------------------


class _Page(HTMLParser):
    """Collect the printed tables under their titles, and the words of the page."""

    def __init__(self) -> None:
        super().__init__()
        self.tables: Tables = {}
        self.words: list[str] = []
        self.inside: list[str] = []
        self.title, self.row, self.cell = "", list[Word](), ""
        self.read: Read | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in ("summary", "h2"):
            self.title = ""
        if tag == "table" and "printed" in (dict(attrs).get("class") or "").split():
            self.read = self.tables[self.title.strip()] = Read([], [])
        if tag == "tr":
            self.row = []
        if tag in ("td", "th"):
            self.cell = ""
        if tag not in ("br", "input", "meta", "link", "img", "hr"):
            self.inside.append(tag)

    def handle_data(self, data: str) -> None:
        self.words.append(data)
        if "small" not in self.inside and {"summary", "h2"} & set(self.inside):
            self.title += data
        self.cell += data

    def handle_endtag(self, tag: str) -> None:
        while self.inside and self.inside.pop() != tag:
            pass
        if tag in ("td", "th"):
            self.row.append(plain(self.cell))
        if tag == "table":
            self.read = None
        if tag == "tr" and self.read is not None:
            if not self.read.heads:
                self.read.heads = [bare(cell) for cell in self.row]
            elif "tfoot" in self.inside:
                self.read.total = self.row
            else:
                self.read.rows.append(self.row)


def of_page(html: str) -> Tables:
    page = _Page()
    page.feed(html)
    return page.tables


# --- the files -------------------------------------------------------------------------------


def of_workbook(content: bytes) -> Tables:
    """Read each sheet behind the summary: title, heads in row 3, rows, and the total if any."""
    found: Tables = {}
    for sheet in load_workbook(io.BytesIO(content), data_only=True).worksheets[1:]:
        lines = [[plain(cell) for cell in line] for line in sheet.iter_rows(values_only=True)]
        heads = [bare(cell) for cell in lines[2]]
        rows = [line for line in lines[3:] if any(cell != "" for cell in line)]
        last = next(
            (at for at, row in enumerate(rows) if row[0] in ("Total", "= in stock at the end")),
            None,
        )
        total = rows[last] if last is not None else []
        found[str(lines[0][0])] = Read(heads, rows[:last] if last is not None else rows, total)
    return found


def of_zip(content: bytes, titles: list[str]) -> Tables:
    """Read the CSV of each table; they are numbered in the order of the titles."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        files = [archive.read(name).decode() for name in sorted(archive.namelist())]
    found: Tables = {}
    for title, text in zip(titles, files, strict=True):
        heads, *rows = csv.reader(io.StringIO(text, newline=""))
        found[title] = Read(
            [bare(head) for head in heads], [[plain(cell) for cell in row] for row in rows]
        )
    return found


def of_pdf(content: bytes) -> str:
    """Every word of a PDF in reading order, one blank between them."""
    program = shutil.which("pdftotext")
    if not program:
        pytest.skip("pdftotext (poppler-utils) is not on this machine")
    said = subprocess.run(
        [program, "-layout", "-", "-"], input=content, capture_output=True, check=True
    )
    return " ".join(said.stdout.decode().split())
