"""Starting workbooks that were read in, and what of them still stands."""

from dataclasses import dataclass
from uuid import UUID, uuid5

from django.db.models import QuerySet

from farm.models import Order, StartWorkbook
from farm.start_book.reading import MOST_ORDERS
from ledger.models import Entry


@dataclass(frozen=True)
class ReadIn:
    """A workbook, and how many of its entries and orders stand."""

    workbook: StartWorkbook
    entries: int
    orders: int

    @property
    def stands(self) -> bool:
        return bool(self.entries or self.orders)

    @property
    def has_entries(self) -> bool:
        """Say whether it had entries when it was read in."""
        return self.workbook.first_seq <= self.workbook.last_seq


def start_books() -> list[ReadIn]:
    """Every workbook with what stands of it, the last one first."""
    return [read_in_of(one) for one in StartWorkbook.objects.select_related("by__user")]


def read_in_of(workbook: StartWorkbook) -> ReadIn:
    entries, orders = standing_entries(workbook), standing_orders(workbook)
    return ReadIn(workbook, entries.count(), orders.count())


def standing_entries(workbook: StartWorkbook) -> QuerySet[Entry]:
    """The entries of a workbook that were not taken back."""
    span = (workbook.first_seq, workbook.last_seq)
    entries = Entry.objects.filter(seq__range=span, amends=None)
    return entries.standing()


def standing_orders(workbook: StartWorkbook) -> QuerySet[Order]:
    """The orders of a workbook that were not called off; their numbers follow from its own."""
    numbers = [order_uuid(workbook.uuid, at) for at in range(MOST_ORDERS)]
    return Order.objects.filter(uuid__in=numbers, stops=None)


def order_uuid(workbook: UUID, at: int) -> UUID:
    """The number that the n-th order of a workbook bears."""
    return uuid5(workbook, f"order {at}")
