"""What a day at a stall earned: takings less what was sold, given away, the stall, and hours.

What a day earned is worked, never kept: it follows from the sale as it was corrected, and from the
cost that the book works out for what was sold.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import reduce
from operator import or_
from statistics import median
from typing import Any

from django.db.models import Q, QuerySet, Sum
from django.db.models.functions import TruncMonth

from farm.models import GivenAway, LoadLine, Sale, SaleLine, SellingCost
from farm.queries.cells import CENT, handed_flows, handed_selling
from farm.queries.movements import (
    ROOT_DAY,
    Moved,
    Selling,
    cells_of,
    closed_among,
    moved,
    whole_months,
)
from farm.steps import share_steps
from ledger.models import Entry, Flow, Item, Line, Lot, Role

USUAL_DAYS = 8


@dataclass
class Earned:
    """A day's money, all of it above zero; ``own_*`` is the part that own hours have in it.

    ``cost``: of what was sold, as its month handed it out; ``given``: the same of what was given
    away, by reason. ``minutes`` at the stall, ``own_minutes`` of them own.
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


@dataclass(frozen=True)
class Became:
    """What became of a load, line by line.

    ``gone``: what was sold or given away, by lot, item and role; ``gross``: takings by item.
    """

    lines: tuple[LoadLine, ...]
    gone: tuple[tuple[int, int, str, int], ...]
    gross: Mapping[int, int]

    def items(self) -> list[ItemRow]:
        """Product by product, in the order of the load list."""
        lines: dict[Item, list[LoadLine]] = defaultdict(list)
        for line in self.lines:
            lines[line.lot.item].append(line)
        return [
            ItemRow(
                item=item,
                lots=tuple(line.lot for line in several),
                took=sum(line.quantity for line in several),
                sold=self._of_item(item, Role.SOLD),
                given=self._of_item(item, Role.LOST),
                gross=self.gross.get(item.pk, 0),
            )
            for item, several in lines.items()
        ]

    def back(self) -> list[tuple[Lot, int]]:
        """What came back of each lot and is still on hand, for whoever decides about it."""
        gone: dict[int, int] = defaultdict(int)
        for lot, _, _, quantity in self.gone:
            gone[lot] += quantity
        back = [(line.lot, line.quantity - gone[line.lot_id]) for line in self.lines]
        return [
            (lot, min(quantity, lot.quantity))
            for lot, quantity in back
            if min(quantity, lot.quantity) > 0
        ]

    def _of_item(self, item: Item, role: Role) -> int:
        return sum(gone for _, of, how, gone in self.gone if (of, how) == (item.pk, role))


def settled_days() -> QuerySet[Sale]:
    """The sales that settled stall days and stand, the newest day first."""
    sales = Sale.objects.filter(stall_day__isnull=False)
    standing = sales.standing()
    known = standing.select_related("entry", "place", "stall_day__place", "stall_day__seller__user")
    return known.order_by("-stall_day__day", "-pk")


def days_before(sale: Sale) -> list[Sale]:
    """The last settled days before one, at its place and on its weekday."""
    assert sale.stall_day
    day = sale.stall_day.day
    before = settled_days().filter(place=sale.place, stall_day__day__lt=day)
    return list(before.filter(stall_day__day__iso_week_day=day.isoweekday())[:USUAL_DAYS])


def earned_by(sales: Sequence[Sale]) -> dict[int, Earned]:
    """Work out what each of some settled days earned; eight queries."""
    found = {sale.pk: Earned() for sale in sales}
    by_entry = {sale.entry_id: found[sale.pk] for sale in sales}
    _add_takings(found)
    _add_costs(found, by_entry)
    by_load = {sale.stall_day.entry_id: found[sale.pk] for sale in sales if sale.stall_day}
    _add_selling({**by_load, **by_entry})
    return found


def usual_of(days: Sequence[Earned]) -> Usual | None:
    """What some days usually came to; nothing is usual before the first."""
    if not days:
        return None
    return Usual(
        len(days),
        _median(one.gross for one in days),
        _median(one.without_own for one in days),
    )


def became_of(sale: Sale) -> Became:
    """What became of the load that a sale settled; three queries."""
    loaded = (
        LoadLine.objects.filter(stall_day=sale.stall_day)
        .order_by("pk")
        .select_related("lot__item", "lot__card__species", "lot__card__product")
    )
    given = GivenAway.objects.filter(sale=sale).values("entry")
    flows = Flow.objects.filter(
        Q(entry=sale.entry_id, role=Role.SOLD) | Q(entry__in=given, role=Role.LOST)
    )
    gone = flows.order_by().values_list("lot", "lot__item", "role").annotate(gone=-Sum("quantity"))
    money = SaleLine.objects.filter(sale=sale, line__role=Role.SOLD)
    gross = dict(money.values_list("line__lot__item").annotate(Sum("gross")).order_by())
    return Became(tuple(loaded), tuple(gone), gross)


# --- parts -----------------------------------------------------------------------------------


def _add_takings(found: dict[int, Earned]) -> None:
    """Takings as corrected, less what came back since."""
    rows = SaleLine.objects.filter(sale__in=found).values_list("sale_id")
    sums = rows.annotate(Sum("net"), Sum("tax"), Sum("gross")).order_by()
    for sale, net, tax, gross in sums:
        found[sale].net, found[sale].tax, found[sale].gross = net, tax, gross


def _add_costs(found: dict[int, Earned], by_entry: dict[int, Earned]) -> None:
    """Cost of what was sold, less that of what came back since, and of what was given away."""
    backs = Line.objects.filter(role=Role.BACK, returns__entry__in=by_entry)
    came = {
        (place, lot): entry
        for entry, place, lot in backs.values_list("returns__entry", "entry__place", "lot")
    }
    given = GivenAway.objects.filter(sale__in=found)
    why = {
        entry: (found[sale], word)
        for entry, sale, word in given.values_list("entry", "sale", "why")
    }
    for one in _handed_of({*by_entry, *why, *(place for place, _ in came)}):
        if one.role == Role.SOLD and one.entry in by_entry:
            day = by_entry[one.entry]
        elif one.role == Role.BACK and (one.entry, one.lot) in came:
            day = by_entry[came[one.entry, one.lot]]
        elif one.role == Role.LOST and one.entry in why:
            day, word = why[one.entry]
            day.given[word] = day.given.get(word, 0) - one.money
            day.own_given -= one.own
            continue
        else:
            continue
        day.cost -= one.money
        day.own_cost -= one.own


def _handed_of(entries: Collection[int]) -> list[Moved]:
    """What some entries moved, as their months handed it out; months without one are not read."""
    days = Entry.objects.filter(seq__in=entries).values_list("happened_on", flat=True)
    months = sorted({day.replace(day=1) for day in days})
    if not months:
        return []
    closed = cells_of(closed_among(months[0], months[-1]))
    whole = [Q(entry__happened_on__range=whole_months(month, month)) for month in months]
    rows = moved(Flow.objects.filter(reduce(or_, whole)))
    return [one for one in handed_flows(rows, closed) if one.entry in entries]


def _add_selling(by_entry: dict[int, Earned]) -> None:
    """Add what selling cost, in the cents that its month hands out to a day, a place and a kind.

    Entries of one day, place and kind share its cents by what each cost, the earlier first.
    """
    for row, entry, cents, minutes in _handed_selling_of(by_entry):
        day = by_entry[entry]
        if row.what == SellingCost.HOURS:
            day.minutes += minutes
            day.own_minutes += minutes if row.own else 0
            day.own_hours += cents if row.own else 0
            day.paid_hours += 0 if row.own else cents
        elif row.what == SellingCost.CARDS:
            day.cards += cents
        else:
            day.fees += cents


def _handed_selling_of(entries: Collection[int]) -> list[tuple[Selling, int, int, int]]:
    """List what selling cost at some entries: its kind, the entry, its cents and its minutes."""
    months = Entry.objects.filter(seq__in=entries).values(month=TruncMonth("happened_on"))
    costs = SellingCost.objects.annotate(day=ROOT_DAY, month=TruncMonth(ROOT_DAY))
    kind = ("day", "place_id", "place__name", "what", "own")
    sums = costs.filter(month__in=months).values_list(*kind, "entry__place")
    rows: dict[tuple[Any, ...], list[tuple[int, int, int]]] = defaultdict(list)
    by = sums.annotate(Sum("amount"), Sum("minutes")).order_by(*kind, "entry__place")
    for *of, entry, amount, minutes in by:
        rows[tuple(of)].append((entry, amount, minutes))
    kinds = [
        Selling._make((*of, sum(amount for _, amount, _ in shared))) for of, shared in rows.items()
    ]
    if not kinds:
        return []
    closed = cells_of(closed_among(kinds[0].day, kinds[-1].day))
    found = []
    for one, shared in zip(handed_selling(kinds, closed), rows.values(), strict=True):
        parts = share_steps([amount for _, amount, _ in shared], CENT, one.money // CENT)
        found += [
            (one, entry, part * CENT, minutes)
            for part, (entry, _, minutes) in zip(parts, shared, strict=True)
            if entry in entries
        ]
    return found


def _median(values: Iterable[int]) -> int:
    """The middle value; of two, what lies between them, half to even."""
    return round(median(Fraction(value) for value in values))
