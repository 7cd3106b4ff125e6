"""The months of the played year, closed one after the other, and what was put right afterwards."""

from farm.actions.accounts.invoicing import issue_change
from farm.actions.months.closing import close_month
from farm.actions.recording.correcting import correct_quantity
from farm.demo.clock import Year
from farm.demo.scenery import GRAM
from farm.models import InvoiceLine, the_farm
from farm.queries.months.closings import closings
from farm.queries.months.months import month_with
from farm.reports.months.closing_rows import closing_files
from farm.reports.report_heading import made_for
from ledger.models import Role

CLOSING_DAY = 6  # of the next month, once its invoices are out and the bills are in
TOO_MUCH_MG = 100 * GRAM


def close_last_month(year: Year) -> None:
    """Close the month before, some days after its end, as it is then."""
    if year.clock.day != CLOSING_DAY:
        return
    month, owner = closings().earliest_open, year.scenery.people["nora"]
    if month and month.last < year.clock.date():
        made = made_for(the_farm(), str(owner), year.clock)
        close_month(
            owner, month, at=year.clock, produce=lambda closing: closing_files(closing, made)
        )


def put_right(year: Year) -> None:
    """Correct a delivery of the last closed month: the kitchen weighed it again, and found less.

    It shows since closing in the month that is open, and the kitchen gets a credit note.
    """
    closed = closings().closed
    if not closed:
        return
    last = month_with(closed[-1].month)
    lines = InvoiceLine.objects.filter(
        sale_line__line__role=Role.SOLD,
        sale_line__line__quantity__lt=-2 * TOO_MUCH_MG,
        sale_line__line__entry__happened_on__range=(last.first, last.last),
    )
    line = lines.select_related("sale_line__line__entry", "invoice").last()
    if line:
        sold = line.sale_line.line
        correct_quantity(
            # Sure: the rest of the crate was weighed since, and weighs what it did.
            year.aside("weigh", "weighed again: less was in the crate", sure=True),
            sold.entry,
            lot=sold.lot,
            role=Role.SOLD,
            right_quantity=-sold.quantity - TOO_MUCH_MG,
        )
        issue_change(year.aside("credit", "the crate that was weighed again"), line.invoice)
