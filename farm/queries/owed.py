"""Who owes what, and since when: invoices less what was paid, read from their rows."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date

from django.db.models import QuerySet, Subquery

from farm.models import Customer, Invoice, Payment
from farm.queries.invoices import invoices
from farm.queries.shares import boxed_money

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
    """Every customer with something open, ahead or deposited at the end of a day; 3 queries."""
    found = _accounts(Customer.objects.all(), day)
    return [one for one in found if one.open_invoices or one.ahead_money or one.deposit_money]


def open_by_invoice(day: date) -> dict[int, int]:
    """What is not paid of each invoice, by its key; what is paid in full is left out."""
    return {
        one.invoice.pk: one.open_money for account in accounts(day) for one in account.open_invoices
    }


def account_of(customer: Customer, day: date) -> Account:
    (account,) = _accounts(Customer.objects.filter(pk=customer.pk), day)
    return account


def open_invoices(day: date) -> list[OpenInvoice]:
    """Every invoice that is not paid in full at the end of a day; two queries."""
    papers, paid, _ = _papers_and_paid(Customer.objects.all(), day)
    return [one for pk, mine in papers.items() for one in _settled(mine, paid[pk], day)[0]]


def _accounts(customers: QuerySet[Customer], day: date) -> Iterator[Account]:
    papers, paid, deposits = _papers_and_paid(customers, day)
    for one in customers.annotate(boxed_money=Subquery(boxed_money(day))):
        open_ones, ahead_money = _settled(papers[one.pk], paid[one.pk], day)
        held_money = deposits[one.pk] - (one.boxed_money or 0)
        yield Account(one, open_ones, ahead_money, held_money)


def _papers_and_paid(
    customers: QuerySet[Customer], day: date
) -> tuple[dict[int, list[Invoice]], dict[int, list[Payment]], dict[int, int]]:
    """Find by customer the invoices, what was paid for them, and what for shares; two queries."""
    of = {"customer__in": customers.order_by()}
    papers: dict[int, list[Invoice]] = defaultdict(list)
    for invoice in invoices().filter(issued_on__lte=day, **of):
        papers[invoice.customer_id or 0].append(invoice)
    paid: dict[int, list[Payment]] = defaultdict(list)
    deposits: dict[int, int] = defaultdict(int)
    payments = Payment.objects.filter(paid_on__lte=day, **of).select_related("invoice")
    for payment in payments.order_by("paid_on", "pk"):
        if payment.share_id:
            deposits[payment.customer_id] += payment.amount_money
        else:
            paid[payment.customer_id].append(payment)
    return papers, paid, deposits


def statement(customer: Customer, first: date, last: date) -> tuple[int, list[StatementLine]]:
    """What was owed before a span, and every paper and payment in it, by day."""
    payments = Payment.objects.filter(share=None, customer=customer, paid_on__lte=last)
    rows = [
        (one.issued_on, 0, f"{one.get_kind_display()} {one}", one.gross, None)  # type: ignore[attr-defined]
        for one in invoices().filter(customer=customer, issued_on__lte=last).order_by("pk")
    ] + [
        (one.paid_on, 1, payment_words(one), None, one.amount_money)
        for one in payments.select_related("invoice").order_by("paid_on", "pk")
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


def _settled(
    papers: Iterable[Invoice], paid: Iterable[Payment], day: date
) -> tuple[tuple[OpenInvoice, ...], int]:
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
    return tuple(rows), spare
