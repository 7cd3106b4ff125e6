"""What customers owe, and what is held for their boxes, from the start of some days to the end.

Owed at the start + invoiced - credited - paid + paid back - given up = owed at the end; held at the
start + paid ahead - boxes - paid back - left to the farm = held at the end. All of it is read from
papers, payments and boxes alone. A payment counts on the day it states, and so does what takes it
back; a corrected box counts on the day of the box. So whatever is dated into a closed month stands
in the open one as changed since closing.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Any, NamedTuple

from django.db.models import BigIntegerField, CharField, DateField, QuerySet, Sum, Value
from django.db.models.functions import Coalesce

from farm.models import (
    NO_MONEY_MOVES,
    Customer,
    InvoiceKind,
    InvoiceLine,
    Payment,
    SaleLine,
    Settling,
)

INVOICED, CREDITED, BOXES = "invoiced", "credited", "boxes"
NO_SHARE = 0  # an account, where others are the deposit of a share
BOX_DAY = Coalesce("line__entry__amends__happened_on", "line__entry__happened_on")
ONE_DAY = timedelta(days=1)
OWED, DEPOSITS = "owed", "deposits"
# The number of a canonical row by which its account or deposit changed.
BALANCES = {OWED: "owed_money", DEPOSITS: "held_money"}

_PAPERS: dict[str, str] = {
    InvoiceKind.FULL: INVOICED,
    InvoiceKind.SIMPLE: INVOICED,
    InvoiceKind.CREDIT: CREDITED,
}

Whose = tuple[str, int]  # the customer's number, and a share or NO_SHARE
KeptParts = tuple[str, tuple[str, ...], dict[str, str], dict[str, int]]


class AccountMove(NamedTuple):
    """What a day's papers, payments (of one kind) or boxes come to, for one account or deposit.

    ``money``: as the rows state it, so that credit notes and what was paid back are below zero.
    """

    day: date
    number: str
    share: int
    what: str
    money: int

    @property
    def whose(self) -> Whose:
        return self.number, self.share

    @property
    def change(self) -> int:
        """What it adds to what is owed by the customer; of a deposit, to what is held for them."""
        is_owed = self.what in (INVOICED, CREDITED)
        if self.share == NO_SHARE:
            return self.money if is_owed else -self.money
        return -self.money if self.what == BOXES else self.money


@dataclass(frozen=True)
class Rolled:
    """An account, or the deposit of a share, over some days: start + since + moves = end.

    ``since``: what came late for closed months, where the days are shown beside them.
    """

    number: str
    share: int
    start: int
    since: int = 0
    moves: Mapping[str, int] = field(default_factory=dict)

    @property
    def whose(self) -> Whose:
        return self.number, self.share

    @property
    def invoiced(self) -> int:
        return self._stated(INVOICED)

    @property
    def credited(self) -> int:
        return -self._stated(CREDITED)

    @property
    def paid(self) -> int:
        return self._stated(Settling.PAID)

    @property
    def boxes(self) -> int:
        return self._stated(BOXES)

    @property
    def paid_back(self) -> int:
        return -self._stated(Settling.BACK)

    @property
    def given_up(self) -> int:
        """What the customer owes no more, less what they left to the farm; of a deposit, the
        other way round.
        """
        stated = sum(self._stated(what) for what in NO_MONEY_MOVES)
        return stated if self.share == NO_SHARE else -stated

    @property
    def change(self) -> int:
        if self.share == NO_SHARE:
            came = self.invoiced - self.credited
            return came - self.paid + self.paid_back - self.given_up
        return self.paid - self.boxes - self.paid_back - self.given_up

    @property
    def end(self) -> int:
        return self.start + self.since + self.change

    def _stated(self, what: str) -> int:
        return self.moves.get(what, 0)


class DepositLine(NamedTuple):
    """What a day did to the deposit of a share; ``held``: what is held after it."""

    day: date
    share: int
    what: str
    paid: int | None
    boxes: int | None
    held: int


# --- reading ---------------------------------------------------------------------------------


def account_moves(
    first: date, last: date, *, customer: Customer | None = None
) -> tuple[AccountMove, ...]:
    """Read what papers, payments and boxes of some days come to, by day; one query.

    All that was before stands on the day before the first.
    """
    rows = _stated(first, last, customer=customer)
    if first > date.min:
        before = first - ONE_DAY
        rows += _stated(date.min, before, whole=before, customer=customer)
    return tuple(sorted(_united(rows)))


def deposits_held_for(day: date, customer: Customer | None = None) -> dict[str, int]:
    """What is held for each customer's boxes at the end of a day, by their number; one query."""
    held: dict[str, int] = defaultdict(int)
    for move in _united(_stated(date.min, day, whole=day, customer=customer)):
        held[move.number] += 0 if move.share == NO_SHARE else move.change
    return held


def rolled(first: date, moves: Iterable[AccountMove]) -> list[Rolled]:
    """Roll every account and deposit forward from a day, over ``moves``; those before it are
    where they start.

    What was nothing at the start, did not move and is nothing at the end is left out.
    """
    start: dict[Whose, int] = defaultdict(int)
    since = []
    for move in moves:
        if move.day < first:
            start[move.whose] += move.change
        else:
            since.append(move)
    return _rolled(start, since)


def held_by_number(rows: Iterable[Rolled]) -> dict[str, int]:
    """What is held at the end for each customer's boxes."""
    held: dict[str, int] = defaultdict(int)
    for one in rows:
        held[one.number] += 0 if one.share == NO_SHARE else one.end
    return held


def rolled_by_month(year: int) -> list[tuple[date, list[Rolled]]]:
    """Roll on from month to month of a year: each with its first day; one query."""
    first_day = date(year, 1, 1)
    start: dict[Whose, int] = defaultdict(int)
    by_month: dict[date, list[AccountMove]] = defaultdict(list)
    for move in account_moves(first_day, date(year, 12, 31)):
        if move.day < first_day:
            start[move.whose] += move.change
        else:
            by_month[move.day.replace(day=1)].append(move)
    found = []
    for first in sorted(by_month):
        month = _rolled(start, by_month[first])
        start = {one.whose: one.end for one in month}
        found.append((first, month))
    return found


def beside_closed(rows: Iterable[Rolled], late: Mapping[Whose, int]) -> list[Rolled]:
    """Start where the closed months ended as they were closed; what came late stands apart.

    ``late``: what changed in them since.
    """
    known = {one.whose: one for one in rows}
    every = sorted(known.keys() | {whose for whose, money in late.items() if money})
    worked = [known.get(whose) or Rolled(*whose, 0) for whose in every]
    return [
        replace(one, start=one.start - late.get(one.whose, 0), since=late.get(one.whose, 0))
        for one in worked
    ]


def deposit_lines(customer: Customer, first: date, last: date) -> list[DepositLine]:
    """What was paid ahead for a customer's boxes, and what became of it, day by day; one query."""
    held: dict[int, int] = defaultdict(int)
    lines = []
    for move in account_moves(date.min, last, customer=customer):
        if move.share == NO_SHARE or not move.money:
            continue
        held[move.share] += move.change
        if move.day >= first:
            is_box = move.what == BOXES
            what = "boxes" if is_box else Settling(move.what).label
            paid, boxes = (None, move.money) if is_box else (move.money, None)
            lines.append(DepositLine(move.day, move.share, what, paid, boxes, held[move.share]))
    return lines


def given_up_by_invoice() -> dict[int, int]:
    """What was given up of each invoice, less what is owed again; one query."""
    rows = Payment.objects.filter(what__in=NO_MONEY_MOVES, invoice__isnull=False)
    rows = rows.annotate(root=Coalesce("invoice__credits", "invoice"))
    return dict(rows.order_by().values_list("root").annotate(Sum("amount_money")))


# --- canonical rows --------------------------------------------------------------------------


def kept_parts(first: date, moves: Iterable[AccountMove]) -> Iterator[KeptParts]:
    """Say what days did to each account and deposit: table, key, words and numbers."""
    for one in _rolled({}, (move for move in moves if move.day >= first)):
        if one.share == NO_SHARE:
            yield (
                OWED,
                (one.number,),
                {"customer number": one.number},
                {
                    "invoiced_money": one.invoiced,
                    "credited_money": one.credited,
                    "paid_money": one.paid,
                    "paid_back_money": one.paid_back,
                    "given_up_money": one.given_up,
                    "owed_money": one.change,
                },
            )
        else:
            words = {"customer number": one.number, "share": f"{one.share}"}
            yield (
                DEPOSITS,
                (one.number, f"{one.share:09}"),
                words,
                {
                    "paid_ahead_money": one.paid,
                    "boxes_money": one.boxes,
                    "paid_back_money": one.paid_back,
                    "left_to_the_farm_money": one.given_up,
                    "held_money": one.change,
                },
            )


# --- parts -----------------------------------------------------------------------------------


def _rolled(start: Mapping[Whose, int], moves: Iterable[AccountMove]) -> list[Rolled]:
    sums: dict[Whose, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    for move in moves:
        sums[move.whose][move.what] += move.money
    every = sorted(sums.keys() | {whose for whose, money in start.items() if money})
    return [Rolled(*whose, start.get(whose, 0), moves=sums[whose]) for whose in every]


def _stated(
    first: date, last: date, *, whole: date | None = None, customer: Customer | None = None
) -> list[QuerySet[Any, Any]]:
    """Add up what papers, payments and boxes state, by account, kind and day.

    ``whole``: the day that all of it is said to be of.
    """
    no_share, share = Value(NO_SHARE, BigIntegerField()), Coalesce("share", NO_SHARE)
    papers = InvoiceLine.objects.exclude(invoice__customer=None).annotate(of=no_share)
    payments = Payment.objects.annotate(of=share)
    boxes = SaleLine.objects.annotate(day=BOX_DAY, what=Value(BOXES, CharField()))
    box = "sale__note__box__share"
    found = (
        (
            papers,
            ("invoice__issued_on", "invoice__customer", "of", "invoice__kind"),
            "sale_line__gross",
        ),
        (payments, ("paid_on", "customer", "of", "what"), "amount_money"),
        (
            boxes.filter(**{f"{box}__isnull": False}),
            ("day", f"{box}__customer", box, "what"),
            "gross",
        ),
    )
    return [
        rows.filter(**{f"{by[0]}__range": (first, last)}, **({by[1]: customer} if customer else {}))
        .annotate(whole_day=Value(whole, DateField()))
        .order_by()
        .values_list("whole_day" if whole else by[0], *by[1:])
        .annotate(Sum(money))
        for rows, by, money in found
    ]


def _united(parts: Sequence[QuerySet[Any, Any]]) -> Iterator[AccountMove]:
    """Name customers by number, and papers by what they do; one query."""
    for day, customer, share, what, money in parts[0].union(*parts[1:], all=True):
        yield AccountMove(day, Customer(pk=customer).number, share, _PAPERS.get(what, what), money)
