"""Enter what customers paid and what was paid back to them; put it right, or take it back."""

from collections.abc import Iterator
from datetime import date, timedelta

from django.db import transaction

from farm import habits
from farm.actions.accounts.giving_up import owed_again, write_again
from farm.actions.accounts.settling import (
    Paid,
    Stated,
    check_reason,
    check_stated,
    given_up_of,
    known_row,
    part_of,
    shown,
    state_of,
    write_opposite,
    write_row,
)
from farm.actions.common import Doing
from farm.actions.questions import PlausibilityQuestion
from farm.models import Customer, Payment, Settling
from farm.queries.accounts.owed import account_of
from ledger import book
from ledger.errors import Malformed, NotStanding

__all__ = ["Paid", "enter_payment", "pay_back", "put_right", "take_payment_back"]

# Own rules: what is older is asked about, and so is the same sum so close to another.
LONG_AGO, CLOSE_BY = timedelta(days=366), timedelta(days=2)


@transaction.atomic
def enter_payment(doing: Doing, paid: Paid) -> Payment:
    """Enter a payment; sent twice under one UUID it is one. Asks where it is more than is owed.

    What pays an invoice or a share of which something was given up makes that owed again first.
    """
    book.lock_head()
    stated = {**vars(paid), "what": Settling.PAID, "note": doing.reason[:200]}
    known = known_row(doing, stated)
    if known:
        return known
    check_stated(doing, paid, "A payment of nothing cannot be. State what came in.")
    if not doing.sure:
        _ask([*_beyond_owed(paid), *_of_the_day(doing, paid), *_alike(stated)])
    again = owed_again(paid)
    payment = write_row(doing, stated)
    write_again(doing, again, paid, along=payment)
    return payment


@transaction.atomic
def pay_back(doing: Doing, paid: Paid) -> Payment:
    """Pay a customer back, with the reason; asks where it is more than they have to get back."""
    book.lock_head()
    reason = check_reason(doing, "it was paid back: left the scheme, paid twice, goods came back")
    stated = {
        **vars(paid),
        "what": Settling.BACK,
        "amount_money": -paid.amount_money,
        "note": reason,
    }
    known = known_row(doing, stated)
    if known:
        return known
    check_stated(doing, paid, "Nothing was paid back. State how much was.")
    if not doing.sure:
        _ask([*_beyond_theirs(paid), *_of_the_day(doing, paid), *_alike(stated)])
    return write_row(doing, stated)


@transaction.atomic
def put_right(doing: Doing, payment: Payment, paid: Paid) -> Payment:
    """Take a payment back and enter what it should have been, in one step; sent twice it is one."""
    book.lock_head()
    if not Payment.objects.filter(uuid=doing.uuid).exists():
        if payment.what != Settling.PAID:
            raise Malformed(f"Only what came in is put right here. Take {payment} back instead.")
        take_payment_back(part_of(doing, "put right"), payment)
    return enter_payment(doing, paid)


@transaction.atomic
def take_payment_back(doing: Doing, payment: Payment) -> Payment:
    """Take a row back by its opposite of the same day, with what it made owed again."""
    book.lock_head()
    known = Payment.objects.filter(takes_back=payment).first()
    if known and known.uuid == doing.uuid:
        return known
    if known or payment.takes_back_id:
        raise NotStanding(f"{payment} was taken back already. Enter the right one anew.")
    _check_nothing_rests_on(payment)
    for one in payment.along.filter(taken_back_by=None):
        write_opposite(part_of(doing, f"along {one.pk}"), one)
    return write_opposite(doing, payment)


def _check_nothing_rests_on(payment: Payment) -> None:
    if payment.what == Settling.AGAIN:
        remedy = f"Take {payment.along_with} back" if payment.along_with else "It stays"
        raise NotStanding(f"{payment} came with what was paid or credited after all. {remedy}.")
    of = {"invoice": payment.invoice, "share": payment.share}
    is_given_up = payment.what == Settling.GIVEN_UP and any(of.values())
    if is_given_up and given_up_of(**of) < payment.amount_money:
        raise NotStanding(
            f"{payment} was paid or credited after all, so it is owed again already. Take back "
            "what paid it first."
        )


# --- what is asked ---------------------------------------------------------------------------


def _ask(doubts: list[str]) -> None:
    """Ask at once whatever is doubtful."""
    if doubts:
        raise PlausibilityQuestion(" ".join(doubts))


def _of_the_day(doing: Doing, paid: Paid) -> Iterator[str]:
    if doing.day - paid.paid_on > LONG_AGO:
        yield f"{habits.day(paid.paid_on)} is more than a year ago."


def _alike(stated: Stated) -> Iterator[str]:
    """Ask whether it is typed twice: the same sum for the same thing, at most two days off."""
    day = stated["paid_on"]
    assert isinstance(day, date)
    same = {name: stated[name] for name in ("customer", "share", "what", "amount_money")}
    standing = Payment.objects.filter(takes_back=None, taken_back_by=None, **same)
    near = standing.filter(paid_on__range=(day - CLOSE_BY, day + CLOSE_BY))
    for one in near.select_related("by", "customer")[:1]:
        yield (
            f"{shown(abs(one.amount_money))} of {one.customer} on {habits.day(one.paid_on)} is "
            f"entered already, by {one.by.initials}: is this another one?"
        )


def _beyond_owed(paid: Paid) -> Iterator[str]:
    owed = _still_to_pay(paid)
    if paid.amount_money <= owed:
        return
    yield f"{paid.customer} pays {shown(paid.amount_money)} and owes {shown(owed)}."
    if not paid.invoice and not paid.share:
        yield from _given_up_words(paid.customer)


def _given_up_words(customer: Customer) -> Iterator[str]:
    rows = Payment.objects.filter(what=Settling.GIVEN_UP, customer=customer, invoice__isnull=False)
    for one in rows.filter(takes_back=None, taken_back_by=None).select_related("invoice"):
        if given_up_of(invoice=one.invoice):
            yield (
                f"{shown(one.amount_money)} of {one.invoice} was given up: choose that invoice if "
                "it is paid after all."
            )


def _still_to_pay(paid: Paid) -> int:
    if paid.share:
        return state_of(paid.share).still_to_pay + given_up_of(share=paid.share)
    given_up = given_up_of(invoice=paid.invoice) if paid.invoice else 0
    return account_of(paid.customer, date.max).open_money + given_up


def _beyond_theirs(paid: Paid) -> Iterator[str]:
    theirs = (
        max(0, state_of(paid.share).held)
        if paid.share
        else account_of(paid.customer, date.max).ahead_money
    )
    if paid.amount_money > theirs:
        yield (
            f"{shown(paid.amount_money)} is paid back, and {paid.customer} has {shown(theirs)} to "
            "get back: they will owe the rest."
        )
