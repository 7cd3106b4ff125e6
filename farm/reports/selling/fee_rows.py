"""A market's fee sheet: what was sold there, day by day, and the fee that follows from it."""

from collections.abc import Sequence
from datetime import date

from farm import habits
from farm.models import SellingPlace
from farm.queries.selling.fee_sheet import FeeDay
from farm.reports.report_heading import Made
from farm.reports.rows import Column, Fact, Kind, Report, Row, Table, total_row

COLUMNS = (
    Column("Day", Kind.DATE), Column("Sales without tax", Kind.MONEY), Column("Tax", Kind.MONEY),
    Column("Sales", Kind.MONEY), Column("Fee of the day", Kind.MONEY),
    Column("Share of sales", Kind.MONEY),
)  # fmt: skip


def fee_report(
    place: SellingPlace, days: Sequence[FeeDay], *, span: tuple[date, date], made: Made
) -> Report:
    """Lay out one place's sales; nothing in it is of another place, a customer, or a cost."""
    rows: tuple[Row, ...] = tuple(
        (one.day, one.net, one.tax, one.gross, one.day_fee, one.share) for one in days
    )
    summed = {column.name for column in COLUMNS if column.kind is Kind.MONEY}
    return Report(
        title=f"Sales at {place}",
        subtitle=f"from {habits.days(*span)}, both days included",
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        facts=(
            Fact("Market days", len(days), Kind.COUNT),
            Fact("Sales, tax in them", sum(one.gross for one in days), Kind.MONEY),
            Fact("Fee", sum(one.day_fee + one.share for one in days), Kind.MONEY),
        ),
        tables=(Table("Day by day", COLUMNS, rows, total_row(COLUMNS, rows, summed)),),
        currency=made.currency,
    )
