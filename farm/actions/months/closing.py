"""Close a month: freeze its rows and its files as they stand, once nothing is unfinished.

Closing changes nothing in the book: worked figures ignore it. What changes afterwards shows as
“since closing” in the earliest open month (`farm.queries.months.closings`).
"""

from collections.abc import Callable, Mapping
from datetime import datetime

from django.db import transaction

from farm import habits
from farm.models import ClosedFile, ClosedMonth, Person, the_farm
from farm.queries.cells import cells_as_text
from farm.queries.months.canonical import as_text
from farm.queries.months.closings import (
    Closing,
    Closings,
    closings,
    digest,
    month_and_closed,
    unfinished_of,
)
from farm.queries.months.months import Month
from ledger import book
from ledger.checks import CHECKS
from ledger.errors import Malformed
from ledger.sealing import head_digest

# Lays a closing out as files, by name: reports know how, actions do not.
Produce = Callable[[Closing], Mapping[str, bytes]]


@transaction.atomic
def close_month(by: Person, month: Month, *, at: datetime, produce: Produce) -> ClosedMonth:
    """Close the earliest open month, once it is over, sound and finished.

    Its rows, the rows shown under “since closing”, and the files made of both are frozen; each
    with its SHA-256; and the grams and cents that it handed out. Raises Malformed with the
    remedy, and freezes nothing.
    """
    head = book.lock_head()  # nothing is recorded meanwhile
    check_may_close(month, at)
    _check_book()
    closing = Closing(month, *month_and_closed(month, closings()), head_digest())
    rows = as_text([*closing.beside.own, *closing.beside.since])
    files = produce(closing)
    closed = ClosedMonth.objects.create(
        month=month.first,
        closed_at=at,
        by=by,
        until_seq=head.seq,
        head_digest=closing.head,
        rows=rows,
        sha256=digest(rows.encode()),
        cells=cells_as_text(closing.found.within(month.first, month.last)),
    )
    ClosedFile.objects.bulk_create(
        ClosedFile(closed=closed, name=name, content=content, sha256=digest(content))
        for name, content in files.items()
    )
    return closed


def check_may_close(month: Month, at: datetime) -> None:
    """Refuse, with the remedy, a month out of order, not over, or with something unfinished."""
    _check_order(month, closings())
    _check_over(month, at)
    _check_unfinished(month)


def _check_order(month: Month, known: Closings) -> None:
    closed = known.of(month)
    if closed:
        raise Malformed(
            f"{month.name} is closed already, since {habits.day(closed.closed_at)}. What comes "
            "late stands in the earliest open month."
        )
    first = known.earliest_open
    if first is None:
        raise Malformed(f"Nothing is recorded yet, so {month.name} cannot be closed.")
    if month != first:
        raise Malformed(
            f"Months close in order: {first.name} is the earliest open one, not {month.name}. "
            f"Close {first.name} first."
        )


def _check_over(month: Month, at: datetime) -> None:
    today = at.astimezone(the_farm().zone).date()
    if today <= month.last:
        raise Malformed(
            f"{month.name} runs to the end of {habits.day(month.last)}. Close it after that day."
        )


def _check_unfinished(month: Month) -> None:
    left = unfinished_of(month)
    if left:
        named = " ".join(f"{one.what.rstrip('.')}. {one.remedy}" for one in left[:3])
        raise Malformed(
            f"{month.name} has {len(left)} unfinished; answer {'it' if len(left) == 1 else 'them'} "
            f"before closing. {named}"
        )


def _check_book() -> None:
    for check in CHECKS:
        finding = check()
        if finding.broken:
            raise Malformed(
                f"The book does not hold: {finding.truth}: {finding.broken}. Nothing is closed "
                "before it does; manage.py audit_book says what is wrong."
            )
