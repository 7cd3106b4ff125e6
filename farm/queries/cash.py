"""What was in the till of a stall, what should have been, and what tokens are still owed."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import F, Sum

from farm.models import CashUp, CashUpToken, Sale, SaleLine, Token, TokensPaid
from ledger.models import Role

WORTH = F("count") * F("value_money")


@dataclass(frozen=True)
class Cash:
    """One cash-up beside the sales, as corrected; ``counts``: how many counts were made.

    ``sales_money``: tax in it. ``expected_money`` is what should lie in the till.
    """

    kept: CashUp
    sales_money: int
    token_money: int
    counts: int

    @property
    def expected_money(self) -> int:
        """Float and sales, less what cards and tokens paid and what was paid out.

        100.00 + 155.00 - 50.00 - 7.00 - 25.00 are 173.00.
        """
        kept = self.kept
        came = kept.float_money + self.sales_money
        return came - kept.card_money - self.token_money - kept.paid_out_money

    @property
    def difference_money(self) -> int:
        """Above zero: more was counted than expected."""
        return self.kept.cash_money - self.expected_money


@dataclass(frozen=True)
class TokensOwed:
    """A kind of token: what was handed in, what its issuer paid, what is still owed."""

    token: Token
    count: int
    counted_money: int
    paid_money: int

    @property
    def owed_money(self) -> int:
        return self.counted_money - self.paid_money


def cash_of(sale: Sale) -> Cash | None:
    """The count that stands for a settled day; none where it was not counted. Four queries."""
    return cashes_of([sale]).get(sale.pk)


def cashes_of(sales: Iterable[Sale]) -> dict[int, Cash]:
    """The counts that stand, by the sale they belong to; three queries."""
    rows = CashUp.objects.filter(sale__in=[sale.pk for sale in sales]).order_by("pk")
    newest: dict[int, CashUp] = {}
    counts: dict[int, int] = {}
    for row in rows.select_related("by"):
        newest[row.sale_id] = row
        counts[row.sale_id] = counts.get(row.sale_id, 0) + 1
    taken = _at_the_stall(newest)
    tokens = _token_money([row.pk for row in newest.values()])
    return {
        sale: Cash(row, taken.get(sale, 0), tokens.get(row.pk, 0), counts[sale])
        for sale, row in newest.items()
    }


def tokens_owed() -> list[TokensOwed]:
    """Every kind of token with what is owed for it, by the counts that stand; four queries."""
    newest = _standing_counts()
    rows = CashUpToken.objects.filter(cash_up__in=newest)
    counted = {
        token: (number, money)
        for token, number, money in rows.values_list("token_id")
        .annotate(number=Sum("count"), money=Sum(WORTH))
        .order_by()
    }
    paid = dict(TokensPaid.objects.values_list("token_id").annotate(Sum("amount")).order_by())
    return [
        TokensOwed(token, *counted.get(token.pk, (0, 0)), paid.get(token.pk, 0))
        for token in Token.objects.select_related("place")
    ]


def _standing_counts() -> list[int]:
    """The newest count of each day that was not taken back."""
    rows = CashUp.objects.exclude(sale__entry__amendments__takes_back=True)
    newest = {sale: pk for sale, pk in rows.order_by("pk").values_list("sale_id", "pk")}
    return list(newest.values())


def _at_the_stall(sales: Iterable[int]) -> dict[int, int]:
    """What was sold at the stall, as corrected; what came back on another day is no cash of it."""
    rows = SaleLine.objects.filter(sale__in=list(sales), line__role=Role.SOLD)
    return dict(rows.values_list("sale_id").annotate(Sum("gross")).order_by())


def _token_money(cash_ups: Iterable[int]) -> dict[int, int]:
    rows = CashUpToken.objects.filter(cash_up__in=list(cash_ups))
    sums = rows.values_list("cash_up_id").annotate(money=Sum(WORTH))
    return {key: money for key, money in sums.order_by()}
