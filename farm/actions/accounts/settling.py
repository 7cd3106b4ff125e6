"""What every row of a customer's account needs: what is stated, what is refused, how it is kept.

A row is never changed: what was wrong is taken back by its opposite of the same day.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from uuid import uuid5

from django.db.models import Sum
from django.utils import timezone

from farm import habits
from farm.actions.common import Doing
from farm.models import Customer, Invoice, Method, Payment, Settling, Share, the_farm
from farm.queries.orders.shares import ShareState, share_states
from farm.units import MONEY_PER_CENT, show_money
from ledger.errors import Conflict, Malformed

FIRST_DAY = date(2000, 1, 1)

Stated = Mapping[str, object]


@dataclass(frozen=True, kw_only=True)
class Paid:
    """What came in, went back or is given up: of one invoice, or (None) of the oldest open ones.

    ``share``: of a deposit, which pays no invoice; it is owed until the boxes are delivered.
    """

    customer: Customer
    amount_money: int
    paid_on: date
    method: Method = Method.BANK
    invoice: Invoice | None = None
    share: Share | None = None


def known_row(doing: Doing, stated: Stated) -> Payment | None:
    """Find what this form wrote before; other content under its number is refused."""
    known = Payment.objects.filter(uuid=doing.uuid).first()
    if known and any(getattr(known, name) != value for name, value in stated.items()):
        raise Conflict("This form was sent before with another payment. Fill in a new form.")
    return known


def write_row(doing: Doing, stated: Stated) -> Payment:
    return Payment.objects.create(**stated, entered_at=timezone.now(), by=doing.by, uuid=doing.uuid)


def write_opposite(doing: Doing, one: Payment) -> Payment:
    """Take a row back: the opposite of it, on its own day."""
    same = ("customer", "invoice", "share", "what", "paid_on", "method")
    stated = {name: getattr(one, name) for name in same}
    return write_row(
        doing,
        {
            **stated,
            "amount_money": -one.amount_money,
            "note": doing.reason[:200],
            "takes_back": one,
        },
    )


def part_of(doing: Doing, name: str) -> Doing:
    """One part of what is done in one step, under a number of its own."""
    return replace(doing, uuid=uuid5(doing.uuid, name))


def check_stated(doing: Doing, paid: Paid, nothing: str) -> None:
    """Refuse a sum of nothing, a day that cannot be, and what is another customer's."""
    if paid.amount_money <= 0:
        raise Malformed(nothing)
    if paid.amount_money % MONEY_PER_CENT:
        raise Malformed(
            f"{show_money(paid.amount_money, the_farm().currency, 4)} cannot be paid. "
            "State whole cents."
        )
    if not FIRST_DAY <= paid.paid_on <= doing.day:
        raise Malformed(
            f"{habits.day(paid.paid_on)} cannot be: state a day from {FIRST_DAY.year} to today."
        )
    for whose in (paid.invoice, paid.share):
        if whose and whose.customer != paid.customer:
            raise Malformed(f"{whose} is not {paid.customer}'s. Choose one of theirs, or none.")
    if paid.share and paid.invoice:
        raise Malformed(f"State {paid.share} or {paid.invoice}, not both: enter two payments.")


def check_reason(doing: Doing, why: str) -> str:
    """Return the reason that is due."""
    if not doing.reason.strip():
        raise Malformed(f"Say why {why}.")
    return doing.reason.strip()[:200]


def given_up_of(**of: object) -> int:
    """What was given up of an invoice or a share, less what is owed again; one query."""
    rows = Payment.objects.filter(what__in=(Settling.GIVEN_UP, Settling.AGAIN), **of)
    return max(0, rows.aggregate(total=Sum("amount_money"))["total"] or 0)


def state_of(share: Share) -> ShareState:
    (state,) = share_states(date.max, Share.objects.filter(pk=share.pk))
    return state


def shown(money: int) -> str:
    return show_money(money, the_farm().currency)
