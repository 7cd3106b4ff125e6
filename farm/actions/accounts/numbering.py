"""Give papers their numbers: one series a kind and year, without gaps.

Tax law asks for numbers that identify an invoice uniquely in one or more series (Directive
2006/112/EC, Art. 226 point 2). A number is taken in the transaction that writes its paper and
under the book's lock, so that what is refused leaves no gap.
"""

from datetime import date

from django.db.models import Max

from farm.models import DeliveryNote, Invoice
from ledger import book

NOTES, INVOICES, CREDITS = "D", "I", "C"


def next_number(
    papers: type[DeliveryNote] | type[Invoice], letter: str, day: date
) -> tuple[str, int]:
    """Return the series of a day and its next number: I2026, 7 is printed I2026-0007."""
    book.lock_head()
    series = f"{letter}{day:%Y}"
    last = papers.objects.filter(series=series).aggregate(last=Max("number"))["last"]
    return series, (last or 0) + 1
