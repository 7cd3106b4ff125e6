"""How the farm's country writes numbers, money and days; read by everything that prints them.

The habit in force is a context variable, as Django keeps the time zone: a page works and is
rendered inside ``written_as``. Files for machines (CSV, JSON, spreadsheets) do not ask it.
"""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import date, datetime


@dataclass(frozen=True)
class Habit:
    """``mark``: the decimal mark. ``sign_first``: €12.50, else 12,50 €."""

    words: str
    mark: str
    sign_first: bool
    day: str

    @property
    def doubtful(self) -> str:
        """The mark that others write between thousands."""
        return "," if self.mark == "." else "."


HABITS: Mapping[str, Habit] = {
    "point": Habit("1234.50, €12.50, 3 Oct 2026", ".", True, "%-d %b %Y"),
    "comma": Habit("1234,50, 12,50 €, 3 Oct 2026", ",", False, "%-d %b %Y"),
    "month first": Habit("1234.50, $12.50, Oct 3, 2026", ".", True, "%b %-d, %Y"),
}
_in_force: ContextVar[Habit] = ContextVar("habit", default=HABITS["point"])


@contextmanager
def written_as(name: str) -> Iterator[None]:
    """Write numbers, money and days by the named habit until the block ends."""
    token = _in_force.set(HABITS[name])
    try:
        yield
    finally:
        _in_force.reset(token)


def in_force() -> Habit:
    return _in_force.get()


def marked(digits: str) -> str:
    """Put the decimal mark in force in place of the point: "5.60" is "5,60" by comma."""
    return digits.replace(".", in_force().mark)


def to_places(value: float, places: int) -> str:
    """Write a number to so many decimals, half to even."""
    return marked(f"{value:.{places}f}")


def day(when: date) -> str:
    """Write a day with its weekday: “Sat 3 Oct 2026”, or “Sat Oct 3, 2026”."""
    return when.strftime(f"%a {in_force().day}")


def short_day(when: date) -> str:
    """Write a day without its weekday, for tables and spans: “3 Oct 2026”."""
    return when.strftime(in_force().day)


def short_moment(when: datetime) -> str:
    """Write an instant for tables, given on the farm's clock: “3 Oct 2026, 07:40”."""
    return f"{short_day(when)}, {when:%H:%M}"


def days(first: date, last: date) -> str:
    """Write a span of days: “1 Oct 2026 to 31 Oct 2026”; one day alone as itself."""
    return short_day(first) if first == last else f"{short_day(first)} to {short_day(last)}"


def moment(when: datetime) -> str:
    """Write an instant, given on the farm's clock: “Sat 3 Oct 2026, 07:40”."""
    return f"{day(when)}, {when:%H:%M}"
