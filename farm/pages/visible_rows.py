"""Which rows a person is shown: a seller their own stalls, an inspector a span of days.

Everybody else with the right to a page is shown all of its rows. Pages take their rows from here,
so that a row of somebody else's is not found, wherever its number or code is typed.

An inspector sees what happened, or was recorded to have happened, on the days of the span, with
every correction of it, whenever that was made. The trace of a lot of the span names all lots
behind and after it, as a chain cut by a date is no trace; but nothing before or after the span
can be opened, and its sales, losses, runs and works stay out.
"""

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from typing import Protocol, TypeVar

from django.db.models import Q, QuerySet
from django.utils import timezone

from farm import habits
from farm.exchange.choosing import Asked
from farm.models import (
    Drill,
    Person,
    PlaceKind,
    Recall,
    Record,
    Role,
    SaleLine,
    SellingPlace,
    StallDay,
    the_farm,
)
from farm.queries.tracing.traces import Trace
from ledger.models import Entry, Lot


class OnDay(Protocol):
    @property
    def day(self) -> date: ...


class AtTime(Protocol):
    @property
    def at(self) -> datetime: ...


Dated = TypeVar("Dated", bound=OnDay)
Timed = TypeVar("Timed", bound=AtTime)
Opened = TypeVar("Opened", Recall, Drill)


def lots(person: Person, rows: QuerySet[Lot]) -> QuerySet[Lot]:
    """A seller's are those they loaded; an inspector's, those that something of the span names."""
    if is_seller(person):
        return rows.filter(load_lines__stall_day__in=_own_loads(person)).distinct()
    if span_of(person):
        touched = entries(person, Entry.objects.order_by()).values("pk")
        return rows.filter(Q(lines__entry__in=touched) | Q(marks__entry__in=touched)).distinct()
    return rows


def entries(person: Person, rows: QuerySet[Entry]) -> QuerySet[Entry]:
    """A seller's are those of their stalls and their own; an inspector's, those of the span."""
    if is_seller(person):
        own = _own_loads(person)
        return rows.filter(
            Q(by__in=_them(person)) | Q(stall_day__in=own) | Q(sale__stall_day__in=own)
        )
    span = span_of(person)
    if span:
        of_span = Entry.objects.order_by().filter(happened_on__range=span)
        return rows.filter(Q(happened_on__range=span) | Q(place__in=of_span.values("place")))
    return rows


def records(person: Person, rows: QuerySet[Record]) -> QuerySet[Record]:
    """An inspector's are those of the span, with what corrects or is corrected by them."""
    span = span_of(person)
    if not span:
        return rows
    return rows.filter(Q(happened_on__range=span) | Q(corrects__happened_on__range=span))


def loads(person: Person, rows: QuerySet[StallDay]) -> QuerySet[StallDay]:
    """A seller's are those that they loaded or will sell."""
    return rows.filter(_own(person)) if is_seller(person) else rows


def sale_lines(person: Person, rows: QuerySet[SaleLine]) -> QuerySet[SaleLine]:
    """A seller's are those of their stall days, and what they sold themselves."""
    if not is_seller(person):
        return rows
    own = Q(sale__stall_day__in=_own_loads(person))
    return rows.filter(own | Q(sale__entry__by__in=_them(person)))


def places(person: Person, rows: QuerySet[SellingPlace]) -> QuerySet[SellingPlace]:
    """A seller sells at stalls; what kitchens pay is not theirs to see."""
    return rows.filter(kind=PlaceKind.STALL) if is_seller(person) else rows


def recalls(person: Person, rows: QuerySet[Recall]) -> QuerySet[Recall]:
    return _opened(person, rows, "opened_at")


def drills(person: Person, rows: QuerySet[Drill]) -> QuerySet[Drill]:
    return _opened(person, rows, "started_at")


def days(person: Person, first: date, last: date) -> tuple[date, date]:
    """Narrow some days to those that the person may see; none may be left, the last before first.

    1 May to 31 July, of a span from 10 June on, are 10 June to 31 July.
    """
    span = span_of(person)
    return (max(first, span[0]), min(last, span[1])) if span else (first, last)


def usual_days(person: Person, today: date, back: timedelta) -> tuple[date, date]:
    """The newest days that the person may see, so many back, for a form where none are typed."""
    span = span_of(person)
    last = min(today, span[1]) if span else today
    return max(last - back, span[0]) if span else last - back, last


def trace(person: Person, whole: Trace) -> Trace:
    """Leave out what happened outside an inspector's span, and sums of it; the lots stay."""
    span = span_of(person)
    if not span:
        return whole
    return replace(
        whole,
        runs=_timed(whole.runs, span),
        sales=_dated(whole.sales, span),
        loads=_dated(whole.loads, span),
        given=_dated(whole.given, span),
        losses=_dated(whole.losses, span),
        works=_timed(whole.works, span),
        balances=(),
    )


def asked(person: Person, of: Asked) -> Asked:
    """Narrow what an export is asked for to the entries that the person may see."""
    span = span_of(person)
    if not span:
        return of
    words = f"{of.words}; of {span_words(person)}"
    return replace(of, entries=entries(person, of.entries), words=words)


# --- who ---------------------------------------------------------------------------------------


def is_seller(person: Person) -> bool:
    """Say whether only their own stalls are shown: by their role, or by the device's sign-in."""
    return any(one.role == Role.SELLER for one in _both(person))


def span_of(person: Person) -> tuple[date, date] | None:
    """The days that an inspector may see, both included; None: no limit."""
    if person.role != Role.INSPECTOR:
        return None
    assert person.from_day and person.until_day, "the database asks for both"
    return person.from_day, person.until_day


def span_words(person: Person) -> str:
    span = span_of(person)
    return habits.days(*span) if span else "all days"


def _both(person: Person) -> tuple[Person, ...]:
    under = person.entering_under
    return (person,) if under is None else (person, under)


def _them(person: Person) -> list[int]:
    return [one.pk for one in _both(person)]


def _own(person: Person) -> Q:
    them = _them(person)
    return Q(entry__by__in=them) | Q(seller__in=them)


def _own_loads(person: Person) -> "QuerySet[StallDay, int]":
    return StallDay.objects.filter(_own(person)).order_by().values_list("pk", flat=True)


# --- days --------------------------------------------------------------------------------------


def _opened(person: Person, rows: QuerySet[Opened], field: str) -> QuerySet[Opened]:
    span = span_of(person)
    if not span:
        return rows
    zone = the_farm().zone
    first = datetime.combine(span[0], time.min, zone)
    last = datetime.combine(span[1], time.max, zone)
    return rows.filter(**{f"{field}__range": (first, last)})


def _dated(rows: Iterable[Dated], span: tuple[date, date]) -> tuple[Dated, ...]:
    return tuple(row for row in rows if span[0] <= row.day <= span[1])


def _timed(rows: Iterable[Timed], span: tuple[date, date]) -> tuple[Timed, ...]:
    return tuple(row for row in rows if span[0] <= timezone.localdate(row.at) <= span[1])
