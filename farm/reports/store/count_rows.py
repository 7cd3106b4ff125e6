"""Stock counts as rows: one count beside the book, and the list of them."""

from collections.abc import Sequence

from farm.models import Farm, StockCount
from farm.queries.store.counts import ORDER, Checked, CountRow, Verdict
from farm.reports.report_heading import Made
from farm.reports.rows import Cell, Column, Fact, Kind, Report, Row, Table
from farm.templatetags.farm_format import amount_of

LINES = (
    Column("Lot"),
    Column("What it is"),
    Column("Outcome"),
    Column("What was done"),
    Column("Difference"),
    Column("Found"),
    Column("Book"),
    Column("Should be"),
)
COUNTS = (
    Column("Count"),
    Column("Done", Kind.DATE),
    Column("Where"),
    Column("Agree", Kind.COUNT),
    Column("Water", Kind.COUNT),
    Column("Less", Kind.COUNT),
    Column("More", Kind.COUNT),
    Column("Not counted", Kind.COUNT),
    Column("Unanswered", Kind.COUNT),
    Column("Signed"),
)
SHOWN = (Verdict.AGREES, Verdict.INSIDE, Verdict.BEYOND, Verdict.MORE, Verdict.UNSEEN)
NOTE = (
    "“Should be” is the book less the water that a pick should have lost since it was weighed "
    "last. A difference within 10 g of a weight agrees: it may be the scale's. Nothing here says "
    "where a difference comes from; mostly something was not written down yet."
)


def count_report(count: StockCount, lines: Sequence[Checked], *, farm: Farm, made: Made) -> Report:
    return Report(
        title=f"Stock count {count.pk}",
        subtitle=where_of(count),
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        currency=made.currency,
        facts=(
            Fact("Counted", count.happened_at.astimezone(farm.zone), Kind.DATE),
            Fact("Signed", signed_of(count)),
            Fact("The book's figures", "hidden while counting" if count.hidden else "shown"),
            *(
                Fact(one.value.capitalize(), sum(line.verdict is one for line in lines), Kind.COUNT)
                for one in ORDER
                if any(line.verdict is one for line in lines)
            ),
        ),
        tables=(
            Table("What was found", LINES, tuple(_row(one, farm) for one in lines), note=NOTE),
        ),
    )


def counts_table(rows: Sequence[CountRow], farm: Farm) -> Table:
    cells: list[Row] = []
    for row in rows:
        outcome: tuple[Cell, ...] = tuple(row.found.get(verdict, 0) for verdict in SHOWN)
        when = row.count.happened_at.astimezone(farm.zone)
        cells.append(
            (str(row.count.pk), when, where_of(row.count), *outcome, row.open, signed_of(row.count))
        )
    return Table("Stock counts", COUNTS, tuple(cells))


def where_of(count: StockCount) -> str:
    return str(count.room) if count.room else "everywhere"


def signed_of(count: StockCount) -> str:
    """Say who signed, and in brackets under whose sign-in where that was another's."""
    if count.by_id == count.typed_by_id:
        return count.initials
    return f"{count.initials} by PIN ({count.typed_by.initials})"


def _row(one: Checked, farm: Farm) -> Row:
    line = one.line
    found = "" if line.found is None else amount_of(line.found, line.lot, farm)
    difference = one.difference
    return (
        line.lot.code,
        line.lot.item.name,
        one.verdict.value,
        _answer(one),
        amount_of(difference, line.lot, farm) if difference else "",
        found,
        amount_of(line.book, line.lot, farm),
        amount_of(line.expected, line.lot, farm),
    )


def _answer(one: Checked) -> str:
    if one.answer is None:
        return "open" if one.is_open else ""
    entry = f", entry {one.answer.entry_id}" if one.answer.entry_id else ""
    note = f": {one.answer.note}" if one.answer.note else ""
    return f"{one.answer.get_answered_display()}{entry}{note}"
