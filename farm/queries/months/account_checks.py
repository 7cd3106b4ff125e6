"""Truths of the customers' accounts, each a function that says what it looked at."""

from collections.abc import Iterable, Iterator
from datetime import date
from itertools import chain

from django.db.models import F, Q, Sum

from farm.models import Payment, Settling
from farm.queries.accounts.owed import accounts
from farm.queries.orders.shares import share_states
from farm.queries.roll_forward import NO_SHARE, account_moves, rolled
from ledger.checks import Finding


def accounts_add_up() -> Finding:
    """Rolled from the first day to the last, each account and deposit ends where it stands now."""
    rows = rolled(date.min, account_moves(date.min, date.max))
    ends = {one.whose: one.end for one in rows if one.end}
    stand = {(one.customer.number, NO_SHARE): one.balance for one in accounts(date.max)}
    stand |= {(one.share.customer.number, one.share.pk): one.held for one in share_states(date.max)}
    stand = {whose: money for whose, money in stand.items() if money}
    broken = (
        f"{_named(whose)} rolls to {ends.get(whose, 0)} and stands at {stand.get(whose, 0)}"
        for whose in sorted(ends.keys() | stand.keys())
        if ends.get(whose) != stand.get(whose)
    )
    looked_at = f"{len(rows)} accounts and deposits"
    return Finding("what is owed and held is what was invoiced and paid", looked_at, _first(broken))


def payments_agree() -> Finding:
    """Each row is for something of its own customer, taken back by its opposite, never beyond."""
    broken = _first(_of_another(), _no_opposites(), _too_much_again())
    looked_at = f"{Payment.objects.count()} rows"
    return Finding("payments are their customers', and taken back by opposites", looked_at, broken)


CHECKS = (accounts_add_up, payments_agree)


def _of_another() -> Iterator[str]:
    for_another = Payment.objects.filter(
        Q(invoice__isnull=False) & ~Q(invoice__customer=F("customer"))
        | Q(share__isnull=False) & ~Q(share__customer=F("customer"))
    )
    for one in for_another.select_related("customer"):
        yield f"{one} of {one.customer} is for what is another's"


def _no_opposites() -> Iterator[str]:
    backs = Payment.objects.exclude(takes_back=None).select_related("takes_back")
    same = ("customer_id", "invoice_id", "share_id", "what", "paid_on", "method")
    for one in backs:
        other = one.takes_back
        assert other, "it takes one back"
        alike = all(getattr(one, name) == getattr(other, name) for name in same)
        if not alike or one.amount_money != -other.amount_money:
            yield f"{one} takes {other} back and is not its opposite"


def _too_much_again() -> Iterator[str]:
    """No more may be owed again than was given up of an invoice or a share."""
    rows = Payment.objects.filter(what__in=(Settling.GIVEN_UP, Settling.AGAIN)).order_by()
    for of in ("invoice", "share"):
        sums = rows.filter(**{f"{of}__isnull": False}).values_list(of)
        for pk, money in sums.annotate(Sum("amount_money")):
            if money < 0:
                yield f"of {of} {pk} more is owed again than was given up: {-money}"


def _first(*found: Iterable[str]) -> str:
    return next(chain.from_iterable(found), "")


def _named(whose: tuple[str, int]) -> str:
    number, share = whose
    return f"the deposit of share {share}" if share else f"the account of {number}"
