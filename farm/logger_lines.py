"""Take the text of a logger's file apart into lines and cells; refuses what is no such text."""

import csv
import re
from collections.abc import Iterator, Sequence

from farm.reading_times import is_clock, is_date, is_number, is_time
from farm.units import UnitError

MOST_LINES, LONGEST_LINE = 20_000, 2_000
MARKS = "\t;,"
# What other files than text begin with, and what they are.
OTHER_FILES = {
    "PK\x03\x04": "a spreadsheet or an archive", "ÐÏ\x11à": "a spreadsheet", "%PDF": "a PDF",
    "<": "a web page or XML", '{"': "JSON", "[{": "JSON",
}  # fmt: skip
_DECIMAL_COMMAS = re.compile(r"(?:[^,]|(?<=[0-9]),(?=[0-9]))*")

Row = tuple[int, list[str]]


class ReadingsError(UnitError):
    """Readings that cannot be read; the message names each line and what to do."""


def rows_of(text: str) -> tuple[list[Row], str]:
    """Split into lines with their numbers, leaving out empty ones, at the mark they share."""
    for start, what in OTHER_FILES.items():
        if text.lstrip().startswith(start):
            raise ReadingsError(
                f"The file is {what}, not text in lines. Open it in its own program, save the "
                "readings as CSV, and choose that file."
            )
    lines = text.splitlines()
    if len(lines) > MOST_LINES:
        raise ReadingsError(f"{len(lines)} lines are more than {MOST_LINES}: thin them out.")
    filled = [(number, line) for number, line in enumerate(lines, 1) if line.strip(" \t;,\0")]
    for number, line in filled:
        if len(line) > LONGEST_LINE:
            raise ReadingsError(
                f"Line {number} has {len(line)} characters, which no reading has: "
                f"{LONGEST_LINE} at most. Is it the logger's own export?"
            )
    mark = _mark([line for _, line in filled])
    if mark:
        return [(number, _cells(line, mark)) for number, line in filled], mark
    return [(number, list(_by_blanks(line))) for number, line in filled], mark


def _mark(lines: Sequence[str]) -> str:
    """Find what sets cells apart, a blank being none: what most lines have, tabs before commas."""
    often = {mark: sum(mark in line for line in lines) for mark in MARKS}
    found = next((mark for mark in MARKS if often[mark] * 2 > len(lines)), "")
    mark = found or max(MARKS, key=lambda mark: often[mark])
    if not often[mark] or (mark == "," and all(map(_is_by_blanks, lines))):
        return ""
    return mark


def _is_by_blanks(line: str) -> bool:
    """Say whether blanks set a line's cells apart and its commas are decimal: 14:05 118,2."""
    first, *others = [*_by_blanks(line)] if _DECIMAL_COMMAS.fullmatch(line) else [""]
    return bool(others) and (is_time(first) or is_number(first))


def _cells(line: str, mark: str) -> list[str]:
    return [cell.strip() for cell in next(csv.reader([line], delimiter=mark))]


def _by_blanks(line: str) -> Iterator[str]:
    """Split at blanks, keeping a date with its clock and an amount with its unit."""
    if re.search(r"\s{2,}", line.strip()):
        yield from re.split(r"\s{2,}", line.strip())
        return
    kept = ""
    for word in line.split():
        belongs = (is_date(kept) and is_clock(word)) or _is_behind(kept, word)
        if kept and not belongs:
            yield kept
        kept = f"{kept} {word}" if belongs else word
    yield kept


def _is_behind(kept: str, word: str) -> bool:
    """Say whether a word belongs to the amount or the clock before it: 121 °C, 2:05 PM."""
    is_unit = re.fullmatch(r"[°º]?\s?[CF]|kPa|bar|psi|[AaPp]\.?[Mm]\.?", word) is not None
    return is_unit and kept[-1:].isdigit()
