"""Closed months: which are, what changed in them since, and what stops the next from closing.

Worked figures ignore closings. The earliest open month shows its own and, row by row, worked now
less all that was frozen; so frozen + since closing + open = worked, and no adjusting entry exists.
"""

import json
from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from hashlib import sha256
from typing import Any

from django.db.models import Model, QuerySet, Sum
from django.db.models.functions import Coalesce, TruncMonth

from farm import habits
from farm.models import (
    Bill,
    ClosedMonth,
    Invoice,
    InvoiceLine,
    Payment,
    SaleLine,
    SellingCost,
)
from farm.queries.months.canonical import KeptRow, from_text, negated, rows_among, rows_of, summed
from farm.queries.months.kept_cells import handed_rows
from farm.queries.months.months import ONE_DAY, Month, month_of, month_with, months_from
from farm.queries.movements import Happened, cells_of, happened
from farm.queries.roll_forward import BALANCES, NO_SHARE, Whose
from farm.queries.sales import open_loads
from ledger import waiting
from ledger.balances import whole_book
from ledger.checks import Finding
from ledger.models import Entry, Lot, Seal, Waiting

# What belongs to a month, and the day by which it does.
DATED: dict[type[Model], str] = {
    Entry: "happened_on", Bill: "month", Payment: "paid_on", Invoice: "issued_on"
}  # fmt: skip
ROOT_OF_ENTRY = Coalesce("amends__happened_on", "happened_on")


@dataclass(frozen=True)
class Unfinished:
    """Something that must be answered before the month closes; ``page``: where, by its name."""

    what: str
    remedy: str
    page: str


@dataclass(frozen=True)
class Closings:
    """``closed``: oldest first, without their rows. ``known``: with anything in it, likewise."""

    closed: tuple[ClosedMonth, ...]
    known: tuple[Month, ...]

    def of(self, month: Month) -> ClosedMonth | None:
        return next((one for one in self.closed if one.month == month.first), None)

    @property
    def covered(self) -> list[Month]:
        """The months that closings answer for: from the first of the book to the last closed."""
        if not self.closed:
            return []
        last = self.closed[-1].month
        return months_from(min([last, *(one.first for one in self.known[:1])]), last)

    @property
    def earliest_open(self) -> Month | None:
        """The month to close next: after the last closed, else the first with anything in it."""
        if self.closed:
            return month_with(month_with(self.closed[-1].month).last + ONE_DAY)
        return self.known[0] if self.known else None

    @property
    def shown(self) -> list[Month]:
        """The months to look at, newest first: with something in, closed, or closed next."""
        following = [month for month in (self.earliest_open,) if month]
        found = {month.first: month for month in (*self.known, *self.covered, *following)}
        return [found[first] for first in sorted(found, reverse=True)]


def closings() -> Closings:
    """Read which months are closed and which have anything in them; two queries."""
    closed = ClosedMonth.objects.defer("rows").select_related("by__user").order_by("month")
    entries, *others = (
        model._default_manager.annotate(first=TruncMonth(day)).order_by().values_list("first")
        for model, day in DATED.items()
    )
    known = entries.union(*others)
    return Closings(tuple(closed), tuple(month_with(first) for (first,) in sorted(known)))


def earliest_open() -> Month | None:
    return closings().earliest_open


@dataclass(frozen=True)
class BesideClosed:
    """What a month shows of the closed ones before it.

    ``own``: its rows. ``since``: what changed in the closed months. ``frozen``: all that was frozen
    of them. ``late``: what was recorded after the month that it belongs to was closed.
    """

    own: list[KeptRow]
    since: list[KeptRow]
    frozen: list[KeptRow]
    late: list[Entry]

    def printed(self) -> "BesideClosed":
        """The same in whole cents and grams, so that what is printed adds up."""
        return replace(
            self,
            own=handed_rows(self.own),
            since=handed_rows(self.since, self.frozen),
            frozen=handed_rows(self.frozen),
        )

    @property
    def late_balances(self) -> dict[Whose, int]:
        """What came late for the closed months, by account and deposit."""
        sums: dict[Whose, int] = defaultdict(int)
        for row in self.since:
            if row.table in BALANCES:
                number, *share = row.key
                whose = (number, int(share[0]) if share else NO_SHARE)
                sums[whose] += row.numbers.get(BALANCES[row.table], 0)
        return sums


@dataclass(frozen=True)
class Closing:
    """A month as it is being closed. ``found``: what happened in it.

    ``head``: the digest of the book's last entry, which covers all of it.
    """

    month: Month
    found: Happened
    beside: BesideClosed
    head: str


def month_and_closed(month: Month, known: Closings) -> tuple[Happened, BesideClosed]:
    """Read a month that comes after the closed ones, and them, in one go; nine queries.

    What happened is that of all these months: what blocks gave so far may reach back.
    """
    covered = known.covered
    found = happened(covered[0].first if covered else month.first, month.last)
    found = replace(found, closed=cells_of(known.closed))
    frozen = frozen_rows() if covered else []
    beside = BesideClosed(
        own=rows_among(found, [month]),
        since=_changed_since(found, covered, frozen),
        frozen=frozen,
        late=late_entries(known),
    )
    return found, beside


def since_closing() -> list[KeptRow]:
    """Work every closed month anew, less all that was frozen of it: what changed, row by row.

    Flush 1 took 3.5714 in September, closed; spent in October it takes 3.8461: +0.2747.
    A row that a later closing showed is frozen there, and no difference any more.
    """
    covered = closings().covered
    if not covered:
        return []
    found = happened(covered[0].first, covered[-1].last)
    return _changed_since(found, covered, frozen_rows())


def changed_in(found: Happened, closed: Iterable[ClosedMonth]) -> list[KeptRow]:
    """Say what changed in closed months, each since it was closed; no queries of its own.

    Worked now less what each month froze of itself, in whole cents and grams. ``found``: those
    months, whole.
    """
    months = {f"{one.month:%Y-%m}": one for one in closed}
    own = [row for key, one in months.items() for row in from_text(one.rows) if row.month == key]
    return handed_rows(_changed_since(found, [month_of(key) for key in months], own), own)


def _changed_since(
    found: Happened, covered: list[Month], frozen: Iterable[KeptRow]
) -> list[KeptRow]:
    return summed([*rows_among(found, covered), *negated(frozen)])


def frozen_rows() -> list[KeptRow]:
    """Every row that any closing froze; one query."""
    texts = ClosedMonth.objects.order_by("month").values_list("rows", flat=True)
    return [row for text in texts for row in from_text(text)]


def late_for(entry: Entry) -> str:
    """Name the closed month that an entry recorded since belongs to, or ''; one or two queries."""
    root = entry.amends or entry
    month = month_with(root.happened_on)
    closed = ClosedMonth.objects.filter(month__gte=month.first).order_by("month").first()
    return month.name if closed and entry.seq > closed.until_seq else ""


def late_entries(known: Closings) -> list[Entry]:
    """Entries recorded after the month that they belong to was closed, newest first; one query.

    A correction belongs to the month of what it corrects.
    """
    if not known.closed:
        return []
    ends = [month_with(one.month).last for one in known.closed]
    rows = Entry.objects.annotate(day=ROOT_OF_ENTRY).select_related("amends")
    rows = rows.filter(seq__gt=known.closed[0].until_seq, day__lte=ends[-1]).order_by("-seq")
    return [
        one for one in rows if one.seq > known.closed[bisect_left(ends, _root_day(one))].until_seq
    ]


def _root_day(entry: Entry) -> date:
    return (entry.amends or entry).happened_on


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
            f"load for {load.place} on {habits.short_day(load.day)} (entry {load.entry_id}) is "
            "not settled",
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
    known = closings()
    opened = [month for month in known.known if month not in known.covered]
    worked = [row for month in opened for row in rows_of(month)]
    shown = totals([*frozen_rows(), *since_closing(), *worked])
    book = _book_totals()
    broken = next(
        (
            f"{name}: months come to {shown[name]}, the book to {book[name]}"
            for name in book
            if shown[name] != book[name]
        ),
        "",
    )
    return Finding(
        "closed and open months come to the whole book",
        f"{len(known.closed)} closed",
        broken or _changed(),
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
    owed, held = _owed_and_held()
    return {
        "owed owed_money": owed,
        "deposits held_money": held,
        "sales net_money": net,
        "sales cost_of_sales_money": sum(book.sold),
        "selling selling_costs_money": selling,
        "losses lost_money": sum(book.lost),
        "stock stock_money": sum(book.stock),
        "cost sold materials_money": book.sold[0],
        "cost lost materials_money": book.lost[0],
    }


def _owed_and_held() -> tuple[int, int]:
    """What all papers and payments leave owed, and all deposits and boxes held, of any day."""

    def added(rows: QuerySet[Any], money: str) -> int:
        return rows.aggregate(total=Sum(money))["total"] or 0

    papers = InvoiceLine.objects.exclude(invoice__customer=None)
    boxes = SaleLine.objects.filter(sale__note__box__isnull=False)
    paid = added(Payment.objects.filter(share=None), "amount_money")
    ahead = added(Payment.objects.exclude(share=None), "amount_money")
    return added(papers, "sale_line__gross") - paid, ahead - added(boxes, "gross")


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


def _stated_day(row: Waiting) -> date:
    """The day that a form which waits says it was done on; else the day it was sent."""
    try:
        return date.fromisoformat(json.loads(row.payload)["when"][0][:10])
    except (KeyError, IndexError, TypeError, ValueError):
        return row.kept_at.date()
