"""The till of a stall day: what is on offer at which price, and what was tapped so far."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from math import floor

from django.db.models import Sum

from farm.models import LoadLine, Product, StallDay, Tap, TapOf, TillPrice, the_farm
from farm.queries.selling.prices import prices_at
from farm.units import MONEY_PER_CENT, in_unit
from ledger.models import Dimension, Item, Lot

# Of a load: what is loose, then packs, the fresh before the dried.
IN_ORDER = ("lot__card__stage", "-lot__card__product__form", "lot__item__name", "lot_id")


@dataclass(frozen=True)
class TillGoods:
    """One item of a load, all its lots together, in their own unit.

    ``list_money``: the listed price, or where none is listed the first one set at the till;
    ``unit_money``: the price now. ``tapped``: how much by what a tap says; ``taken_money``: what
    the sold taps came to.
    """

    item: Item
    lots: tuple[Lot, ...]
    loaded: int
    list_money: int | None
    unit_money: int | None
    tapped: dict[str, int]
    taken_money: int

    @property
    def is_counted(self) -> bool:
        return self.item.dimension == Dimension.COUNT

    @property
    def left(self) -> int:
        """What should be there still; below zero where more was tapped than loaded."""
        return self.loaded - sum(self.tapped.values())

    @property
    def there(self) -> int:
        return max(0, self.left)

    @property
    def over(self) -> int:
        """How much more was tapped than loaded: taps are kept whatever they come to."""
        return max(0, -self.left)

    @property
    def held(self) -> tuple[Lot, ...]:
        """Its lots on hold: which of them a hand takes nobody knows, so none of it is offered."""
        return tuple(lot for lot in self.lots if lot.held)

    @property
    def sold(self) -> int:
        return self.tapped.get(TapOf.SOLD, 0)


def till_goods(stall_day: StallDay) -> list[TillGoods]:
    """Everything loaded, item by item, in the order of the load list; four queries."""
    lines: dict[Item, list[LoadLine]] = defaultdict(list)
    loaded = stall_day.lines.select_related(
        "lot__item", "lot__card__product", "lot__card__species", "lot__made_by"
    )
    for line in loaded.order_by(*IN_ORDER):
        lines[line.lot.item].append(line)
    listed = _listed(stall_day, (line for several in lines.values() for line in several))
    prices = _prices(stall_day)
    tapped, taken = _tapped(stall_day)
    return [
        TillGoods(
            item=item,
            lots=tuple(line.lot for line in several),
            loaded=sum(line.quantity for line in several),
            list_money=listed.get(item.pk, next(iter(prices[item.pk]), None)),
            unit_money=next(reversed(prices[item.pk]), listed.get(item.pk)),
            tapped=dict(tapped[item.pk]),
            taken_money=taken[item.pk],
        )
        for item, several in lines.items()
    ]


def tapped_packs(stall_day: StallDay) -> int:
    """How many packs were tapped as sold; one query."""
    packs = stall_day.taps.filter(of=TapOf.SOLD, item__dimension=Dimension.COUNT)
    found: int = packs.aggregate(total=Sum("quantity", default=0))["total"]
    return found


def goods_at(stall_day: StallDay, item: Item) -> TillGoods:
    """One item of a load."""
    return next(goods for goods in till_goods(stall_day) if goods.item == item)


def last_tap(stall_day: StallDay, item: Item | int) -> Tap | None:
    """The newest tap of an item that was not taken back; one query."""
    standing: list[Tap] = []
    for tap in stall_day.taps.filter(item=item).order_by("pk"):
        if tap.quantity > 0:
            standing.append(tap)
        elif standing:
            standing.pop()
    return standing[-1] if standing else None


def newest_taps(stall_day: StallDay, limit: int = 5) -> list[Tap]:
    return list(stall_day.taps.select_related("item").order_by("-pk")[:limit])


def _listed(stall_day: StallDay, lines: Iterable[LoadLine]) -> dict[int, int]:
    """The listed price by item, in force at the place on the day; two queries.

    What is loose is tapped by the weight that the farm works in: a price of another is none.
    """
    prices, unit = prices_at(stall_day.place, stall_day.day), the_farm().weight_unit
    goods = {line.lot.item_id: line.lot.card.goods for line in lines}
    found = {item: prices[what] for item, what in goods.items() if what in prices}
    return {
        item: price.unit_money
        for item, price in found.items()
        if isinstance(goods[item], Product) or price.weight_unit == unit
    }


def _prices(stall_day: StallDay) -> dict[int, list[int]]:
    found: dict[int, list[int]] = defaultdict(list)
    rows = TillPrice.objects.filter(stall_day=stall_day).order_by("pk")
    for item, money in rows.values_list("item_id", "unit_money"):
        found[item].append(money)
    return found


def _tapped(stall_day: StallDay) -> tuple[dict[int, dict[str, int]], dict[int, int]]:
    tapped: dict[int, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    taken: dict[int, int] = defaultdict(int)
    unit = the_farm().weight_unit
    for tap in stall_day.taps.select_related("item").order_by("pk"):
        tapped[tap.item_id][tap.of] += tap.quantity
        if tap.of == TapOf.SOLD:
            taken[tap.item_id] += money_of(tap, unit)
    return tapped, taken


def money_of(tap: Tap, weight_unit: str) -> int:
    """What one tap came to, rounded half up to the cent; one taken back, the same below zero."""
    if tap.item.dimension == Dimension.COUNT:
        return tap.quantity * tap.unit_money
    cents = tap.unit_money * in_unit(abs(tap.quantity), weight_unit) / MONEY_PER_CENT
    money = floor(cents + Fraction(1, 2)) * MONEY_PER_CENT
    return money if tap.quantity > 0 else -money
