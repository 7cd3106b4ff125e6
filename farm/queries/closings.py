"""Closed months: which are, what changed in them since, and what stops the next from closing.

Worked figures ignore closings. The earliest open month shows its own and, row by row, worked now
less all that was frozen; so frozen + since closing + open = worked, and no adjusting entry exists.
"""

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from hashlib import sha256

from django.db.models import Min, QuerySet, Sum
from django.db.models.functions import Coalesce

from farm.models import Bill, ClosedMonth, SaleLine, SellingCost
from farm.queries.canonical import KeptRow, from_text, negated, rows_of, summed
from farm.queries.months import Month, month_of, months_kept
from farm.queries.sales import open_loads
from ledger import waiting
from ledger.balances import whole_book
from ledger.checks import Finding
from ledger.models import Entry, Lot, Seal, Waiting

ONE_DAY = timedelta(days=1)
ROOT_OF_ENTRY = Coalesce("amends__happened_on", "happened_on")


@dataclass(frozen=True)
class Unfinished:
    """Something that must be answered before the month closes; ``page``: where, by its name."""

    what: str
    remedy: str
    page: str


def since_closing() -> list[KeptRow]:
    """Work every closed month anew, less all that was frozen of it: what changed, row by row.

    Flush 1 took 3.5714 in September, closed; spent in October it takes 3.8461: +0.2747.
    A row that a later closing showed is frozen there, and no difference any more.
    """
    worked = [row for month in covered() for row in rows_of(month)]
    return summed([*worked, *negated(frozen_rows())])


def frozen_rows() -> list[KeptRow]:
    """Every row that any closing froze; one query."""
    texts = ClosedMonth.objects.order_by("month").values_list("rows", flat=True)
    return [row for text in texts for row in from_text(text)]


def covered() -> list[Month]:
    """The months that closings answer for: from the first of the book to the last closed."""
    return _up_to(last_closed())


def _up_to(last: ClosedMonth | None) -> list[Month]:
    return months_from(min(_first_day() or last.month, last.month), last.month) if last else []


def last_closed() -> ClosedMonth | None:
    return ClosedMonth.objects.order_by("-month").first()


def closing_of(month: Month) -> ClosedMonth | None:
    return ClosedMonth.objects.filter(month=month.first).select_related("by__user").first()


def earliest_open() -> Month | None:
    """The month to close next: after the last closed, else the first with anything in it."""
    return _after(last_closed())


def _after(last: ClosedMonth | None) -> Month | None:
    first = month_after(last.month) if last else _first_day()
    return _month(first) if first else None


def months_shown() -> list[Month]:
    """List the months to look at, newest first: with entries, closed, or to be closed next."""
    last = last_closed()
    found = {month.first: month for month in [*months_kept(), *_up_to(last)]}
    following = _after(last)
    if following:
        found[following.first] = following
    return [found[first] for first in sorted(found, reverse=True)]


def late_for(entry: Entry) -> str:
    """Name the closed month that an entry recorded since belongs to, or ''; one or two queries."""
    root = entry.amends or entry
    month = _month(root.happened_on)
    closed = ClosedMonth.objects.filter(month__gte=month.first).order_by("month").first()
    return month.name if closed and entry.seq > closed.until_seq else ""


def late_entries() -> list[Entry]:
    """Entries recorded after the month that they belong to was closed, newest first.

    A correction belongs to the month of what it corrects.
    """
    found: list[Entry] = []
    below: date | None = None
    for closed in ClosedMonth.objects.order_by("month"):
        rows = Entry.objects.annotate(day=ROOT_OF_ENTRY).filter(seq__gt=closed.until_seq)
        rows = rows.filter(day__lt=month_after(closed.month))
        found += rows.filter(day__gte=below) if below else rows
        below = month_after(closed.month)
    return sorted(found, key=lambda entry: -entry.seq)


def unfinished_of(month: Month) -> list[Unfinished]:
    """List what was refused and still waits, and loads not settled, up to the month's end."""
    waits = [
        Unfinished(
            f"{row.kind} of {_stated_day(row)}: {row.refusal}",
            "Open it again under To sort out and record it, or drop it with a reason.",
            "unfinished",
        )
        for row in waiting.unanswered()
        if _stated_day(row) <= month.last
    ]
    loads = [
        Unfinished(
            f"load for {load.place} on {load.day} (entry {load.entry_id}) is not settled",
            "Record “Settle a stall day”: what came back; or undo the load.",
            "settle",
        )
        for load in open_loads().filter(day__lte=month.last)
    ]
    return [*waits, *loads]


def provisional_lots(month: Month) -> QuerySet[Lot]:
    """Blocks whose flushes are still shared by what is expected; they stop no closing."""
    return Lot.objects.filter(shares_open=True, made_by__happened_on__lte=month.last)


# --- that it adds up -------------------------------------------------------------------------


def closings_add_up() -> Finding:
    """Frozen rows, what changed since, and the open months come to the whole book; bytes hold."""
    last = last_closed()
    until = Entry.objects.order_by("-happened_on").values_list("happened_on", flat=True).first()
    start = month_after(last.month) if last else _first_day()
    opened = months_from(start, until) if start and until else []
    shown = totals([*frozen_rows(), *since_closing(), *(r for m in opened for r in rows_of(m))])
    book = _book_totals()
    broken = next(
        (f"{name}: months come to {shown[name]}, the book to {book[name]}"
         for name in book if shown[name] != book[name]),
        "",
    )  # fmt: skip
    count = ClosedMonth.objects.count()
    return Finding(
        "closed and open months come to the whole book", f"{count} closed", broken or _changed()
    )


def totals(rows: Iterable[KeptRow]) -> dict[str, int]:
    """Add rows up over all months, by table and number; of what came in and went, by kind."""
    sums: dict[str, int] = defaultdict(int)
    for row in rows:
        for name, number in row.numbers.items():
            where = f"{row.table} {row.key[0]}" if row.table == "cost" else row.table
            sums[f"{where} {name}"] += number
    return sums


def _book_totals() -> dict[str, int]:
    """The same sums from the whole book, without any month."""
    book = whole_book()
    net = SaleLine.objects.aggregate(total=Sum("net"))["total"] or 0
    selling = SellingCost.objects.aggregate(total=Sum("amount"))["total"] or 0
    return {
        "sales net_money": net,
        "sales cost_of_sales_money": sum(book.sold),
        "selling selling_costs_money": selling,
        "losses lost_money": sum(book.lost),
        "stock stock_money": sum(book.stock),
        "cost sold materials_money": book.sold[0],
        "cost lost materials_money": book.lost[0],
    }


def _changed() -> str:
    """Name the first frozen bytes that are no longer what was frozen."""
    for closed in ClosedMonth.objects.prefetch_related("files"):
        if digest(closed.rows.encode()) != closed.sha256:
            return f"the frozen rows of {closed} are changed"
        head = Seal.objects.filter(pk=closed.until_seq).first()
        if closed.head_digest != (head.digest if head else ""):
            return f"entry {closed.until_seq} is not sealed as it was when {closed} was closed"
        for file in closed.files.all():
            if digest(bytes(file.content)) != file.sha256:
                return f"the frozen file {file} is changed"
    return ""


def digest(content: bytes) -> str:
    return sha256(content).hexdigest()


# --- days and months -------------------------------------------------------------------------


def months_from(first: date, last: date) -> list[Month]:
    """List the months from the one of a day to the one of another."""
    found, day = [], first.replace(day=1)
    while day <= last:
        found.append(_month(day))
        day = month_after(day)
    return found


def month_after(day: date) -> date:
    return _month(day).last + ONE_DAY


def _month(day: date) -> Month:
    return month_of(f"{day:%Y-%m}")


def _first_day() -> date | None:
    """The first day of which the book or a bill knows something; two queries."""
    days: Iterator[date | None] = iter((
        Entry.objects.aggregate(day=Min("happened_on"))["day"],
        Bill.objects.aggregate(day=Min("month"))["day"],
    ))  # fmt: skip
    return min((day for day in days if day), default=None)


def _stated_day(row: Waiting) -> date:
    """The day that a form which waits says it was done on; else the day it was sent."""
    try:
        return date.fromisoformat(json.loads(row.payload)["when"][0][:10])
    except (KeyError, IndexError, TypeError, ValueError):
        return row.kept_at.date()
