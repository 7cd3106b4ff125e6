"""What was in the till of a stall, what should have been, and what tokens are still owed."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import F, OuterRef, Subquery, Sum
from django.db.models.functions import Coalesce

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
    """The count that stands for a settled day; none where it was not counted. One query."""
    return cashes_of([sale]).get(sale.pk)


def cashes_of(sales: Iterable[Sale]) -> dict[int, Cash]:
    """The counts that stand, by the sale they belong to; one query."""
    # Sold at the stall, as corrected; what came back on another day is no cash of it.
    sold = SaleLine.objects.filter(sale=OuterRef("sale"), line__role=Role.SOLD).order_by()
    sums = sold.values("sale").annotate(total=Sum("gross")).values("total")
    tokens = CashUpToken.objects.filter(cash_up=OuterRef("pk")).order_by()
    worth = tokens.values("cash_up").annotate(total=Sum(WORTH)).values("total")
    rows = (
        CashUp.objects.filter(sale__in=[sale.pk for sale in sales])
        .order_by("pk")
        .annotate(sales_money=Coalesce(Subquery(sums), 0), token_money=Coalesce(Subquery(worth), 0))
    )
    found: dict[int, Cash] = {}
    for row in rows.select_related("by"):
        before = found[row.sale_id].counts if row.sale_id in found else 0
        found[row.sale_id] = Cash(row, row.sales_money, row.token_money, before + 1)
    return found


def tokens_owed(tokens: Iterable[Token] | None = None) -> list[TokensOwed]:
    """Say of kinds of token (all) what is owed for them, by the counts that stand; three queries,
    and one where the kinds are not at hand.
    """
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
        for token in (Token.objects.select_related("place") if tokens is None else tokens)
    ]


def _standing_counts() -> list[int]:
    """The newest count of each day that was not taken back."""
    rows = CashUp.objects.standing("sale__entry")
    newest = {sale: pk for sale, pk in rows.order_by("pk").values_list("sale_id", "pk")}
    return list(newest.values())
