"""A market's sales day by day, for whoever sets the stall's fee: of one place, and money only."""

from dataclasses import dataclass
from datetime import date

from django.db.models import Sum
from django.db.models.functions import Coalesce

from farm.models import SaleLine, SellingCost, SellingPlace
from farm.queries.movements import ROOT_DAY

SOLD_DAY = Coalesce("line__entry__amends__happened_on", "line__entry__happened_on")


@dataclass
class FeeDay:
    """One day's sales at a place, corrections and returns counted on the day they belong to."""

    day: date
    net: int = 0
    tax: int = 0
    gross: int = 0
    day_fee: int = 0
    share: int = 0


def fee_days(place: SellingPlace, first: date, last: date) -> list[FeeDay]:
    """List the days of a span, both ends included, on which anything was sold; two queries.

    A sale counts on the day that it was recorded to have happened, as it does in the month.
    """
    found: dict[date, FeeDay] = {}
    rows = SaleLine.objects.filter(sale__place=place)
    dated = rows.annotate(day=SOLD_DAY).filter(day__range=(first, last))
    for day, net, tax, gross in (
        dated.values_list("day").annotate(Sum("net"), Sum("tax"), Sum("gross")).order_by("day")
    ):
        found[day] = FeeDay(day, net, tax, gross)
    fees = SellingCost.objects.filter(
        place=place, what__in=(SellingCost.FEE, SellingCost.SHARE)
    ).annotate(day=ROOT_DAY)
    for day, what, amount in (
        fees.filter(day__range=(first, last))
        .values_list("day", "what")
        .annotate(Sum("amount"))
        .order_by("day")
    ):
        one = found.setdefault(day, FeeDay(day))
        if what == SellingCost.FEE:
            one.day_fee = amount
        else:
            one.share = amount
    return [found[day] for day in sorted(found) if any(_numbers(found[day]))]


def _numbers(one: FeeDay) -> tuple[int, ...]:
    return one.net, one.tax, one.gross, one.day_fee, one.share
