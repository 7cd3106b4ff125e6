"""Read the temperatures of a run, typed or from a logger's file; every error names its line.

A line is a time, a temperature and, if there is one, a gauge pressure, set apart by tab,
semicolon, comma or blanks. A time is a number from the start, a clock (14:05, 14:05:30.250,
2:05 PM) or a date with a clock, in one column or two. A head says where the columns are and what
they count; what stands above it is left out, what stands below the readings is named.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from itertools import pairwise

from farm.logger_file import Columns, opened
from farm.logger_lines import ReadingsError
from farm.logger_words import plain_head
from farm.reading_times import Times, is_day_first, zone_of
from farm.units import UnitError, read_pressure, read_temperature

COLDEST_MILLI_C, HOTTEST_MILLI_C = -30_000, 150_000
MOST_SAID = 5  # errors in one message
_OTHER_DEGREES = {
    "C": re.compile(r"[°º]\s?f\b|\bf\b|\bdeg\s?f\b|fahrenheit"),
    "F": re.compile(r"[°º]\s?c\b|\bc\b|\bdeg\s?c\b|celsius"),
}
_OF_UNIT = re.compile(r"\bunit|\beinheit|\bunit[éàa]|\bunidad|\btemp", re.IGNORECASE)
_KELVIN = re.compile(r"[(\[]\s?k\s?[)\]]|[°º]\s?k\b|\bkelvin\b")
_PRESSURES = {"kpa": "kPa", "bar": "bar", "barg": "bar", "psi": "psi", "psig": "psi",
              "mbar": "mbar", "hpa": "hPa", "mpa": "MPa", "pa": "Pa", "inhg": "inHg",
              "mmhg": "mmHg", "torr": "torr", "atm": "atm"}  # fmt: skip
_ABSOLUTE = re.compile(r"\b(?:abs|ass?ol|psia|bara)|(?:kpa|bar|psi)\s?[(\[]?a\b")
# What loggers write where they had no reading.
_NO_READING = re.compile(
    r"[-–—_*.?/#\s]*|#?n/?a!?|nan|null|none|err(or)?|fault|open|ovl?|oor", re.I
)
# Three decimals behind a mark are no thousands of degrees.
_THREE_DECIMALS = re.compile(r"(.*[0-9][.,][0-9]{3})([^0-9.,].*)?")


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


@dataclass(frozen=True)
class Found:
    """Readings in order of time, and the lines below them that are none."""

    readings: tuple[Reading, ...]
    left_out: tuple[str, ...] = ()


def read_readings(
    text: str,
    units: Units,
    start: datetime,
    *,
    counts: str = "",
    column: int | None = None,
    is_typed: bool = True,
) -> Found:
    """Find the readings in order; ``start`` is minute 0, and the day of a bare clock.

    ``counts`` and ``column``: what was chosen where the text does not say it (`logger_file`).
    Refuses fewer than two readings, times that do not run forward, and a temperature that no
    steriliser reaches.
    """
    file = opened(text, counts=counts, column=column, is_typed=is_typed)
    _agree(file.columns, units, file.above)
    times = _times(file.columns, file.rows, start=start, counts=file.counts)
    found: list[Reading] = []
    wrong: list[str] = []
    for line, cells in file.rows:
        try:
            found.append(_reading(cells, file.columns, units, times=times, before=found[-1:]))
        except UnitError as refusal:
            wrong.append(f"Line {line}: {refusal}")
    if wrong:
        more = f" And {len(wrong) - MOST_SAID} lines more." if len(wrong) > MOST_SAID else ""
        raise ReadingsError("\n".join(wrong[:MOST_SAID]) + more)
    if len(found) < 2:
        raise ReadingsError(f"{len(found)} readings: two or more are needed. Add the others.")
    return Found(tuple(found), file.left_out)


def gaps(times: Sequence[datetime], most: timedelta) -> list[tuple[datetime, datetime]]:
    """Find every stretch between two readings that is longer than ``most``."""
    return [(before, after) for before, after in pairwise(times) if after - before > most]


def decoded(content: bytes) -> str:
    """Turn a file into text, in the codes that loggers write."""
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return content.decode("utf-16", "replace")
    for code, zeros in (("utf-16-le", content[1:80:2]), ("utf-16-be", content[:80:2])):
        if zeros and not any(zeros):  # every other byte of Latin letters is nothing
            return content.decode(code, "replace")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("cp1252", "replace")


def _agree(columns: Columns, units: Units, above: Sequence[str]) -> None:
    """Refuse a head, or a line above it where it says nothing, that names another unit."""
    if not columns.heads:
        return
    head = columns.heads[columns.degrees]
    plain, other = plain_head(head), _OTHER_DEGREES[units.temperature]
    said = f"Line {columns.line}: the column says “{head[:40]}”"
    if _KELVIN.search(plain):
        raise ReadingsError(f"{said}, which is kelvin. Export the file in °C or °F.")
    if other.search(plain):
        raise ReadingsError(
            f"{said} and °{units.temperature} is stated. Choose the unit that the file is in."
        )
    stated = {"C": "F", "F": "C"}[units.temperature]
    names = [line for line in above if _OF_UNIT.search(line) and other.search(plain_head(line))]
    if names and not _OTHER_DEGREES[stated].search(plain):
        raise ReadingsError(
            f"Above the readings stands “{names[0][:40]}”, and °{units.temperature} is stated. "
            "Choose the unit that the file is in, or write it into the head of its column."
        )
    if columns.pressure is not None:
        _agree_on_pressure(columns, columns.heads[columns.pressure], units)


def _agree_on_pressure(columns: Columns, head: str, units: Units) -> None:
    plain = plain_head(head)
    said = {_PRESSURES[word] for word in re.findall(r"[a-z]+", plain) if word in _PRESSURES}
    if _ABSOLUTE.search(plain):
        raise ReadingsError(
            f"Line {columns.line}: the column says “{head[:40]}”, which counts the air too, and a "
            "gauge shows what is above it. Export the file without it, or with gauge pressure."
        )
    if said and units.pressure not in said:
        raise ReadingsError(
            f"Line {columns.line}: the column says “{head[:40]}” and {units.pressure} is stated. "
            "Choose the unit that the file is in: kPa, bar or psi."
        )


def _times(
    columns: Columns, rows: Sequence[tuple[int, list[str]]], *, start: datetime, counts: str
) -> Times:
    try:
        day_first = is_day_first([columns.time(cells) for _, cells in rows], start)
    except UnitError as refusal:
        raise ReadingsError(str(refusal)) from None
    heads = " ".join(columns.heads[at] for at in columns.times if at < len(columns.heads))
    return Times(start, counts, day_first, zone_of(heads))


def _reading(
    cells: Sequence[str],
    columns: Columns,
    units: Units,
    *,
    times: Times,
    before: Sequence[Reading],
) -> Reading:
    last = before[0].at.astimezone(times.start.tzinfo) if before else None
    at = times.read(columns.time(cells), last)
    # Instants are compared: in the night that has an hour twice, its clock falls back.
    if last and at.astimezone(UTC) <= last.astimezone(UTC):
        raise UnitError(
            f"{at:%H:%M:%S} is not after {last:%H:%M:%S}: put the lines in order, and leave out "
            "what stands twice."
        )
    degrees = columns.temperature(cells).removeprefix("+")
    pressure = columns.gauge(cells).removeprefix("+")
    if _NO_READING.fullmatch(degrees):
        raise UnitError(f"No temperature stands there{_quote(degrees)}: take the line out.")
    if pressure and _NO_READING.fullmatch(pressure):
        raise UnitError(f"No pressure stands there{_quote(pressure)}: leave the cell empty.")
    milli_c = read_temperature(_not_thousands(degrees), units.temperature)
    if not COLDEST_MILLI_C <= milli_c <= HOTTEST_MILLI_C:
        raise UnitError(
            f"{degrees} is {milli_c / 1000:.0f} °C, which no steriliser reaches: check the unit."
        )
    gauge_pa = read_pressure(_not_thousands(pressure), units.pressure) if pressure else None
    # Minutes are counted between instants: a clock that is put forward leaves no hour out.
    return Reading(at.astimezone(UTC), milli_c, gauge_pa)


def _quote(cell: str) -> str:
    return f", “{cell[:20]}”" if cell else ""


def _not_thousands(text: str) -> str:
    """Write a fourth decimal: a logger's 121.523 °C cannot be a hundred thousand degrees."""
    found = _THREE_DECIMALS.fullmatch(text)
    return f"{found[1]}0{found[2] or ''}" if found else text


def in_fahrenheit(milli_c: int, *, is_rise: bool = False) -> int:
    """Turn thousandths of a degree: 5,000 °C is 41,000 °F; rounded half to even."""
    return round(Fraction(milli_c * 9, 5)) + (0 if is_rise else 32_000)
