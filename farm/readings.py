"""Read the temperatures of a run, typed or from a logger's file; every error names its line.

A line is a time, a temperature and, if there is one, a gauge pressure. A time is minutes from the
start (12.5), a clock (14:05, 14:05:30) or a date with a clock (2026-05-03 14:05). Columns are set
apart by tab, semicolon, comma or blanks. A head with the words time and temperature says where
the columns are; what stands above it is left out.
"""

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise

from farm.units import UnitError, read_pressure, read_temperature

COLDEST_MILLI_C, HOTTEST_MILLI_C = -30_000, 150_000
HALF_A_DAY = timedelta(hours=12)
MOST_LINES = 20_000
MOST_SAID = 5  # errors in one message
TIME_WORDS, TEMPERATURE_WORDS = ("time", "minute"), ("temp", "°c", "°f")
PRESSURE_WORDS = ("press", "psi", "kpa", "bar")
_MINUTES = re.compile(r"[0-9]{1,5}(?:[.,][0-9]+)?")
_CLOCK = re.compile(r"([01]?[0-9]|2[0-3]):([0-5][0-9])(?::([0-5][0-9]))?")
_SIGNED_IN_HEAD = {"C": re.compile(r"°\s?f\b|\bf\b|fahrenheit"),
                   "F": re.compile(r"°\s?c\b|\bc\b|celsius")}  # fmt: skip


class ReadingsError(UnitError):
    """Readings that cannot be read; the message names each line and what to do."""


@dataclass(frozen=True)
class Units:
    """What the source is in: C or F; kPa, bar or psi, as the gauge shows it."""

    temperature: str
    pressure: str

    def __str__(self) -> str:
        return f"°{self.temperature}, {self.pressure}"


@dataclass(frozen=True)
class Reading:
    at: datetime
    milli_c: int
    gauge_pa: int | None = None


def read_readings(text: str, units: Units, start: datetime) -> tuple[Reading, ...]:
    """Return the readings in order; ``start`` is minute 0, and the day of a bare clock.

    A clock that falls back by more than half a day has passed midnight. Refuses fewer than two
    readings, times that do not run forward, and a temperature that no steriliser reaches.
    """
    rows = _rows(text)
    columns, rows = _columns(rows, units)
    found: list[Reading] = []
    wrong: list[str] = []
    for line, cells in rows:
        try:
            found.append(_reading(cells, columns, units=units, start=start, before=found[-1:]))
        except UnitError as refusal:
            wrong.append(f"Line {line}: {refusal}")
    if wrong:
        more = f" And {len(wrong) - MOST_SAID} lines more." if len(wrong) > MOST_SAID else ""
        raise ReadingsError("\n".join(wrong[:MOST_SAID]) + more)
    if len(found) < 2:
        raise ReadingsError(f"{len(found)} readings: two or more are needed. Add the others.")
    return tuple(found)


def gaps(times: Sequence[datetime], most: timedelta) -> list[tuple[datetime, datetime]]:
    """Find every stretch between two readings that is longer than ``most``."""
    return [(before, after) for before, after in pairwise(times) if after - before > most]


def decoded(content: bytes) -> str:
    """Turn a file into text, in the codes that loggers write."""
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return content.decode("utf-16", "replace")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("cp1252", "replace")


def _rows(text: str) -> list[tuple[int, list[str]]]:
    """Split into lines with their numbers, leaving out empty ones."""
    lines = text.splitlines()
    if len(lines) > MOST_LINES:
        raise ReadingsError(f"{len(lines)} lines are more than {MOST_LINES}: thin them out.")
    filled = [(number, line) for number, line in enumerate(lines, 1) if line.strip()]
    mark = max("\t;,", key=lambda mark: sum(mark in line for _, line in filled))
    if any(mark in line for _, line in filled):
        return [(number, _cells(line, mark)) for number, line in filled]
    return [(number, re.split(r"\s{2,}|(?<![0-9]-[0-9]{2}) ", line.strip()))
            for number, line in filled]  # fmt: skip


def _cells(line: str, mark: str) -> list[str]:
    return [cell.strip() for cell in next(csv.reader([line], delimiter=mark))]


def _columns(
    rows: list[tuple[int, list[str]]], units: Units
) -> tuple[tuple[int, int, int], list[tuple[int, list[str]]]]:
    """Find the columns by their head, and what stands below it; else take them in order."""
    for at, (line, cells) in enumerate(rows):
        heads = [cell.lower() for cell in cells]
        time, degrees = _with(heads, TIME_WORDS), _with(heads, TEMPERATURE_WORDS)
        if time is not None and degrees is not None:
            if _SIGNED_IN_HEAD[units.temperature].search(heads[degrees]):
                raise ReadingsError(
                    f"Line {line}: the column says “{cells[degrees]}” and °{units.temperature} "
                    "is stated. Choose the unit that the file is in."
                )
            pressure = _with(heads, PRESSURE_WORDS)
            return (time, degrees, len(cells) if pressure is None else pressure), rows[at + 1 :]
    return (0, 1, 2), rows


def _with(heads: Sequence[str], words: Sequence[str]) -> int | None:
    return next((at for at, head in enumerate(heads) if any(word in head for word in words)), None)


def _reading(
    cells: Sequence[str],
    columns: tuple[int, int, int],
    *,
    units: Units,
    start: datetime,
    before: Sequence[Reading],
) -> Reading:
    time, degrees, pressure = (cells[at] if at < len(cells) else "" for at in columns)
    last = before[0].at.astimezone(start.tzinfo) if before else None
    at = _time(time, start, last)
    if last and at <= last:
        raise UnitError(f"{at:%H:%M:%S} is not after {last:%H:%M:%S}: put the lines in order.")
    milli_c = read_temperature(degrees, units.temperature)
    if not COLDEST_MILLI_C <= milli_c <= HOTTEST_MILLI_C:
        raise UnitError(
            f"{degrees} is {milli_c / 1000:.0f} °C, which no steriliser reaches: check the unit."
        )
    gauge_pa = read_pressure(pressure, units.pressure) if pressure else None
    # Minutes are counted between instants: a clock that is put forward leaves no hour out.
    return Reading(at.astimezone(UTC), milli_c, gauge_pa)


def _time(text: str, start: datetime, last: datetime | None) -> datetime:
    if _MINUTES.fullmatch(text):
        minutes = timedelta(minutes=float(text.replace(",", ".")))
        return (start.astimezone(UTC) + minutes).astimezone(start.tzinfo)
    clock = _CLOCK.fullmatch(text)
    if clock:
        hour, minute, second = (int(part or 0) for part in clock.groups())
        at = (last or start).replace(hour=hour, minute=minute, second=second, microsecond=0)
        return at + timedelta(days=1) if last and last - at > HALF_A_DAY else at
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        raise UnitError(
            f"“{text[:30]}” is not a time: write minutes (12.5), a clock (14:05) or a date and a "
            "clock (2026-05-03 14:05)."
        ) from None
    return at.astimezone(start.tzinfo) if at.tzinfo else at.replace(tzinfo=start.tzinfo)
