"""What a day at a stall earned: takings less what was sold, given away, the stall, and hours.

What a day earned is worked, never kept: it follows from the sale as it was corrected, and from the
cost that the book works out for what was sold.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from statistics import median

from django.db.models import F, QuerySet, Sum

from farm.models import LoadLine, Sale, SaleLine, SellingCost
from ledger.models import KINDS, Flow, Item, Line, Lot, Role

USUAL_DAYS = 8


@dataclass
class Earned:
    """A day's money, all of it above zero; ``own_*`` is the part that own hours have in it.

    ``cost``: of what was sold, as the book carries it; ``given``: the same of what was given away,
    by reason. ``minutes`` at the stall, ``own_minutes`` of them own.
    """

    net: int = 0
    tax: int = 0
    gross: int = 0
    cost: int = 0
    own_cost: int = 0
    given: dict[str, int] = field(default_factory=dict)
    own_given: int = 0
    fees: int = 0
    cards: int = 0
    paid_hours: int = 0
    own_hours: int = 0
    minutes: int = 0
    own_minutes: int = 0

    @property
    def with_own(self) -> int:
        """What is left when own hours, growing's included, are paid like any others."""
        spent = self.cost + sum(self.given.values()) + self.fees + self.cards
        return self.net - spent - self.paid_hours - self.own_hours

    @property
    def without_own(self) -> int:
        """What is left for own hours."""
        return self.with_own + self.own_cost + self.own_given + self.own_hours

    def per_hour(self, money: int) -> int | None:
        """Money for each hour at the stall, half to even; none where no time is known."""
        return round(Fraction(money * 60, self.minutes)) if self.minutes else None


@dataclass(frozen=True)
class Usual:
    """The median of the last settled days of a place on the same weekday; ``days`` of them."""

    days: int
    gross: int
    without_own: int


@dataclass(frozen=True)
class ItemRow:
    """One product of a day, all its lots together, in their own unit."""

    item: Item
    lots: tuple[Lot, ...]
    took: int
    sold: int
    given: int
    gross: int

    @property
    def back(self) -> int:
        return self.took - self.sold - self.given


def settled_days() -> QuerySet[Sale]:
    """The sales that settled stall days and stand, the newest day first."""
    sales = Sale.objects.filter(stall_day__isnull=False)
    standing = sales.exclude(entry__amendments__takes_back=True)
    known = standing.select_related("entry", "place", "stall_day__place", "stall_day__seller")
    return known.order_by("-stall_day__day", "-pk")


def earned_of(sale: Sale) -> Earned:
    return earned_by([sale])[sale.pk]


def earned_by(sales: Sequence[Sale]) -> dict[int, Earned]:
    """Work out what each of some settled days earned; five queries and one for each return."""
    found = {sale.pk: Earned() for sale in sales}
    by_entry = {sale.entry_id: found[sale.pk] for sale in sales}
    _add_takings(found)
    _add_cost_of_sold(by_entry)
    _add_given(found)
    by_load = {sale.stall_day.entry_id: found[sale.pk] for sale in sales if sale.stall_day}
    _add_selling({**by_load, **by_entry})
    return found


def usual_of(sale: Sale) -> Usual | None:
    """What the last days at that place on that weekday came to; none before the first."""
    assert sale.stall_day
    day = sale.stall_day.day
    before = settled_days().filter(place=sale.place, stall_day__day__lt=day)
    alike = before.filter(stall_day__day__iso_week_day=day.isoweekday())[:USUAL_DAYS]
    days = list(earned_by(list(alike)).values())
    if not days:
        return None
    return Usual(
        len(days),
        _median(one.gross for one in days),
        _median(one.without_own for one in days),
    )


def item_rows(sale: Sale) -> list[ItemRow]:
    """What became of the load, product by product, in the order of the load list; four queries."""
    loaded = LoadLine.objects.filter(stall_day=sale.stall_day).order_by("pk")
    lines: dict[Item, list[LoadLine]] = defaultdict(list)
    for line in loaded.select_related("lot__item", "lot__card"):
        lines[line.lot.item].append(line)
    sold = _by_item(Flow.objects.filter(entry=sale.entry_id, role=Role.SOLD))
    given = _by_item(Flow.objects.filter(entry__given_away__sale=sale, role=Role.LOST))
    money = SaleLine.objects.filter(sale=sale, line__role=Role.SOLD)
    gross = dict(money.values_list("line__lot__item").annotate(Sum("gross")).order_by())
    return [
        ItemRow(
            item=item,
            lots=tuple(line.lot for line in several),
            took=sum(line.quantity for line in several),
            sold=sold.get(item.pk, 0),
            given=given.get(item.pk, 0),
            gross=gross.get(item.pk, 0),
        )
        for item, several in lines.items()
    ]


def came_back(sale: Sale) -> list[tuple[Lot, int]]:
    """What came back of each lot and is still on hand, for whoever decides about it."""
    gone: dict[int, int] = defaultdict(int)
    flows = Flow.objects.filter(entry=sale.entry_id, role=Role.SOLD)
    for lot, quantity in [
        *flows.values_list("lot_id", "quantity"),
        *Flow.objects.filter(entry__given_away__sale=sale).values_list("lot_id", "quantity"),
    ]:
        gone[lot] -= quantity
    loaded = LoadLine.objects.filter(stall_day=sale.stall_day).order_by("pk")
    known = loaded.select_related("lot__item", "lot__card__species", "lot__card__product")
    back = [(line.lot, line.quantity - gone[line.lot_id]) for line in known]
    return [(lot, min(quantity, lot.quantity)) for lot, quantity in back
            if min(quantity, lot.quantity) > 0]  # fmt: skip


# --- parts -----------------------------------------------------------------------------------


def _add_takings(found: dict[int, Earned]) -> None:
    """Takings as corrected, less what came back since."""
    rows = SaleLine.objects.filter(sale__in=found).values_list("sale_id")
    sums = rows.annotate(Sum("net"), Sum("tax"), Sum("gross")).order_by()
    for sale, net, tax, gross in sums:
        found[sale].net, found[sale].tax, found[sale].gross = net, tax, gross


def _add_cost_of_sold(by_entry: dict[int, Earned]) -> None:
    """Cost of what was sold, less that of what came back since."""
    sold = Flow.objects.filter(entry__in=by_entry, role=Role.SOLD)
    for entry, cost, own in _costs(sold, "entry_id"):
        by_entry[entry].cost, by_entry[entry].own_cost = cost, own
    backs = Line.objects.filter(role=Role.BACK, returns__entry__in=by_entry)
    for entry, place, lot in backs.values_list(
        "returns__entry", "entry__place", "lot_id"
    ).distinct():
        flows = Flow.objects.filter(entry=place, lot=lot, role=Role.BACK)
        for _, cost, own in _costs(flows, "entry_id"):
            by_entry[entry].cost += cost
            by_entry[entry].own_cost += own


def _add_given(found: dict[int, Earned]) -> None:
    flows = Flow.objects.filter(entry__given_away__sale__in=found, role=Role.LOST)
    rows = flows.annotate(sale=F("entry__given_away__sale"), why=F("entry__given_away__why"))
    for sale, why, *parts in rows.values_list("sale", "why", *KINDS):
        known = found[sale].given
        known[why] = known.get(why, 0) - sum(parts)
        found[sale].own_given -= parts[OWN]


def _add_selling(by_entry: dict[int, Earned]) -> None:
    rows = SellingCost.objects.filter(entry__place__in=by_entry)
    sums = rows.values_list("entry__place", "what", "own").annotate(Sum("amount"), Sum("minutes"))
    for entry, what, own, amount, minutes in sums.order_by():
        day = by_entry[entry]
        if what == SellingCost.HOURS:
            day.minutes += minutes
            day.own_minutes += minutes if own else 0
            day.own_hours += amount if own else 0
            day.paid_hours += 0 if own else amount
        elif what == SellingCost.CARDS:
            day.cards += amount
        else:
            day.fees += amount


OWN = KINDS.index("own")


def _costs(flows: QuerySet[Flow], by: str) -> list[tuple[int, int, int]]:
    """Cost that left lots, and own hours' part of it, added up by a key."""
    sums = flows.values_list(by).annotate(*(Sum(kind) for kind in KINDS)).order_by()
    return [(key, -sum(parts), -parts[OWN]) for key, *parts in sums]


def _by_item(flows: QuerySet[Flow]) -> dict[int, int]:
    sums = flows.values_list("lot__item").annotate(Sum("quantity")).order_by()
    return {item: -quantity for item, quantity in sums}


def _median(values: Iterable[int]) -> int:
    """The middle value; of two, what lies between them, half to even."""
    return round(median(Fraction(value) for value in values))
