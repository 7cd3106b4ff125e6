"""What happened in some days, read once: every table of a month is made of these rows.

A flow counts on the day of its entry. What states money (a sale line, a charge, a selling cost)
counts on the day of what its entry corrects.
"""

import json
from bisect import bisect_left, bisect_right
from calendar import monthrange
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from itertools import starmap
from operator import attrgetter
from typing import Any, NamedTuple

from django.db.models import CharField, Min, QuerySet, Sum, Value
from django.db.models.functions import Coalesce, Concat

from farm.models import Bill, ClosedMonth, SaleLine, SellingCost, Stage
from farm.queries.finding import Amount, amount_of
from farm.queries.roll_forward import AccountMove, account_moves
from ledger.models import KINDS, Charge, Dimension, Edge, Entry, Flow, Line, Role

ROOT_DAY = Coalesce("entry__amends__happened_on", "entry__happened_on")
BOUGHT = "bought"
BILLED = "billed "
# What is read of a flow, in the order of Moved.
_READ = (
    "entry__happened_on", "entry_id", "entry__kind", "entry__reason", "role", "quantity", *KINDS,
    "lot_id", "lot__code", "lot__unit_mass_mg", "lot__item__name", "lot__item__dimension",
    "lot__card__stage", "lot__card__grade", "lot__card__flush", "lot__card__species_id",
    "lot__card__species__name", "lot__card__product__name", "lot__card__product__form",
)  # fmt: skip


class Moved(NamedTuple):
    """One flow, with what must be known of its entry and its lot.

    ``handed_mg`` and ``handed_money``: its whole grams and cents, once those are handed out
    (`farm.queries.cells`); before that it counts as the book has it.
    """

    day: date
    entry: int
    kind: str
    reason: str
    role: str
    quantity: int
    materials: int
    paid: int
    own: int
    energy: int
    room: int
    lot: int
    lot_code: str
    unit_mass_mg: int | None
    item: str
    dimension: str
    stage: int
    grade: str
    flush: int | None
    species_pk: int | None
    species: str | None
    product: str | None
    form: str | None
    handed_mg: int | None = None
    handed_money: int | None = None

    @property
    def cost(self) -> tuple[int, ...]:
        return self.materials, self.paid, self.own, self.energy, self.room

    @property
    def money(self) -> int:
        return sum(self.cost) if self.handed_money is None else self.handed_money

    @property
    def exact_mg(self) -> int:
        return amount_of(self.quantity, self.dimension, self.unit_mass_mg).mass_mg or 0

    @property
    def mass_mg(self) -> int | None:
        if self.handed_mg is not None:
            return self.handed_mg
        return amount_of(self.quantity, self.dimension, self.unit_mass_mg).mass_mg

    @property
    def amount(self) -> Amount:
        return Amount(self.quantity if self.dimension == Dimension.COUNT else None, self.mass_mg)

    @property
    def amount_out(self) -> Amount:
        pieces, mass_mg = self.amount.pieces, self.amount.mass_mg
        return Amount(pieces and -pieces, mass_mg and -mass_mg)


class Given(NamedTuple):
    """So much of one lot went into another at an entry."""

    src: int
    src_code: str
    src_stage: int
    dst: int
    dst_stage: int
    entry: int
    quantity: int


class CameIn(NamedTuple):
    """Cost that came into the book on a day: BOUGHT, or a kind that was charged."""

    day: date
    what: str
    money: int


class Selling(NamedTuple):
    """What selling cost on a day at a place: fees, or hours, perhaps one's ``own``."""

    day: date
    place_pk: int
    place: str
    what: str
    own: bool
    money: int


class Billed(NamedTuple):
    month: date
    kind: str
    money: int


# Sale lines by the entry (as it stands), the lot and the role of the flow that they belong to.
SaleLines = Mapping[tuple[int, int, str], Sequence[SaleLine]]


@dataclass(frozen=True)
class Money:
    """What came in, what selling cost, and the months' bills."""

    came_in: tuple[CameIn, ...]
    selling: tuple[Selling, ...]
    billed: tuple[Billed, ...]

    def within(self, first: date, last: date) -> "Money":
        return Money(
            tuple(one for one in self.came_in if first <= one.day <= last),
            tuple(one for one in self.selling if first <= one.day <= last),
            tuple(one for one in self.billed if first <= one.month <= last),
        )

    def charged(self) -> tuple[int, ...]:
        """Labour, energy and room that entries charged, by kind."""
        return tuple(self._came_in(kind) for kind in KINDS)

    def bought(self) -> int:
        return self._came_in(BOUGHT)

    def _came_in(self, what: str) -> int:
        return sum(one.money for one in self.came_in if one.what == what)


NO_MONEY = Money((), (), ())
# What closed months handed out: by key, the exact number then and its whole grams or cents.
Cells = Mapping[str, Sequence[int]]
NO_CELLS: Cells = {}


@dataclass(frozen=True)
class Happened:
    """``moved``: in the order of days and entries. ``given``: into what was picked (given_into).

    ``accounts``: what papers, payments and boxes did to what customers owe, and to what is held
    for them; with all that was before.
    ``closed``: what closed months among these handed out (`farm.queries.cells`).
    """

    moved: tuple[Moved, ...]
    lines: SaleLines
    given: tuple[Given, ...]
    money: Money
    accounts: tuple[AccountMove, ...] = ()
    closed: Cells = field(default_factory=dict)

    def within(self, first: date, last: date) -> "Happened":
        """Narrow to some of the days; what is looked up by entry or lot stays whole."""
        day = attrgetter("day")
        start = bisect_left(self.moved, first, key=day)
        end = bisect_right(self.moved, last, key=day)
        return replace(
            self,
            moved=self.moved[start:end],
            money=self.money.within(first, last),
            accounts=tuple(one for one in self.accounts if one.day <= last),
        )


def whole_months(first: date, last: date) -> tuple[date, date]:
    """The first day of the month of a day, and the last of that of another."""
    return first.replace(day=1), last.replace(day=monthrange(last.year, last.month)[1])


def closed_among(first: date, last: date) -> list[ClosedMonth]:
    """Read the closed months of some days, with what they froze; one query."""
    return list(ClosedMonth.objects.filter(month__range=whole_months(first, last)))


def cells_of(closed: Iterable[ClosedMonth]) -> Cells:
    """What closed months handed out."""
    found: dict[str, Sequence[int]] = {}
    for one in closed:
        found |= json.loads(one.cells)
    return found


def happened(first: date, last: date) -> Happened:
    """Read the whole months of some days, however many entries they have; six queries.

    Grams and cents are handed out by month, so no less is read; `Happened.within` narrows.
    """
    first, last = whole_months(first, last)
    return Happened(
        moved(flows_in(first, last)),
        sale_lines(first, last),
        given_into(first, last),
        money_in(first, last),
        account_moves(first, last),
    )


def as_shown(first: date, last: date) -> Happened:
    """Read the same with what closed months among these handed out; seven queries."""
    return replace(happened(first, last), closed=cells_of(closed_among(first, last)))


def flows_in(first: date, last: date) -> QuerySet[Flow]:
    return Flow.objects.filter(entry__happened_on__range=(first, last))


def moved(flows: QuerySet[Flow]) -> tuple[Moved, ...]:
    """Read flows in the order of days and entries; one query."""
    rows = flows.order_by("entry__happened_on", "entry_id", "pk")
    return tuple(starmap(Moved, rows.values_list(*_READ)))


def sale_lines(first: date, last: date) -> SaleLines:
    """Find the lines of the sales of some days, with what was corrected of them; one query."""
    entries = Entry.objects.filter(happened_on__range=(first, last))
    rows = SaleLine.objects.standing_at(entries.values("seq"), "line__entry")
    rows = rows.select_related(
        "line__entry", "sale__place", "sale__customer", "sale__note__box", "product"
    )
    found: dict[tuple[int, int, str], list[SaleLine]] = defaultdict(list)
    for row in rows:
        found[row.line.entry.place, row.line.lot_id, row.line.role].append(row)
    return found


def given_into(first: date, last: date) -> tuple[Given, ...]:
    """What the blocks picked in some days ever gave, and all that was given into it; one query."""
    made = flows_in(first, last).filter(role=Role.MADE, lot__card__stage=Stage.CROP)
    picked_of = Edge.objects.filter(dst__in=made.values("lot")).values("src")
    ever = Edge.objects.filter(src__in=picked_of).values("dst")
    rows = (
        Edge.objects.filter(dst__in=ever)
        .order_by("pk")
        .values_list(
            "src_id",
            "src__code",
            "src__card__stage",
            "dst_id",
            "dst__card__stage",
            "entry_id",
            "quantity",
        )
    )
    return tuple(map(Given._make, rows))


def given_since(first: date, last: date) -> date:
    """The first day on which the blocks picked in some days gave anything; one query.

    It is the first of these days where none of their blocks gave before.
    """
    made = flows_in(first, last).filter(role=Role.MADE, lot__card__stage=Stage.CROP)
    picked_of = Edge.objects.filter(dst__in=made.values("lot")).values("src")
    ever = Edge.objects.filter(src__in=picked_of, dst__card__stage=Stage.CROP).values("dst")
    flows = Flow.objects.filter(lot__in=ever, role=Role.MADE)
    since: date | None = flows.aggregate(day=Min("entry__happened_on"))["day"]
    return min(since or first, first)


def money_in(first: date, last: date) -> Money:
    """Read what came in, selling costs and bills of some days, added up by day; two queries.

    A bill belongs to its whole month, and is found if the first of it is among the days.
    """
    fees = SellingCost.objects.annotate(day=ROOT_DAY).filter(day__range=(first, last))
    by = ("day", "place_id", "place__name", "what", "own")
    selling = fees.values_list(*by).annotate(Sum("amount")).order_by(*by)
    came_in, billed = _came_in(first, last)
    return Money(came_in, tuple(map(Selling._make, selling)), billed)


def _came_in(first: date, last: date) -> tuple[tuple[CameIn, ...], tuple[Billed, ...]]:
    """What lines say was paid, what was charged, and what was billed: the facts, not what is
    worked of them.
    """
    days = (first, last)
    paid = Line.objects.exclude(money=0).annotate(day=ROOT_DAY, what=Value(BOUGHT))
    bought: QuerySet[Any, Any] = (
        paid.filter(day__range=days).values_list("day", "what").annotate(Sum("money")).order_by()
    )
    charges = Charge.objects.annotate(day=ROOT_DAY).filter(day__range=days)
    charged = charges.values_list("day", "kind").annotate(Sum("amount")).order_by()
    bills = Bill.objects.annotate(what=Concat(Value(BILLED), "kind", output_field=CharField()))
    billed = bills.filter(month__range=days).values_list("month", "what")
    rows = list(bought.union(charged, billed.annotate(Sum("cost_money")).order_by(), all=True))
    return (
        tuple(CameIn(*row) for row in rows if not row[1].startswith(BILLED)),
        tuple(
            sorted(
                Billed(month, what.removeprefix(BILLED), money)
                for month, what, money in rows
                if what.startswith(BILLED)
            )
        ),
    )
