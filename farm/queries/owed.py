"""Who owes what, and since when: invoices less what was paid, read from their rows."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date

from django.db.models import QuerySet

from farm.models import Customer, Invoice, Payment
from farm.queries.invoices import invoices
from farm.queries.shares import held_by_customer, held_of

# Days past the day by which an invoice was to be paid; the last age has no end.
LAST_DAYS = (30, 60, 90)
AGES = ("not due yet", "0 to 30 days", "31 to 60 days", "61 to 90 days", "over 90 days")


@dataclass(frozen=True)
class OpenInvoice:
    """An invoice with its credit notes, and what of it is not paid."""

    invoice: Invoice
    owed: int
    open_money: int
    days_over: int

    @property
    def age(self) -> int:
        """The place in AGES: due today is 0 to 30 days, and so is 30 days ago."""
        if self.days_over < 0:
            return 0
        return 1 + sum(self.days_over > last for last in LAST_DAYS)


@dataclass(frozen=True)
class Account:
    """A customer's open invoices, the oldest first, and what was paid ahead of any.

    Open less ahead = invoices less payments. ``deposit_money`` is kept apart: paid less delivered
    of the customer's shares, below zero where boxes were given unpaid.
    """

    customer: Customer
    open_invoices: tuple[OpenInvoice, ...]
    ahead_money: int
    deposit_money: int = 0

    @property
    def open_money(self) -> int:
        return sum(one.open_money for one in self.open_invoices)

    @property
    def by_age(self) -> tuple[int, ...]:
        return tuple(
            sum(one.open_money for one in self.open_invoices if one.age == age)
            for age in range(len(AGES))
        )


@dataclass(frozen=True)
class StatementLine:
    """One paper or payment; ``balance``: what is owed after it."""

    day: date
    what: str
    invoiced: int | None
    paid: int | None
    balance: int


def accounts(day: date) -> list[Account]:
    """Every customer with something open, ahead or deposited at the end of a day; 8 queries."""
    papers: dict[int, list[Invoice]] = defaultdict(list)
    for invoice in invoices().filter(customer__isnull=False, issued_on__lte=day):
        papers[invoice.customer_id or 0].append(invoice)
    paid: dict[int, list[Payment]] = defaultdict(list)
    for payment in _payments().filter(paid_on__lte=day):
        paid[payment.customer_id].append(payment)
    held = held_by_customer(day)
    customers = Customer.objects.filter(pk__in={*papers, *paid, *held})
    found = [
        replace(_account(one, day, papers=papers[one.pk], paid=paid[one.pk]),
                deposit_money=held.get(one.pk, 0))
        for one in customers
    ]  # fmt: skip
    return [one for one in found if one.open_invoices or one.ahead_money or one.deposit_money]


def account_of(customer: Customer, day: date) -> Account:
    papers = list(invoices().filter(customer=customer, issued_on__lte=day))
    paid = list(_payments().filter(customer=customer, paid_on__lte=day))
    account = _account(customer, day, papers=papers, paid=paid)
    return replace(account, deposit_money=held_of(customer, day))


def statement(customer: Customer, first: date, last: date) -> tuple[int, list[StatementLine]]:
    """What was owed before a span, and every paper and payment in it, by day."""
    rows = [
        (one.issued_on, 0, f"{one.get_kind_display()} {one}", one.gross, None)  # type: ignore[attr-defined]
        for one in invoices().filter(customer=customer, issued_on__lte=last).order_by("pk")
    ] + [
        (one.paid_on, 1, payment_words(one), None, one.amount_money)
        for one in _payments().filter(customer=customer, paid_on__lte=last)
    ]
    balance = before = 0
    lines = []
    for day, _, what, invoiced, paid in sorted(rows, key=lambda row: row[:2]):
        balance += (invoiced or 0) - (paid or 0)
        if day < first:
            before = balance
        else:
            lines.append(StatementLine(day, what, invoiced, paid, balance))
    return before, lines


def payment_words(payment: Payment) -> str:
    words = "payment taken back" if payment.takes_back_id else "payment"
    return f"{words}, {payment.get_method_display()}" + (
        f" for {payment.invoice}" if payment.invoice else ""
    )


def _payments() -> QuerySet[Payment]:
    """What was paid for invoices; deposits are kept apart."""
    rows = Payment.objects.filter(share=None).select_related("invoice", "customer")
    return rows.order_by("paid_on", "pk")


def _account(
    customer: Customer, day: date, *, papers: Iterable[Invoice], paid: Iterable[Payment]
) -> Account:
    """Set payments against invoices: first those that name one, the rest against the oldest due.

    What is paid or credited beyond an invoice goes to the next; what is left is paid ahead.
    """
    owed: dict[int, int] = defaultdict(int)
    roots = {}
    for paper in papers:
        root = paper.credits_id or paper.pk
        owed[root] += paper.gross  # type: ignore[attr-defined]
        if root == paper.pk:
            roots[root] = paper
    left, spare = dict(owed), 0
    for payment in paid:
        named = payment.invoice.credits_id or payment.invoice.pk if payment.invoice else 0
        if named in left:
            left[named] -= payment.amount_money
        else:
            spare += payment.amount_money
    for root, money in left.items():
        spare -= min(0, money)
        left[root] = max(0, money)
    rows = []
    for root in sorted(roots, key=lambda pk: (roots[pk].due_on, pk)):
        take = max(0, min(spare, left[root]))
        spare -= take
        if left[root] > take:
            invoice = roots[root]
            over = (day - invoice.due_on).days
            rows.append(OpenInvoice(invoice, owed[root], left[root] - take, over))
    return Account(customer, tuple(rows), spare)
