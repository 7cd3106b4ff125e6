"""Take a logger's file apart: its lines, its head, its columns, and what stands around them.

Heads are told by ordinary words for time, date, temperature and pressure in English, German,
French and Spanish, and by units. What is not plain is asked about and never guessed: which of
several columns is the temperature, what plain numbers count.
"""

import csv
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from farm.reading_times import (
    CLOCK,
    COUNTS,
    ELAPSED,
    begins_at_nothing,
    is_clock,
    is_date,
    is_number,
    is_time,
)
from farm.units import UnitError

MOST_LINES, LONGEST_LINE = 20_000, 2_000
MARKS = "\t;,"
_WORD = re.compile(r"[^\W\d_]+")


def _words(said: str) -> frozenset[str]:
    return frozenset(said.split())


TIME = _words(
    "time times timestamp datetime clock zeit uhrzeit uhr zeitpunkt zeitstempel heure hora tiempo "
    "temps elapsed dauer laufzeit durée duree duración duracion"
)
SINCE_START = _words(
    "elapsed dauer laufzeit durée duree écoulé ecoule duración duracion transcurrido duration "
    "relative relativ"
)
DATE = _words("date datum fecha day tag jour día dia")
TEMPERATURE = _words(
    "temp temperature temperatures temperatur temperaturen température temperatura celsius "
    "fahrenheit"
)
PRESSURE = _words(
    "press pressure gauge druck überdruck pression presión presion psi psig kpa bar mbar hpa"
)
INDEX = _words("no nr n index id record lfd nummer número numero num row line zeile")
COUNTED = {
    word: unit
    for unit, words in {
        "ms": "ms millisecond milliseconds millisekunden millisecondes milisegundos",
        "s": "s sec secs second seconds sek sekunde sekunden seconde secondes seg segundo segundos",
        "min": "min mins minute minutes minuten minuto minutos",
        "h": "h hr hrs hour hours std stunde stunden heures horas",
    }.items()
    for word in words.split()
}
# Last lines that sum a file up: what they begin with.
SUMMARY = _words(
    "min max minimum maximum mean average avg mittel mittelwert durchschnitt moyenne moy media "
    "promedio mínimo minimo máximo maximo end ende fin total count anzahl nombre número f"
)
_DEGREES = re.compile(r"[°º]\s?[cf]\b|\bdeg\.?\s?[cf]\b|[(\[]\s?[cf]\s?[)\]]")

Row = tuple[int, list[str]]


class ReadingsError(UnitError):
    """Readings that cannot be read; the message names each line and what to do."""


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
    """A file in columns. ``left_out``: the lines below the readings that are none, as said."""

    columns: Columns
    rows: tuple[Row, ...]
    counts: str
    left_out: tuple[str, ...] = ()


def opened(text: str, *, counts: str, column: int | None, is_typed: bool) -> Opened:
    """Find the columns of a text and the rows of its readings.

    ``counts``: what plain times count, where it was chosen. ``column``: which column, from 1,
    holds the temperature, where it was chosen. ``is_typed``: by hand, in the order that the form
    asks for, and in minutes.
    """
    rows = _rows(text)
    found = _head(rows)
    if found is None:
        columns, rows = _without_head(rows, is_typed=is_typed)
    else:
        at, head = found
        columns, rows = _named(head, column), rows[at:]
    rows, left_out = _without_footers(rows, columns)
    times = [columns.time(cells) for _, cells in rows]
    counted = _counts(columns, times, counts, is_typed=is_typed)
    return Opened(columns, tuple(rows), counted, tuple(left_out))


# --- lines and cells -------------------------------------------------------------------------


def _rows(text: str) -> list[Row]:
    """Split into lines with their numbers, leaving out empty ones."""
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
    mark = max(MARKS, key=lambda mark: sum(mark in line for _, line in filled))
    if any(mark in line for _, line in filled):
        return [(number, _cells(line, mark)) for number, line in filled]
    return [(number, list(_by_blanks(line))) for number, line in filled]


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
        if at not in known and cell and not INDEX & set(_WORD.findall(cell.lower())) and cell != "#"
    )


def _named_by(line: int, cells: Sequence[str]) -> Head | None:
    """Tell columns by their heads; None for a line that names no time."""
    words = [frozenset(_WORD.findall(cell.lower())) for cell in cells]
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
    return bool(words & TEMPERATURE or _DEGREES.search(cell.lower()))


def _named(head: Head, column: int | None) -> Columns:
    """Take the columns that a head names; asks where more than one may be meant."""
    degrees = _chosen(head, column)
    if len(head.pressures) > 1:
        raise ReadingsError(
            f"Line {head.line} names {len(head.pressures)} columns of pressure: "
            f"{_quoted(head.cells[at] for at in head.pressures)}. Leave one of them in the file."
        )
    times = (*head.dates[:1], *head.times[:1])
    return Columns(times, degrees, head.pressures[0] if head.pressures else None,
                   head.cells, head.line)  # fmt: skip


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


def _is_footer(cells: Sequence[str], columns: Columns) -> bool:
    time = columns.time(cells)
    if is_number(time) or is_time(time) or is_date(time):
        return False
    words = _WORD.findall(" ".join(cells[:2]).lower())
    has_number = any(sign.isdigit() for sign in columns.temperature(cells))
    return not has_number or bool(words and words[0] in SUMMARY)


def _counts(columns: Columns, times: Sequence[str], chosen: str, *, is_typed: bool) -> str:
    """Say what the times count, by the head or as it was chosen; asks where nothing says so."""
    head = " ".join(columns.heads[at] for at in columns.times if at < len(columns.heads))
    words = set(_WORD.findall(head.lower()))
    first = times[0] if times else ""
    if is_number(first):
        return _numbers_count(words, times, chosen or "min" * is_typed)
    if is_clock(first) and words & SINCE_START:
        return ELAPSED
    if begins_at_nothing(first) and chosen not in (ELAPSED, CLOCK):
        raise CountQuestion(
            f"The times begin at “{first}”: a clock at midnight, or time since the start? Choose "
            "what they are."
        )
    return chosen


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
