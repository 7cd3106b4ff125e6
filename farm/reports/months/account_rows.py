"""What customers owe, and what is held for their boxes, rolled from a start to an end, as rows.

Each row adds up from its first sum to its last; so do the totals. Customers stand by number, as in
every table of a month.
"""

from collections.abc import Callable, Sequence
from datetime import date

from farm.queries.roll_forward import NO_SHARE, Rolled
from farm.reports.report_heading import NUMBER
from farm.reports.rows import Column, Fact, Kind, Row, Table, total_row

OWED, HELD = "From what was owed to what is owed", "From what was held for boxes to what is held"
SINCE = "Since closing"
NOTE = (
    "Owed at the start + invoiced - credited - paid + paid back - given up = owed at the end; "
    "below zero, the customer has money to get back. Given up: what is owed no more though it was "
    "not paid, less what customers left to the farm and what was paid after all; its sales tax "
    "stays as it was sold."
)
HELD_NOTE = (
    "Held at the start + paid ahead - boxes - paid back - left to the farm = held at the end; "
    "below zero, boxes were given that are not paid. Money paid ahead is no income."
)
WORKED_NOTE = " As worked now: what came late for a closed month counts in the month of its day."
SINCE_NOTE = " The start is as it was closed; what came late for closed months stands beside it."

Part = tuple[str, Callable[[Rolled], int]]
ACCOUNT: tuple[Part, ...] = (
    ("Invoiced", lambda one: one.invoiced),
    ("Credited", lambda one: one.credited),
    ("Paid", lambda one: one.paid),
    ("Paid back", lambda one: one.paid_back),
    ("Given up", lambda one: one.given_up),
)
DEPOSIT: tuple[Part, ...] = (
    ("Paid ahead", lambda one: one.paid),
    ("Boxes", lambda one: one.boxes),
    ("Paid back", lambda one: one.paid_back),
    ("Left to the farm", lambda one: one.given_up),
)
START: Part = ("At the start", lambda one: one.start)
LATE: Part = (SINCE, lambda one: one.since)
END: Part = ("At the end", lambda one: one.end)


def rolled_tables(rolled: Sequence[Rolled]) -> list[Table]:
    """Roll the accounts and the deposits of some days; no table where there is none."""
    accounts = [one for one in rolled if one.share == NO_SHARE]
    deposits = [one for one in rolled if one.share != NO_SHARE]
    tables = []
    if accounts:
        tables.append(_table(OWED, accounts, ACCOUNT))
    if deposits:
        tables.append(_table(HELD, deposits, DEPOSIT))
    return tables


def rolled_by_month_tables(months: Sequence[tuple[date, Sequence[Rolled]]]) -> list[Table]:
    """Roll on from month to month, all customers together."""
    return [
        table
        for of_shares, title, parts in ((False, OWED, ACCOUNT), (True, HELD, DEPOSIT))
        if (table := _by_month(months, title, parts, of_shares=of_shares))
    ]


def settled_facts(rolled: Sequence[Rolled]) -> list[Fact]:
    """What was paid back and given up in some days, where anything was."""
    found = (
        ("Paid back to customers", sum(one.paid_back for one in rolled)),
        (
            "Given up, and not in what is left over",
            sum(one.given_up for one in rolled if one.share == NO_SHARE),
        ),
        (
            "Deposits left to the farm, and not in what is left over",
            sum(one.given_up for one in rolled if one.share != NO_SHARE),
        ),
    )
    return [Fact(label, money, Kind.MONEY) for label, money in found if money]


def _table(title: str, rolled: Sequence[Rolled], moves: Sequence[Part]) -> Table:
    late = [LATE] if any(one.since for one in rolled) else []
    parts = [START, *late, *moves, END]
    share = [Column("Share", Kind.COUNT)] * (moves is DEPOSIT)
    columns = (Column(NUMBER), *share, *(Column(name, Kind.MONEY) for name, _ in parts))
    rows: list[Row] = [
        (one.number, *([one.share] if one.share else []), *(of(one) for _, of in parts))
        for one in rolled
    ]
    note = HELD_NOTE if moves is DEPOSIT else NOTE
    total = total_row(columns, rows, {name for name, _ in parts})
    return Table(title, columns, tuple(rows), total, note + SINCE_NOTE * bool(late))


def _by_month(
    months: Sequence[tuple[date, Sequence[Rolled]]],
    title: str,
    parts: Sequence[Part],
    *,
    of_shares: bool,
) -> Table | None:
    whole = [START, *parts, END]
    columns = (Column("Month"), *(Column(name, Kind.MONEY) for name, _ in whole))
    rows: list[Row] = []
    for first, rolled in months:
        among = [one for one in rolled if (one.share != NO_SHARE) is of_shares]
        if among:
            rows.append((f"{first:%Y-%m}", *(sum(of(one) for one in among) for _, of in whole)))
    if not rows:
        return None
    total = total_row(columns, rows, {name for name, _ in parts})  # a start adds up to nothing
    note = (HELD_NOTE if of_shares else NOTE) + WORKED_NOTE
    return Table(title, columns, tuple(rows), total, note)
