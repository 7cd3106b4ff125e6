"""Every account and deposit, month by month, worked from rows alone: a second way to every sum.

Nothing of the farm's queries is used, and no database does the adding up. A row counts on its own
day, what is corrected of a box on the day of the box.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

from farm.models import BoxDelivery, Customer, Invoice, InvoiceLine, Payment, SaleLine

# An account is known by its customer's key, a deposit by its share's.
Whose = tuple[str, int]


@dataclass
class PlainMonth:
    """What a month did: “invoiced”, “credited”, “paid”, “back”, “given up” (net), “boxes”."""

    start: int = 0
    moves: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    end: int = 0


def plain_months(until: str = "9999-12") -> dict[Whose, dict[str, PlainMonth]]:
    """By account or deposit and month “2026-09”, each with its start and its end."""
    found: dict[Whose, dict[str, PlainMonth]] = defaultdict(lambda: defaultdict(PlainMonth))
    for whose, month, what, money in sorted([*_papers(), *_payments(), *_boxes()]):
        if month <= until:
            found[whose][month].moves[what] += money
    for (kind, _), months in found.items():
        balance = 0
        for month in sorted(months):
            one = months[month]
            one.start = balance
            m = one.moves
            if kind == "account":
                balance += m["invoiced"] - m["credited"] - m["paid"] + m["back"] - m["given up"]
            else:
                balance += m["paid"] - m["boxes"] - m["back"] - m["given up"]
            one.end = balance
    return found


def plain_balance(customer: Customer, until: str = "9999-12") -> int:
    """What a customer owes at the end of a month."""
    months = plain_months(until)["account", customer.pk]
    return months[max(months)].end if months else 0


def _papers() -> Iterable[tuple[Whose, str, str, int]]:
    for line in InvoiceLine.objects.all():
        paper, money = Invoice.objects.get(pk=line.invoice_id), line.sale_line.gross
        if paper.customer_id is not None:
            what, sign = ("credited", -1) if paper.kind == "credit" else ("invoiced", 1)
            yield ("account", paper.customer_id), f"{paper.issued_on:%Y-%m}", what, sign * money


def _payments() -> Iterable[tuple[Whose, str, str, int]]:
    for row in Payment.objects.all():
        month, money = f"{row.paid_on:%Y-%m}", row.amount_money
        whose = ("share", row.share_id) if row.share_id else ("account", row.customer_id)
        if row.what == "paid":
            yield whose, month, "paid", money
        elif row.what == "back":
            yield whose, month, "back", -money
        else:  # what the customer need not pay any more; of a deposit, what they get no more
            yield whose, month, "given up", -money if row.share_id else money


def _boxes() -> Iterable[tuple[Whose, str, str, int]]:
    for box in BoxDelivery.objects.all():
        for line in SaleLine.objects.filter(sale=box.note.sale):
            entry = line.line.entry
            day = (entry.amends or entry).happened_on
            yield ("share", box.share_id), f"{day:%Y-%m}", "boxes", line.gross
