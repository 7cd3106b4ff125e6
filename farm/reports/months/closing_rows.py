"""What the month's report says of closing: bills, what changed since, what came late, the files."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import tzinfo

from farm import habits
from farm.models import ClosedMonth
from farm.queries.cells import handed_money
from farm.queries.months.bills import NO_BILL, charged_and_billed, missing_words
from farm.queries.months.canonical import KeptRow
from farm.queries.months.closings import (
    BesideClosed,
    Closing,
    Closings,
    changed_in,
    month_and_closed,
    totals,
)
from farm.queries.months.months import Month, Only, Span, month_figures, month_of
from farm.queries.movements import Happened, Money, cells_of, closed_among, given_since, happened
from farm.queries.roll_forward import beside_closed
from farm.reports import stored_reports
from farm.reports.files import files_of
from farm.reports.months.csv_rows import csv_bytes
from farm.reports.months.month_rows import month_report
from farm.reports.report_heading import Made
from farm.reports.rows import Column, Fact, Kind, Report, Row, Table, total_row
from farm.reports.text import text
from ledger.models import Entry

TITLES = {
    "sales": "sales by line",
    "selling": "selling costs",
    "harvest": "harvest",
    "losses": "losses by stage and reason",
    "stock": "stock",
    "goods": "where the crop went",
    "tax": "sales tax by rate",
    "cost": "the book's cost",
    "bills": "bills against rates",
    "owed": "what customers owe",
    "deposits": "deposits for boxes",
}
ENDINGS = {"_mg": Kind.MASS, "_pieces": Kind.COUNT, "_money": Kind.MONEY}
BELONGS = Column("Belongs to")
# What a month adds to each sum, in the words of its facts.
SUMS = {
    "sales net_money": "Sales, net of tax",
    "sales cost_of_sales_money": "Cost of sales",
    "selling selling_costs_money": "Selling costs",
    "harvest cost_carried_in_money": "Cost carried into the harvest",
    "losses lost_money": "Lost",
    "stock stock_money": "Cost in stock",
    "bills under_charged_money": "Bills beyond what was charged, where there are any",
    "owed owed_money": "Owed by customers, less paid ahead",
    "deposits held_money": "Deposits held for boxes",
}
BILLS = (
    Column("Kind of cost"),
    Column("Bills", Kind.MONEY),
    Column("Charged by rates", Kind.MONEY),
    Column("Difference", Kind.MONEY),
    Column("In words"),
)
LATE = (
    Column("Belongs to"), Column("Entry"), Column("What"), Column("Done on", Kind.DATE),
    Column("Recorded on", Kind.DATE), Column("Changes entry"),
)  # fmt: skip
FILES = (Column("File"), Column("Bytes", Kind.COUNT), Column("SHA-256"))


def open_report(month: Month, made: Made, known: Closings) -> Report:
    """Report an open month; the earliest of them also shows what changed in closed ones."""
    is_earliest = month == known.earliest_open
    state = "open, the earliest: closed next" if is_earliest else "open"
    if not (is_earliest and known.closed):
        found = happened(month.first, month.last)
        return _with_closing(month, made, state=state, found=found, beside=None)
    found, beside = month_and_closed(month, known)
    return _with_closing(month, made, state=state, found=found, beside=beside)


def days_report(days: Span, only: Only, made: Made) -> Report:
    """Report any days as worked now; what that changes in months that are closed is listed.

    All since the blocks that were picked then first gave is read along; nineteen queries at most.
    """
    back = given_since(days.first, days.last)
    closed = closed_among(back, days.last)
    found = replace(happened(back, days.last), closed=cells_of(closed))
    report = month_report(month_figures(days, only, found), made)
    touched = [one for one in closed if one.month >= days.first.replace(day=1)]
    since = [] if only.words else changed_in(found, touched)
    if not since:
        return report
    changed = ", ".join(dict.fromkeys(month_of(row.month).name for row in since))
    words = f"of {changed}: counted here, listed below, and not in what was frozen"
    facts = (Fact("Changed since closing", words), *_since_facts(since))
    return replace(
        report, facts=(*report.facts, *facts), tables=(*report.tables, *since_tables(since))
    )


def closing_files(closing: Closing, made: Made) -> dict[str, bytes]:
    """Lay out what a closing freezes: PDF, spreadsheet, CSV of the rows, text, and the report.

    The chain's head is printed on it: whoever keeps the paper can tell a book written anew.
    """
    month, beside = closing.month, closing.beside
    state = f"closed {habits.short_moment(made.at)} by {made.by}"
    shown = beside if beside.frozen else None
    report = _with_closing(month, made, state=state, found=closing.found, beside=shown)
    head = Fact("Head of the chain", _spaced(closing.head))
    report = replace(report, facts=(*report.facts, head))
    contents = {
        **files_of(report),
        "csv": csv_bytes([*beside.own, *beside.since]),
        "txt": text(report).encode(),
        "json": stored_reports.as_text(report).encode(),
    }
    return {f"month-{month.key}.{ending}": content for ending, content in contents.items()}


def _spaced(digest: str) -> str:
    """Write a digest in eights, to be compared by eye and to fit any width."""
    return " ".join(digest[at : at + 8] for at in range(0, len(digest), 8)) or "no entry"


def closed_report(closed: ClosedMonth) -> Report:
    """Show a closed month as it was frozen, and under it the files with their SHA-256."""
    files = list(closed.files.all())
    frozen = next(file for file in files if file.name.endswith(".json"))
    report = stored_reports.from_text(bytes(frozen.content).decode())
    rows: list[Row] = [(file.name, len(file.content), file.sha256) for file in files]
    rows.append(("the rows", len(closed.rows.encode()), closed.sha256))
    note = "As they were made at closing; each later request is given these bytes."
    return replace(
        report, tables=(*report.tables, Table("Frozen files", FILES, tuple(rows), note=note))
    )


def _with_closing(
    month: Month, made: Made, *, state: str, found: Happened, beside: BesideClosed | None
) -> Report:
    figures = month_figures(month, found=found)
    if beside is not None:
        figures = replace(
            figures, rolled=tuple(beside_closed(figures.rolled, beside.late_balances))
        )
    report = month_report(figures, made)
    money = found.within(month.first, month.last).money
    facts, tables = [*report.facts, *_bills_missing(money)], [bills_table(money)]
    if beside is not None:
        told = beside.printed()
        facts += _since_facts(told.since)
        late = _late(told.late, made.at.tzinfo)
        tables += [*since_tables(told.since), *late, _whole(month, told)]
    return replace(report, facts=(Fact("State", state), *facts), tables=(*report.tables, *tables))


def _since_facts(since: Iterable[KeptRow]) -> list[Fact]:
    return [
        Fact(f"Since closing: {label}", money, Kind.MONEY)
        for label, money in _sums(since).items()
        if money
    ]


# --- bills -----------------------------------------------------------------------------------


def bills_table(money: Money) -> Table:
    """Compare a month's bills with what was charged in it."""
    rows: list[Row] = [
        (row.kind.label, row.billed, row.charged, row.under_charged, in_words(row.under_charged))
        if row.is_billed
        else (row.kind.label, None, row.charged, None, NO_BILL if row.is_missing else "")
        for row in charged_and_billed(handed_money(money))
    ]
    note = (
        "What the month's bills came to, and what was charged to lots and selling places in "
        "their place. The difference, bills less charged, belongs to the month; no lot's cost "
        "changes. A kind without any bill is missing, not nothing: it has no difference, and the "
        "total leaves it out. Materials are what was paid; own hours are nobody's bill."
    )
    known = [at for at in (1, 2, 3) if any(row[at] is not None for row in rows)]
    summed = {BILLS[at].name for at in known}
    missing = missing_words(money)
    total = (*total_row(BILLS, rows, summed)[:-1], f"without {missing}" if missing else None)
    return Table("Bills against what the rates charged", BILLS, tuple(rows), total, note)


def _bills_missing(money: Money) -> list[Fact]:
    """Name the kinds that were charged and have no bill: unknown, and not nothing."""
    missing = missing_words(money)
    return [Fact("Bills missing", missing)] if missing else []


def in_words(under_charged: int) -> str:
    if not under_charged:
        return "agrees"
    return "under-charged" if under_charged > 0 else "over-charged"


# --- since closing ---------------------------------------------------------------------------


def since_tables(since: Iterable[KeptRow]) -> list[Table]:
    """Show row by row what changed in closed months: worked now less all that was frozen."""
    by_table: dict[str, list[KeptRow]] = {}
    for row in since:
        by_table.setdefault(row.table, []).append(row)
    note = "Worked now, less all that was frozen: corrections, late entries, flushes now known."
    return [
        _since(name, rows, note=note if at == 0 else "")  # said once
        for at, (name, rows) in enumerate(by_table.items())
    ]


def _since(name: str, changed: Sequence[KeptRow], *, note: str) -> Table:
    words = list(dict.fromkeys(word for row in changed for word in row.words))
    given = (name for row in changed for name, number in row.numbers.items() if number)
    numbers = list(dict.fromkeys(given))
    columns = (
        BELONGS,
        *(Column(word.capitalize()) for word in words),
        *(_number_column(number) for number in numbers),
    )
    rows: list[Row] = [
        (
            month_of(row.month).name,
            *(row.words.get(word, "") for word in words),
            *(row.numbers.get(number, 0) for number in numbers),
        )
        for row in changed
    ]
    total = total_row(columns, rows, {column.name for column in columns if column.is_number})
    return Table(f"Since closing: {TITLES[name]}", columns, tuple(rows), total, note)


def _number_column(name: str) -> Column:
    ending = next(end for end in ENDINGS if name.endswith(end))
    pieces = ", pieces" if ending == "_pieces" else ""
    plain = name.removesuffix(ending).replace("_", " ").capitalize()
    return Column(plain + pieces, ENDINGS[ending])


def _late(entries: Sequence[Entry], zone: tzinfo | None) -> list[Table]:
    if not entries:
        return []
    rows: list[Row] = [
        (
            f"closed {belongs_to(entry)}",
            str(entry.seq),
            entry.kind,
            entry.happened_on,
            entry.recorded_at.astimezone(zone).date(),
            str(entry.amends_id or ""),
        )
        for entry in entries
    ]
    return [Table("Recorded late, for closed months", LATE, tuple(rows))]


def belongs_to(entry: Entry) -> str:
    """Name the month that an entry counts in: a correction in that of what it corrects."""
    return f"{(entry.amends or entry).happened_on:%B %Y}"


def _whole(month: Month, beside: BesideClosed) -> Table:
    """Show that frozen + since closing + this month = worked, for the main sums."""
    frozen, later, open_now = map(_sums, (beside.frozen, beside.since, beside.own))
    columns = (
        Column("Up to this month"),
        *(Column(name, Kind.MONEY) for name in ("Frozen", "Since closing", month.name, "Worked")),
    )
    rows: list[Row] = [
        (
            label,
            frozen[label],
            later[label],
            open_now[label],
            frozen[label] + later[label] + open_now[label],
        )
        for label in SUMS.values()
    ]
    return Table(
        "How closed and open make the whole",
        columns,
        tuple(rows),
        note="Frozen + since closing + this month = worked.",
    )


def _sums(rows: Iterable[KeptRow]) -> Mapping[str, int]:
    found = totals(rows)
    return {label: found[name] for name, label in SUMS.items()}
