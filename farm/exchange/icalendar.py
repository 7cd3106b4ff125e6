"""A calendar as RFC 5545 writes it: all-day events, lines of at most 75 octets, CR LF."""

from collections.abc import Iterable, Iterator
from datetime import UTC, date, datetime, timedelta
from urllib.parse import urlsplit

from farm.exchange.names import own_address
from farm.queries.day.calendar import Due

MOST_OCTETS = 75  # RFC 5545 3.1, without the line break


def calendar(name: str, due: Iterable[Due], stamp: datetime) -> bytes:
    """Write what is due as a calendar; ``stamp``: when it was made.

    An event keeps its UID while it waits, so that a calendar program moves it and adds no second.
    """
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//farm book//what is due//EN",
        "CALSCALE:GREGORIAN",
        f"X-WR-CALNAME:{escaped(name)}",
        *[line for one in due for line in _event(one, stamp)],
        "END:VCALENDAR",
    ]
    return "".join(f"{folded(line)}\r\n" for line in lines).encode()


def _event(due: Due, stamp: datetime) -> Iterator[str]:
    """One all-day event; its end is the day after the last (RFC 5545 3.6.1)."""
    yield "BEGIN:VEVENT"
    yield f"UID:{due.key}@{urlsplit(own_address()).netloc}"
    yield f"DTSTAMP:{stamp.astimezone(UTC):%Y%m%dT%H%M%SZ}"
    yield f"DTSTART;VALUE=DATE:{_day(due.day)}"
    yield f"DTEND;VALUE=DATE:{_day(due.last + timedelta(days=1))}"
    yield f"SUMMARY:{escaped(due.title)}"
    yield f"DESCRIPTION:{escaped(due.about)}"
    yield "TRANSP:TRANSPARENT"
    yield "END:VEVENT"


def _day(day: date) -> str:
    return f"{day:%Y%m%d}"


def escaped(text: str) -> str:
    r"""Escape backslash, semicolon, comma and line breaks (RFC 5545 3.3.11)."""
    for mark in ("\\", ";", ","):
        text = text.replace(mark, f"\\{mark}")
    return "\\n".join(text.splitlines())


def folded(line: str) -> str:
    """Break a line after at most 75 octets, never within a letter (RFC 5545 3.1)."""
    parts, octets = [""], 0
    for letter in line:
        size = len(letter.encode())
        if octets + size > MOST_OCTETS:
            parts.append(" ")
            octets = 1
        parts[-1] += letter
        octets += size
    return "\r\n".join(parts)
