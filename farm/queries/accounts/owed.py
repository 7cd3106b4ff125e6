"""Who owes what, and since when: invoices less what was paid, read from their rows."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date

from farm.models import MONEY_MOVES, Customer, Invoice, Payment, Settling
from farm.queries.accounts.invoices import invoices
from farm.queries.roll_forward import deposits_held_for
from ledger.amounts import in_turn

# Days past the day by which an invoice was to be paid; the last age has no end.
LAST_DAYS = (30, 60, 90)
AGES = ("not due yet", "0 to 30 days", "31 to 60 days", "61 to 90 days", "over 90 days")


@dataclass(frozen=True)
class _Open:
    """Money that is open, and for how many days it should have been there."""

    open_money: int
    days_over: int

    @property
    def age(self) -> int:
        return age_of(self.days_over)


@dataclass(frozen=True)
class OpenInvoice(_Open):
    """An invoice with its credit notes, and what of it is not paid."""

    invoice: Invoice
    owed: int


@dataclass(frozen=True)
class PaidBeyond(_Open):
    """What was paid back beyond what the customer had to get back, on its last ``day``."""

    day: date


@dataclass(frozen=True)
class Account:
    """A customer's open invoices, the oldest first, and what was paid ahead of any.

    Open less ahead = invoices less payments. ``beyond``: what was paid back beyond what was theirs,
    which they owe on no invoice. ``deposit_money`` is kept apart: paid less delivered of the
    customer's shares, below zero where boxes were given unpaid.
    """

    customer: Customer
    open_invoices: tuple[OpenInvoice, ...]
    ahead_money: int
    beyond: "PaidBeyond | None" = None
    deposit_money: int = 0

    @property
    def open_money(self) -> int:
        beyond = self.beyond.open_money if self.beyond else 0
        return sum(one.open_money for one in self.open_invoices) + beyond

    @property
    def balance(self) -> int:
        """What is owed less what was paid ahead: below zero, the customer has money to get back."""
        return self.open_money - self.ahead_money

    @property
    def by_age(self) -> tuple[int, ...]:
        """What is open by its age; what was paid back beyond is due since that day."""
        ages = [0] * len(AGES)
        for one in self.open_invoices:
            ages[one.age] += one.open_money
        if self.beyond:
            ages[self.beyond.age] += self.beyond.open_money
        return tuple(ages)

    @property
    def since(self) -> date | None:
        """The day since which the oldest of it is due."""
        days = [one.invoice.due_on for one in self.open_invoices]
        return min([*days, self.beyond.day] if self.beyond else days, default=None)


@dataclass(frozen=True)
class StatementLine:
    """One paper or payment; ``balance``: what is owed after it.

    ``paid``: below zero where it was paid back. ``given_up``: what is owed no more though it was
    not paid; below zero where it is owed again, or the customer left it to the farm.
    """

    day: date
    what: str
    invoiced: int | None = None
    paid: int | None = None
    given_up: int | None = None
    balance: int = 0


def age_of(days_over: int) -> int:
    """The place in AGES: due today is 0 to 30 days, and so is 30 days ago."""
    return 1 + sum(days_over > last for last in LAST_DAYS) if days_over >= 0 else 0


def accounts(day: date, held: Mapping[str, int] | None = None) -> list[Account]:
    """Every customer with something open, ahead or deposited at the end of a day, by name.

    ``held``: what is held for their boxes, by number, where it was read before. Two or three
    queries, one more where something is held for somebody who has neither paper nor payment.
    """
    found = _accounts(day, deposits_held_for(day) if held is None else held)
    return [one for one in found if one.open_money or one.ahead_money or one.deposit_money]


def open_by_invoice(day: date) -> dict[int, int]:
    """What is not paid of each invoice, by its key; what is paid in full is left out."""
    return {
        one.invoice.pk: one.open_money for account in accounts(day) for one in account.open_invoices
    }


def account_of(customer: Customer, day: date) -> Account:
    (account,) = _accounts(day, deposits_held_for(day, customer), customer)
    return account


def open_invoices(day: date) -> list[OpenInvoice]:
    """Every invoice that is not paid in full at the end of a day; two queries."""
    papers, paid, _ = _papers_and_paid(day)
    return [one for pk, mine in papers.items() for one in _settled(mine, paid[pk], day)[0]]


def _accounts(
    day: date, held: Mapping[str, int], customer: Customer | None = None
) -> Iterator[Account]:
    papers, paid, known = _papers_and_paid(day, customer)
    if any(money and number not in known for number, money in held.items()):
        known = {one.number: one for one in Customer.objects.all()}
    for one in [customer] if customer else sorted(known.values(), key=lambda one: one.name):
        open_ones, spare = _settled(papers[one.pk], paid[one.pk], day)
        beyond = _beyond(paid[one.pk], -spare, day) if spare < 0 else None
        yield Account(one, open_ones, max(0, spare), beyond, held.get(one.number, 0))


def _papers_and_paid(
    day: date, customer: Customer | None = None
) -> tuple[dict[int, list[Invoice]], dict[int, list[Payment]], dict[str, Customer]]:
    """Find by customer the invoices and what was paid for them, and whose they are; two queries."""
    of = {"customer": customer} if customer else {"customer__isnull": False}
    papers: dict[int, list[Invoice]] = defaultdict(list)
    paid: dict[int, list[Payment]] = defaultdict(list)
    known = {}
    for invoice in invoices().filter(issued_on__lte=day, **of):
        assert invoice.customer, "only papers of a customer are asked for"
        papers[invoice.customer.pk].append(invoice)
        known[invoice.customer.number] = invoice.customer
    payments = Payment.objects.filter(paid_on__lte=day, **of).select_related("invoice", "customer")
    for payment in payments.order_by("paid_on", "pk"):
        known[payment.customer.number] = payment.customer
        if payment.share_id is None:
            paid[payment.customer_id].append(payment)
    return papers, paid, known


def statement(customer: Customer, first: date, last: date) -> tuple[int, list[StatementLine]]:
    """What was owed before a span, and every paper and payment in it, by day."""
    payments = Payment.objects.filter(share=None, customer=customer, paid_on__lte=last)
    papers = invoices().filter(customer=customer, issued_on__lte=last).order_by("pk")
    rows = [
        StatementLine(one.issued_on, f"{one.get_kind_display()} {one}", invoiced=one.gross)  # type: ignore[attr-defined]
        for one in papers
    ] + [_payment_line(one) for one in payments.select_related("invoice").order_by("paid_on", "pk")]
    balance = before = 0
    lines = []
    for row in sorted(rows, key=lambda row: (row.day, row.invoiced is None)):
        balance += (row.invoiced or 0) - (row.paid or 0) - (row.given_up or 0)
        if row.day < first:
            before = balance
        else:
            lines.append(replace(row, balance=balance))
    return before, lines


def payment_words(payment: Payment) -> str:
    """Say what it is, as a statement does: “payment, bank transfer for I2026-0007”."""
    plain = {Settling.PAID: "payment"}.get(Settling(payment.what), payment.get_what_display())
    words = f"{plain} taken back" if payment.takes_back_id else plain
    how = f", {payment.get_method_display()}" if payment.method else ""
    return f"{words}{how}" + (f" for {payment.invoice}" if payment.invoice else "")


def _payment_line(one: Payment) -> StatementLine:
    if one.what in MONEY_MOVES:
        return StatementLine(one.paid_on, payment_words(one), paid=one.amount_money)
    return StatementLine(one.paid_on, payment_words(one), given_up=one.amount_money)


def _beyond(paid: Iterable[Payment], money: int, day: date) -> PaidBeyond:
    """Say since when more was paid back than was the customer's: since it was last lowered."""
    last = max(one.paid_on for one in paid if one.amount_money < 0)
    return PaidBeyond(money, (day - last).days, last)


def _settled(
    papers: Iterable[Invoice], paid: Iterable[Payment], day: date
) -> tuple[tuple[OpenInvoice, ...], int]:
    """Set payments against invoices: first those that name one, the rest against the oldest due.

    What is paid or credited beyond an invoice goes to the next; what is left is paid ahead. Below
    zero, more was paid back than that.
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
    rows, oldest_due = [], sorted(roots, key=lambda pk: (roots[pk].due_on, pk))
    parts, spare = in_turn(spare, [left[root] for root in oldest_due])
    for root, part in zip(oldest_due, parts, strict=True):
        if left[root] > part:
            invoice = roots[root]
            over = (day - invoice.due_on).days
            rows.append(OpenInvoice(left[root] - part, over, invoice, owed[root]))
    return tuple(rows), spare
