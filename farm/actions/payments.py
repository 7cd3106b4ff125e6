"""Enter what customers paid; a wrong payment is taken back by a negative one."""

from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.utils import timezone

from farm.actions.common import Doing
from farm.actions.questions import PlausibilityQuestion
from farm.models import Customer, Invoice, Method, Payment, Share, the_farm
from farm.queries.owed import account_of
from farm.queries.shares import share_states
from farm.units import show_money
from ledger import book
from ledger.errors import Conflict, Malformed, NotStanding


@dataclass(frozen=True, kw_only=True)
class Paid:
    """What came in: a part or all, for one invoice or (None) for the oldest that are open.

    ``share``: a deposit, which pays no invoice; it is owed until the boxes are delivered.
    """

    customer: Customer
    amount_money: int
    paid_on: date
    method: Method = Method.BANK
    invoice: Invoice | None = None
    share: Share | None = None


@transaction.atomic
def enter_payment(doing: Doing, paid: Paid) -> Payment:
    """Enter a payment; sent twice under one UUID it is one. Asks where it is more than is owed."""
    book.lock_head()
    stated = {**vars(paid), "note": doing.reason[:200]}
    known = Payment.objects.filter(uuid=doing.uuid).first()
    if known:
        if any(getattr(known, name) != value for name, value in stated.items()):
            raise Conflict("This form was sent before with another payment. Fill in a new form.")
        return known
    if paid.amount_money <= 0:
        raise Malformed("A payment of nothing cannot be. State what came in.")
    if paid.invoice and paid.invoice.customer != paid.customer:
        raise Malformed(f"{paid.invoice} is not {paid.customer}'s. Choose one of theirs, or none.")
    _check_share(paid)
    if not doing.sure:
        _check_owed(paid)
    return Payment.objects.create(**stated, entered_at=timezone.now(), by=doing.by, uuid=doing.uuid)


@transaction.atomic
def take_payment_back(doing: Doing, payment: Payment) -> Payment:
    """Take a payment back by a negative one of the same day; sent twice it is one."""
    book.lock_head()
    known = Payment.objects.filter(takes_back=payment).first()
    if known and known.uuid == doing.uuid:
        return known
    if known or payment.takes_back_id:
        raise NotStanding(f"{payment} was taken back already. Enter the right one anew.")
    return Payment.objects.create(
        customer=payment.customer, invoice=payment.invoice, share=payment.share,
        paid_on=payment.paid_on,
        amount_money=-payment.amount_money, method=payment.method, note=doing.reason[:200],
        entered_at=timezone.now(), by=doing.by, uuid=doing.uuid,
        takes_back=payment,
    )  # fmt: skip


def _check_share(paid: Paid) -> None:
    if paid.share and paid.share.customer != paid.customer:
        raise Malformed(f"{paid.share} is not {paid.customer}'s. Choose one of theirs, or none.")
    if paid.share and paid.invoice:
        raise Malformed(f"State {paid.share} or {paid.invoice}, not both: enter two payments.")


def _check_owed(paid: Paid) -> None:
    owed = _still_to_pay(paid)
    if paid.amount_money > owed:
        farm = the_farm()
        came, open_words = (show_money(money, farm.currency) for money in (paid.amount_money, owed))
        raise PlausibilityQuestion(f"{paid.customer} pays {came} and owes {open_words}.")


def _still_to_pay(paid: Paid) -> int:
    if paid.share is None:
        return account_of(paid.customer, date.max).open_money
    (state,) = share_states(date.max, Share.objects.filter(pk=paid.share.pk))
    return state.still_to_pay
