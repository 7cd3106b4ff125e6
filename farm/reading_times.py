"""Read the times of a logger's file: counted from the start, by the clock, or with their dates.

Whether 07/09 is in July or in September is told by the other dates of the file, else by the day
of the run; it is never guessed. Two digits of a year are of this century.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone, tzinfo

from farm import habits
from farm.units import UnitError

HALF_A_DAY = timedelta(hours=12)
# A drum steams for a day and cools for up to three: common practice, no source.
LONGEST = timedelta(days=4)
YEARS = range(2000, 2101)
# What numbers in the column of times may count, and what the one choice beside them is.
COUNTS = {"ms": "milliseconds", "s": "seconds", "min": "minutes", "h": "hours"}
ELAPSED, CLOCK, MINUTES_SECONDS = "elapsed", "clock", "mm:ss"
_MICROSECONDS = {"ms": 1_000, "s": 1_000_000, "min": 60_000_000, "h": 3_600_000_000}
HALVES = {"a": 0, "p": 12}
_NUMBER = re.compile(r"([0-9]{1,10})(?:[.,]([0-9]{1,9}))?")
_CLOCK = re.compile(
    r"([0-9]{1,2})\s?[:h]\s?([0-5][0-9])(?::([0-5][0-9])(?:[.,:]([0-9]{1,9}))?)?"
    r"\s*(am|pm|a\.\s?m\.|p\.\s?m\.|uhr|h)?",
    re.IGNORECASE,
)
_MINUTES_SECONDS = re.compile(r"([0-9]{1,4}):([0-5][0-9](?:[.,][0-9]{1,9})?)")
_YEAR_FIRST = re.compile(r"([0-9]{4})[-/.]([0-9]{1,2})[-/.]([0-9]{1,2})")
_YEAR_LAST = re.compile(r"([0-9]{1,2})([-/.])([0-9]{1,2})\2([0-9]{4}|[0-9]{2})")
_DATED = re.compile(r"([0-9]+[-/.][0-9]+[-/.][0-9]+)(?:[T,;\s]\s*)(.+)")
_ZONED = re.compile(r"(.*[0-9M])\s*(Z|UTC|GMT|[+-][0-9]{2}:?[0-9]{2})", re.IGNORECASE)
_ZONE_OF_HEAD = re.compile(
    r"\b(?:UTC|GMT)(?:\s*([+-])\s?([0-9]{1,2})(?::?([0-5][0-9]))?)?(?![0-9])"
)


@dataclass(frozen=True)
class Times:
    """How the times of one file are read. ``start``: minute 0, and the day of a bare clock.

    ``counts``: what plain numbers count, or that a clock counts from the start (elapsed).
    ``zone``: of the clock, where the file's head states one; else the start's own.
    """

    start: datetime
    counts: str
    day_first: bool
    zone: tzinfo | None = None

    def read(self, text: str, last: datetime | None) -> datetime:
        """Read one time; a clock that falls back by more than half a day has passed midnight."""
        if _NUMBER.fullmatch(text) and self.counts in COUNTS:
            return self._counted(_microseconds(text, self.counts), text)
        counted = _MINUTES_SECONDS.fullmatch(text) if self.counts == MINUTES_SECONDS else None
        if counted:
            minutes = _microseconds(counted[1], "min")
            return self._counted(minutes + _microseconds(counted[2], "s"), text)
        dated = _DATED.fullmatch(text)
        if dated:
            return self._dated(*dated.groups(), last=last)
        if self.counts == ELAPSED:
            return self._counted(_length(text) // timedelta(microseconds=1), text)
        length = _since_midnight(text)
        before = (last or self.start).astimezone(self.zone or self.start.tzinfo)
        at = before.replace(hour=0, minute=0, second=0, microsecond=0) + length
        at += timedelta(days=1) if last and before - at > HALF_A_DAY else timedelta()
        return _after(at, last).astimezone(self.start.tzinfo)

    def _counted(self, microseconds: int, text: str) -> datetime:
        length = timedelta(microseconds=microseconds)
        if length > LONGEST:
            raise UnitError(
                f"“{text}” is {length.days} days after the start, longer than any run. Choose "
                "what the numbers count, or the file of this run."
            )
        return (self.start.astimezone(UTC) + length).astimezone(self.start.tzinfo)

    def _dated(self, day: str, clock: str, *, last: datetime | None) -> datetime:
        zoned = _ZONED.fullmatch(clock)
        on = read_day(day, day_first=self.day_first)
        zone = _zone(zoned[2]) if zoned else self.zone or self.start.tzinfo
        midnight = datetime(on.year, on.month, on.day, tzinfo=zone)
        at = midnight + _since_midnight(zoned[1] if zoned else clock)
        return _after(at, last).astimezone(self.start.tzinfo)


def zone_of(head: str) -> tzinfo | None:
    """Find the zone that a head states: “Date Time, GMT-07:00” is seven hours behind UTC."""
    found = _ZONE_OF_HEAD.search(head)
    if not found:
        return None
    length = timedelta(hours=int(found[2] or 0), minutes=int(found[3] or 0))
    return timezone(-length if found[1] == "-" else length) if length < HALF_A_DAY * 2 else None


def _after(at: datetime, last: datetime | None) -> datetime:
    """Take the second of two hours of one name, in the night that has two, where one is gone by."""
    again = at.replace(fold=1)
    is_second = last and at.astimezone(UTC) <= last.astimezone(UTC) < again.astimezone(UTC)
    return again if is_second else at


def is_minutes_seconds(text: str) -> bool:
    return _MINUTES_SECONDS.fullmatch(text) is not None


def is_number(text: str) -> bool:
    return _NUMBER.fullmatch(text) is not None


def is_date(text: str) -> bool:
    return bool(_YEAR_FIRST.fullmatch(text) or _YEAR_LAST.fullmatch(text))


def is_clock(text: str) -> bool:
    return _CLOCK.fullmatch(text) is not None


def is_time(text: str) -> bool:
    """Say whether a cell looks like a time of its own: a clock, or a date with one."""
    dated = _DATED.fullmatch(text)
    return is_clock(text) or bool(dated and is_date(dated[1]))


def begins_at_nothing(text: str) -> bool:
    """Say whether a clock shows the minute of midnight, or time since the start does."""
    found = _CLOCK.fullmatch(text)
    return bool(found and not int(found[1]) and not int(found[2]))


def is_day_first(times: Sequence[str], start: datetime) -> bool:
    """Tell day from month by what is possible for all dates, else by the day of the run."""
    days = [found[1] for found in map(_DATED.fullmatch, times) if found]
    slashed = sorted({day for day in days if _YEAR_LAST.fullmatch(day)})
    if not slashed or slashed[0].count("."):
        return True
    possible = [first for first in (True, False) if all(_is_day(day, first) for day in slashed)]
    if len(possible) == 1:
        return possible[0]
    near = {
        first: sum(_is_near(day, start, day_first=first) for day in slashed) for first in possible
    }
    if any(near.values()):
        return max(near, key=lambda first: near[first])
    meant = " nor ".join(
        habits.short_day(read_day(slashed[0], day_first=first)) for first in possible
    )
    raise UnitError(
        f"“{slashed[0]}” is neither {meant} near the run of {habits.short_day(start)}. Choose the "
        "file of this run."
        if possible
        else f"“{slashed[0]}” and the other dates have no order of day and month in common: write "
        "them as 2026-05-03."
    )


def _is_near(day: str, start: datetime, *, day_first: bool) -> bool:
    return abs(read_day(day, day_first=day_first) - start.date()) <= LONGEST


def read_day(text: str, *, day_first: bool) -> date:
    """Read a date in digits; refuses a day that does not exist, or is of another century."""
    found = _YEAR_FIRST.fullmatch(text)
    if found:
        year, month, day = (int(part) for part in found.groups())
    else:
        found = _YEAR_LAST.fullmatch(text)
        if not found:
            raise _no_time(text)
        first, _mark, second, last = found.groups()
        year = int(last) if len(last) == 4 else 2000 + int(last)
        day, month = (int(first), int(second)) if day_first else (int(second), int(first))
    if year not in YEARS:
        raise UnitError(f"“{text}” is of the year {year}: check the logger's clock.")
    try:
        return date(year, month, day)
    except ValueError:
        raise UnitError(f"“{text}” is no day of the calendar.") from None


def _is_day(text: str, day_first: bool) -> bool:
    try:
        read_day(text, day_first=day_first)
    except UnitError:
        return False
    return True


def _zone(text: str) -> tzinfo | None:
    if text.upper() in ("UTC", "GMT"):
        return UTC
    try:
        return datetime.strptime(text.upper(), "%z").tzinfo
    except ValueError:
        raise _no_time(text) from None


def _microseconds(text: str, counts: str) -> int:
    """Turn a number into microseconds exactly, what is smaller cut off."""
    found = _NUMBER.fullmatch(text)
    assert found
    whole, part = found[1], found[2] or ""
    each = _MICROSECONDS[counts]
    return int(whole) * each + (int(part) * each // 10 ** len(part) if part else 0)


def _since_midnight(text: str) -> timedelta:
    length = _length(text)
    if length >= timedelta(days=1):
        raise _no_time(text)
    return length


def _length(text: str) -> timedelta:
    """Read hours, minutes, seconds and parts of them; of the half day where it is named."""
    found = _CLOCK.fullmatch(text)
    if not found:
        raise _no_time(text)
    hour, minute, second = (int(part or 0) for part in found.groups()[:3])
    half = (found[5] or "").lower()[:1]
    if half in HALVES:
        if not 1 <= hour <= 12:
            raise _no_time(text)
        hour = hour % 12 + HALVES[half]
    part = found[4] or "0"
    micro = int(part) * 1_000_000 // 10 ** len(part)
    return timedelta(hours=hour, minutes=minute, seconds=second, microseconds=micro)


def _no_time(text: str) -> UnitError:
    return UnitError(
        f"“{text[:30]}” is not a time: write minutes (12.5), a clock (14:05) or a date and a "
        "clock (2026-05-03 14:05)."
    )
