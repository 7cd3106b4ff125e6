"""Starting workbooks that were read in, and what of them still stands."""

from django.db.models import QuerySet

from farm.models import StartWorkbook
from ledger.models import Entry


def start_books() -> list[tuple[StartWorkbook, int]]:
    """Every workbook with the number of its entries that stand, the last one first."""
    known = StartWorkbook.objects.select_related("by__user")
    return [(one, standing_entries(one).count()) for one in known]


def standing_entries(workbook: StartWorkbook) -> QuerySet[Entry]:
    """The entries of a workbook that were not taken back."""
    span = (workbook.first_seq, workbook.last_seq)
    entries = Entry.objects.filter(seq__range=span, amends=None)
    return entries.exclude(amendments__takes_back=True)
