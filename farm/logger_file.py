"""Take a logger's file apart: its lines, its head, its columns, and what stands around them.

Heads are told by ordinary words (`logger_words`) and by units. What is not plain is asked about
and never guessed: which of several columns is the temperature, what plain numbers count.
"""

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from farm.logger_lines import ReadingsError, Row, rows_of
from farm.logger_words import (
    COUNTED,
    DATE,
    DEGREES,
    INDEX,
    PRESSURE,
    SINCE_START,
    SUMMARY,
    TEMPERATURE,
    TIME,
    plain_head,
    words_in,
)
from farm.reading_times import (
    CLOCK,
    COUNTS,
    ELAPSED,
    MINUTES_SECONDS,
    begins_at_nothing,
    is_clock,
    is_date,
    is_minutes_seconds,
    is_number,
    is_time,
)

_MINUTES_SECONDS_HEAD = re.compile(r"(?<![h:])\bmm?:ss?\b")


class CountQuestion(ReadingsError):
    """Nothing says what the numbers in the column of times count."""


class ColumnQuestion(ReadingsError):
    """More than one column may be the temperature; ``columns``: their numbers and heads."""

    def __init__(self, message: str, columns: Sequence[tuple[int, str]]) -> None:
        super().__init__(message)
        self.columns = tuple(columns)


@dataclass(frozen=True)
class Columns:
    """Where things stand in a row, from 0; ``heads``: of each column, as written in a line."""

    times: tuple[int, ...]
    degrees: int
    pressure: int | None
    heads: tuple[str, ...] = ()
    line: int = 0

    def time(self, cells: Sequence[str]) -> str:
        return " ".join(_cell(cells, at) for at in self.times).strip()

    def temperature(self, cells: Sequence[str]) -> str:
        return _cell(cells, self.degrees)

    def gauge(self, cells: Sequence[str]) -> str:
        return "" if self.pressure is None else _cell(cells, self.pressure)


@dataclass(frozen=True)
class Head:
    """A line that names its columns: which are times, temperatures, pressures."""

    line: int
    cells: tuple[str, ...]
    dates: tuple[int, ...]
    times: tuple[int, ...]
    degrees: tuple[int, ...]
    pressures: tuple[int, ...]


@dataclass(frozen=True)
class Opened:
    """A file in columns. ``left_out``: the lines below the readings that are none, as said.

    ``above``: the lines above the head.
    """

    columns: Columns
    rows: tuple[Row, ...]
    counts: str
    left_out: tuple[str, ...] = ()
    above: tuple[str, ...] = ()


def opened(text: str, *, counts: str, column: int | None, is_typed: bool) -> Opened:
    """Find the columns of a text and the rows of its readings.

    ``counts``: what plain times count, where it was chosen. ``column``: which column, from 1,
    holds the temperature, where it was chosen. ``is_typed``: by hand, in the order that the form
    asks for, and in minutes.
    """
    rows, mark = rows_of(text)
    found = _head(rows)
    above: list[str] = []
    if found is None:
        columns, rows = _without_head(rows, is_typed=is_typed)
    else:
        at, head = found
        above = [" ".join(filter(None, cells)) for line, cells in rows[:at] if line < head.line]
        rows = rows[at:]
        columns = _named(head, column, rows[0][1] if rows else ())
    rows, left_out = _without_footers(rows, columns)
    if mark == ",":
        _need_one_comma(rows, columns)
    times = [columns.time(cells) for _, cells in rows]
    counted = _counts(columns, times, counts, is_typed=is_typed)
    return Opened(columns, tuple(rows), counted, tuple(left_out), tuple(above))


def _cell(cells: Sequence[str], at: int) -> str:
    return cells[at] if at < len(cells) else ""


# --- the head --------------------------------------------------------------------------------


def _head(rows: Sequence[Row]) -> tuple[int, Head] | None:
    """Find the line that names times and temperatures, and at which row its readings begin.

    Best is one with a time right below it; units may stand in a line of their own between.
    """
    found: list[tuple[int, Head]] = []
    for at, (line, cells) in enumerate(rows):
        below = [cells for _, cells in rows[at + 1 : at + 3]]
        head = _named_by(line, cells)
        if head is None:
            continue
        if below and _is_units(cells, below[0]):
            named = [f"{name} {unit}".strip() for name, unit in zip(cells, below[0], strict=True)]
            head, at, below = _named_by(line, named) or head, at + 1, below[1:]
        leads = bool(below) and _begins(below[0], head)
        if leads and not head.degrees:
            head = replace(head, degrees=_unnamed(head))
        if head.degrees:
            found.append((at + 1, head))
        if leads and head.degrees:
            return found[-1]
    return found[0] if found else None


def _is_units(head: Sequence[str], below: Sequence[str]) -> bool:
    return len(below) == len(head) and not any(sign.isdigit() for cell in below for sign in cell)


def _begins(cells: Sequence[str], head: Head) -> bool:
    """Say whether a row has a time where its head says."""
    return all(
        is_number(cell) or is_time(cell) or is_date(cell)
        for cell in (_cell(cells, at) for at in (*head.dates[:1], *head.times[:1]))
    )


def _unnamed(head: Head) -> tuple[int, ...]:
    """The columns that may be temperatures where no head says so: all that are nothing else."""
    known = {*head.dates, *head.times, *head.pressures}
    return tuple(
        at
        for at, cell in enumerate(head.cells)
        if at not in known and cell and not INDEX & set(words_in(cell)) and cell != "#"
    )


def _named_by(line: int, cells: Sequence[str]) -> Head | None:
    """Tell columns by their heads; None for a line that names no time."""
    words = [frozenset(words_in(cell)) for cell in cells]
    degrees = [at for at, cell in enumerate(cells) if _is_temperature(cell, words[at])]
    pressures = _where(words, lambda said: said & PRESSURE, degrees)
    taken = [*degrees, *pressures]
    dates = _where(words, lambda said: said & DATE and not said & TIME, taken)
    taken += dates
    times = _where(words, lambda said: said & TIME, taken)
    times = times or _where(words, lambda said: said & COUNTED.keys(), taken)
    if not degrees and len(times) > 1:  # “Temps” is time in French, and short for temperatures
        degrees = [at for at in times if "temps" in words[at]]
        times = [at for at in times if at not in degrees]
    if not (times or dates):
        return None
    return Head(line, tuple(cells), tuple(dates), tuple(times), tuple(degrees), tuple(pressures))


def _where(
    words: Sequence[frozenset[str]], fits: Callable[[frozenset[str]], object], taken: Sequence[int]
) -> list[int]:
    return [at for at, said in enumerate(words) if at not in taken and fits(said)]


def _is_temperature(cell: str, words: frozenset[str]) -> bool:
    return bool(words & TEMPERATURE or DEGREES.search(plain_head(cell)))


def _named(head: Head, column: int | None, first: Sequence[str]) -> Columns:
    """Take the columns that a head names; asks where more than one may be meant.

    A date that stands in the first row beside its clock belongs to it, whatever its head says.
    """
    degrees = _chosen(head, column)
    if len(head.pressures) > 1:
        raise ReadingsError(
            f"Line {head.line} names {len(head.pressures)} columns of pressure: "
            f"{_quoted(head.cells[at] for at in head.pressures)}. Leave one of them in the file."
        )
    dates = head.dates[:1]
    if not dates and is_clock(_cell(first, head.times[0])):
        beside = (head.times[0] - 1, head.times[0] + 1)
        dates = tuple(at for at in beside if at >= 0 and is_date(_cell(first, at)))[:1]
    times = (*dates, *head.times[:1])
    return Columns(
        times, degrees, head.pressures[0] if head.pressures else None, head.cells, head.line
    )


def _chosen(head: Head, column: int | None) -> int:
    if len(head.degrees) == 1:
        return head.degrees[0]
    if column is not None and column - 1 in head.degrees:
        return column - 1
    named = [(at + 1, head.cells[at]) for at in head.degrees]
    raise ColumnQuestion(
        f"Line {head.line} names {len(named)} columns of temperature: "
        f"{_quoted(name for _, name in named)}. Choose below which of them is meant, and the file "
        "once more.",
        named,
    )


def _quoted(names: Iterator[str]) -> str:
    return ", ".join(f"“{name[:40]}”" for name in names)


# --- without a head --------------------------------------------------------------------------


def _without_head(rows: list[Row], *, is_typed: bool) -> tuple[Columns, list[Row]]:
    """Take columns in order: a time and a temperature; a gauge behind them only where typed."""
    if not rows:
        return Columns((0,), 1, None), rows
    cells = rows[0][1]
    first = 0
    if _is_index(rows):
        first = 1
    times: tuple[int, ...] = (first,)
    if is_date(_cell(cells, first)) and is_clock(_cell(cells, first + 1)):
        times = (first, first + 1)
    behind = times[-1] + 1
    if is_typed:
        return Columns(times, behind, behind + 1), rows
    most = max(len(cells) for _, cells in rows)
    if most > behind + 1 and any(_cell(cells, behind + 1) for _, cells in rows):
        raise ReadingsError(
            f"The file has {most} columns and no line that names them, so which is the "
            "temperature is not known. Write one above them, such as: time;temperature;pressure"
        )
    return Columns(times, behind, None), rows


def _is_index(rows: Sequence[Row]) -> bool:
    """Say whether the first column counts the lines and a time of its own stands behind it."""
    numbered = [cells[0] for _, cells in rows if len(cells) > 2]
    behind = [_cell(cells, 1) for _, cells in rows]
    if len(numbered) < 2 or not all(is_number(number) for number in numbered[:2]):
        return False
    counts = numbered[0].isdigit() and numbered[1].isdigit()
    is_next = counts and int(numbered[1]) == int(numbered[0]) + 1
    return is_next and (is_time(behind[0]) or is_date(behind[0]))


# --- what stands below, and what numbers count -----------------------------------------------


def _without_footers(rows: list[Row], columns: Columns) -> tuple[list[Row], list[str]]:
    """Part off the last lines that are no readings: no time, and no number or a word that sums up.

    They are named to who sent the file; a last line that may be a mistyped reading stays, and is
    refused by its number.
    """
    end = len(rows)
    while end and _is_footer(rows[end - 1][1], columns):
        end -= 1
    said = [f"line {line}, “{' '.join(filter(None, cells))[:40]}”" for line, cells in rows[end:]]
    return rows[:end], said


def _need_one_comma(rows: Sequence[Row], columns: Columns) -> None:
    """Refuse commas that set cells apart and may be decimal marks too: 14:00,121,5."""
    most = len(columns.heads) or columns.degrees + 2
    for line, cells in rows:
        if any(cell.isdigit() for cell in cells[most:]):
            raise ReadingsError(
                f"Line {line} has {len(cells)} cells, more than are named: is the comma its "
                "decimal mark too? Export the file with semicolons, or type with blanks between."
            )
    behind = [columns.gauge(cells) for _, cells in rows]
    whole = all(columns.temperature(cells).isdigit() for _, cells in rows)
    are_digits = all(re.fullmatch("[0-9]", cell) for cell in behind) and {*behind} != {"0"}
    if rows and whole and are_digits and not columns.heads:
        raise ReadingsError(
            f"Line {rows[0][0]}: is “{behind[0]}” a pressure, or what stands behind a decimal "
            "comma? Set the columns apart by blanks or semicolons."
        )


def _is_footer(cells: Sequence[str], columns: Columns) -> bool:
    time = columns.time(cells)
    if is_number(time) or is_time(time) or is_date(time):
        return False
    words = words_in(" ".join(cells[:2]))
    has_number = any(sign.isdigit() for sign in columns.temperature(cells))
    return not has_number or bool(words and words[0] in SUMMARY)


def _counts(columns: Columns, times: Sequence[str], chosen: str, *, is_typed: bool) -> str:
    """Say what the times count, by the head or as it was chosen; asks where nothing says so."""
    head = " ".join(columns.heads[at] for at in columns.times if at < len(columns.heads))
    words = set(words_in(head))
    first = times[0] if times else ""
    if is_number(first):
        return _numbers_count(words, times, chosen or "min" * is_typed)
    if MINUTES_SECONDS in (chosen, *_said_of_clock(head)) and is_minutes_seconds(first):
        return MINUTES_SECONDS
    if is_clock(first) and words & SINCE_START and chosen != CLOCK:
        if all(map(is_minutes_seconds, times)) and not (chosen or _said_of_clock(head)):
            raise CountQuestion(
                f"The times run from “{first}” to “{times[-1][:20]}”: hours and minutes, or "
                "minutes and seconds? Choose what they are."
            )
        return ELAPSED
    if begins_at_nothing(first) and chosen not in (ELAPSED, CLOCK):
        raise CountQuestion(
            f"The times begin at “{first}”: a clock at midnight, or time since the start? Choose "
            "what they are."
        )
    return chosen


def _said_of_clock(head: str) -> list[str]:
    """What a head says of its clock: hh:mm is counted in hours, mm:ss in minutes."""
    plain = plain_head(head)
    kinds = {MINUTES_SECONDS: _MINUTES_SECONDS_HEAD.search(plain), ELAPSED: "h:m" in plain}
    return [kind for kind, said in kinds.items() if said]


def _numbers_count(words: set[str], times: Sequence[str], chosen: str) -> str:
    named = {COUNTED[word] for word in words & COUNTED.keys()}
    if chosen in COUNTS and named - {chosen} and len(named) == 1:
        raise ReadingsError(
            f"The head says that times are in {COUNTS[named.pop()]}, and {COUNTS[chosen]} are "
            "chosen. Leave the choice to the file's head, or correct the head."
        )
    if len(named) == 1:
        return named.pop()
    if chosen in COUNTS:
        return chosen
    raise CountQuestion(
        f"The times are plain numbers, such as “{times[-1][:20]}”, and no head says what they "
        "count. Choose seconds, minutes or hours."
    )
