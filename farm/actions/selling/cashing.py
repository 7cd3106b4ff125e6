"""Cash up a stall: what was in the till, and what its cards cost. A later count stands instead."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from django.db import transaction
from django.db.models import Sum
from django.utils import timezone

from farm.actions.common import Doing
from farm.actions.selling.pricing import to_cent
from farm.models import CashUp, CashUpToken, CashWord, Sale, SellingCost, Token, TokensPaid
from ledger import book
from ledger.amounts import MILLION
from ledger.errors import Conflict, Malformed


@dataclass(frozen=True)
class CashCount:
    """What was counted: the float is in the cash. ``tokens``: how many, by pk of their kind."""

    float_money: int
    cash_money: int
    card_money: int = 0
    card_count: int = 0
    paid_out_money: int = 0
    tokens: Mapping[int, int] = field(default_factory=dict)
    word: str = ""


@transaction.atomic
def cash_up(doing: Doing, *, sale: Sale, count: CashCount) -> CashUp:
    """Keep what was in the till after a settled day; a second count stands instead of the first.

    Sent twice it is one count. The difference is never kept: it follows from the sales, which
    may be corrected (`farm.queries.selling.cash`).
    """
    book.lock_head()
    known = CashUp.objects.filter(uuid=doing.uuid).first()
    if known:
        return _the_same(known, sale, count)
    if sale.stall_day is None or sale.entry.is_taken_back:
        raise Malformed(
            f"Entry {sale.entry_id} settles no stall day that stands. Settle the day first, then "
            "count the cash."
        )
    return write_cash_up(doing, sale, count)


def write_cash_up(doing: Doing, sale: Sale, count: CashCount) -> CashUp:
    """Write the count, and what the cards cost, as the difference to what was known before."""
    _check(count)
    kept = CashUp.objects.create(
        uuid=doing.uuid,
        sale=sale,
        float_money=count.float_money,
        cash_money=count.cash_money,
        card_money=count.card_money,
        card_count=count.card_count,
        paid_out_money=count.paid_out_money,
        word=count.word,
        at=doing.happened_at,
        by=doing.by,
    )
    for token in Token.objects.filter(pk__in=count.tokens):
        number = count.tokens[token.pk]
        if number:
            CashUpToken.objects.create(
                cash_up=kept, token=token, count=number, value_money=token.value_money
            )
    _add_card_fees(sale, count)
    return kept


@transaction.atomic
def tokens_paid(doing: Doing, *, token: Token, day: date, amount: int) -> TokensPaid:
    """Keep what the issuer of tokens paid; below zero takes a wrong entry back."""
    book.lock_head()
    known = TokensPaid.objects.filter(uuid=doing.uuid).first()
    if known:
        if (known.token, known.day, known.amount) != (token, day, amount):
            raise Conflict("This form was sent before with other content. Fill in a new form.")
        return known
    if not amount:
        raise Malformed(f"{token}: nothing paid. State how much {token.issuer} paid.")
    return TokensPaid.objects.create(
        uuid=doing.uuid, token=token, day=day, amount=amount, at=timezone.now(), by=doing.by
    )


def card_fee(sale: Sale, count: CashCount) -> int:
    """Work out what cards cost: a share of what they paid, half up to the cent, and so much each.

    1.75 % of 84.00 is 1.47; 12 payments at 0.05 are 0.60; together 2.07.
    """
    place = sale.place
    share = to_cent(count.card_money * place.card_fee_ppm, MILLION)
    return share + count.card_count * place.card_fee_each_money


def _add_card_fees(sale: Sale, count: CashCount) -> None:
    rows = SellingCost.objects.standing_at(sale.entry_id).filter(what=SellingCost.CARDS)
    known = rows.aggregate(total=Sum("amount"))["total"] or 0
    difference = card_fee(sale, count) - known
    if difference:
        SellingCost.objects.create(
            entry=sale.entry, place=sale.place, what=SellingCost.CARDS, amount=difference
        )


def _check(count: CashCount) -> None:
    numbers = (
        count.float_money,
        count.cash_money,
        count.card_money,
        count.card_count,
        count.paid_out_money,
        *count.tokens.values(),
    )
    if any(number < 0 for number in numbers):
        raise Malformed("Nothing counted is below zero. State what was in the till.")
    if count.word and count.word not in CashWord.values:
        raise Malformed(f"“{count.word}” is no word for it. Choose {', '.join(CashWord.values)}.")
    if count.card_count and not count.card_money:
        raise Malformed(
            f"{count.card_count} card payments of nothing. State what the cards paid in all."
        )


def _the_same(known: CashUp, sale: Sale, count: CashCount) -> CashUp:
    tokens = dict(known.tokens.values_list("token_id", "count"))
    stated = {pk: number for pk, number in count.tokens.items() if number}
    fields = ("float_money", "cash_money", "card_money", "card_count", "paid_out_money", "word")
    same = all(getattr(known, name) == getattr(count, name) for name in fields)
    if known.sale_id != sale.pk or not same or tokens != stated:
        raise Conflict("This count was sent before with other numbers. Count anew.")
    return known
