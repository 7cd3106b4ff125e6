"""A month, or any days: what was sold, picked and lost, what was in stock, what is owed.

Everything is read by the day it happened; a correction counts in the month of the entry that it
corrects. The book's worked figures are taken as they are: nothing is worked out a second time.
"""

import re
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import QuerySet, Sum
from django.db.models.functions import Coalesce, TruncMonth

from farm.models import Form, SaleLine, SellingCost, SellingPlace, Species, Stage
from farm.queries.finding import Amount, amount_in
from farm.queries.owed import Account, accounts
from farm.queries.reconciliation import Reconciliation, reconcile
from farm.queries.yields import BlockYield, Pick, block_yields, picks_of
from ledger import balances
from ledger.models import KINDS, Charge, Entry, Flow, Line, Lot, Role

Cost = tuple[int, ...]
ROOT_DAY = Coalesce("entry__amends__happened_on", "entry__happened_on")


class NoMonthError(ValueError):
    """What was typed is no month."""


@dataclass(frozen=True)
class Span:
    """Some days, the first and the last included."""

    first: date
    last: date

    @property
    def key(self) -> str:
        return f"{self.first}-to-{self.last}"

    @property
    def name(self) -> str:
        return f"{self.first} to {self.last}"


@dataclass(frozen=True)
class Only:
    """What is left out: all but one species, all but one selling place; nothing, if neither."""

    species: Species | None = None
    place: SellingPlace | None = None

    @property
    def words(self) -> str:
        return ", ".join(str(one) for one in (self.species, self.place) if one)


@dataclass(frozen=True)
class Month(Span):
    """A calendar month."""

    @property
    def key(self) -> str:
        return f"{self.first:%Y-%m}"

    @property
    def name(self) -> str:
        return f"{self.first:%B %Y}"


@dataclass(frozen=True)
class SoldRow:
    """One lot on one sale, as corrected; a return is a row of its own, below zero."""

    day: date
    entry: int
    customer_number: str
    place: str
    product: str
    species: str
    lot_code: str
    amount: Amount
    net: int
    tax: int
    gross: int
    cost: int
    tax_ppm: int


@dataclass(frozen=True)
class LostRow:
    """What one cause took at one stage; weighed and counted lots added up."""

    stage: Stage
    reason: str
    pieces: int
    mass_mg: int
    cost: int


@dataclass(frozen=True)
class StockRow:
    stage: Stage
    lots: int
    pieces: int
    mass_mg: int
    cost: int


@dataclass(frozen=True)
class Movement:
    """The month's cost by kind: start + bought + charged = sold + lost + end."""

    start: Cost
    bought: Cost
    charged: Cost
    sold: Cost
    lost: Cost
    end: Cost

    @property
    def difference(self) -> int:
        """What does not agree; the book is right when it is 0 for each kind."""
        came = map(sum, zip(self.start, self.bought, self.charged, strict=True))
        went = map(sum, zip(self.sold, self.lost, self.end, strict=True))
        return sum(abs(a - b) for a, b in zip(came, went, strict=True))


@dataclass(frozen=True)
class MonthFigures:
    """All that a month's report says. ``movement``: the whole book's, so of no part of it.

    ``goods``: where the fresh and the dried crop went. ``accounts``: what customers owe at the end.
    """

    month: Span
    only: Only
    sales: tuple[SoldRow, ...]
    selling: dict[str, int]
    picks: tuple[Pick, ...]
    blocks: tuple[BlockYield, ...]
    losses: tuple[LostRow, ...]
    stock_start: tuple[StockRow, ...]
    stock_end: tuple[StockRow, ...]
    goods: tuple[Reconciliation, ...]
    accounts: tuple[Account, ...]
    movement: Movement | None


EVERYTHING = Only()


def month_of(text: str) -> Month:
    """Read “2026-10”. Raises NoMonthError with the remedy."""
    found = re.fullmatch(r"([12]\d{3})-(\d{1,2})", text.strip())
    if not found or not 1 <= int(found[2]) <= 12:
        raise NoMonthError(f"“{text[:20]}” is no month. Give year and month, such as 2026-10.")
    first = date(int(found[1]), int(found[2]), 1)
    return Month(first, (first + timedelta(days=31)).replace(day=1) - timedelta(days=1))


def months_kept() -> list[Month]:
    """List the months in which anything happened, newest first; one query."""
    days = Entry.objects.annotate(month=TruncMonth("happened_on")).values_list("month", flat=True)
    return [month_of(f"{day:%Y-%m}") for day in days.distinct().order_by("-month")]


def month_figures(month: Span, only: Only = EVERYTHING) -> MonthFigures:
    """Read some days from the book; about forty queries, however many entries they have.

    Of one selling place there are sales alone; of one species, neither selling costs, which are
    a place's, nor accounts, which are a customer's.
    """
    start = balances.on_hand(month.first - timedelta(days=1))
    end = balances.on_hand(month.last)
    sales = sold_in(month, only)
    if only.place:
        return MonthFigures(
            month, only, sales, _selling(month, only), (), (), (), (), (), (), (), None
        )
    picks = picks_of(month.first, month.last, species=only.species)
    return MonthFigures(
        month=month,
        only=only,
        sales=sales,
        selling=_selling(month, only),
        picks=picks,
        blocks=block_yields(picks, month.last),
        losses=lost_in(month, only),
        stock_start=_stock(start, only),
        stock_end=_stock(end, only),
        goods=tuple(
            reconcile(month.first, month.last, form=form, species=only.species) for form in Form
        ),
        accounts=() if only.species else tuple(accounts(month.last)),
        movement=None if only.species else _movement(month, start, end),
    )


def _movement(month: Span, start: list[balances.Balance], end: list[balances.Balance]) -> Movement:
    return Movement(
        start=_added(row.cost for row in start),
        **costs_in(month),
        end=_added(row.cost for row in end),
    )


def flows_in(month: Span, *roles: Role) -> QuerySet[Flow]:
    """Whatever moved cost or quantity in a month, in some roles (none named: in all)."""
    flows = Flow.objects.filter(entry__happened_on__range=(month.first, month.last))
    return flows.filter(role__in=roles) if roles else flows


def costs_in(month: Span) -> dict[str, Cost]:
    """Add up what was bought, charged, sold and lost in a month, by kind; three queries."""
    moved = _moved(flows_in(month, Role.SOLD, Role.BACK, Role.LOST, Role.STRANDED))
    return {
        "bought": (_bought(month), *[0] * (len(KINDS) - 1)),
        "charged": charged_in(month),
        "sold": _added(moved[role] for role in (Role.SOLD, Role.BACK) if role in moved),
        "lost": _added(moved[role] for role in (Role.LOST, Role.STRANDED) if role in moved),
    }


# --- sales -----------------------------------------------------------------------------------


def sold_in(month: Span, only: Only = EVERYTHING) -> tuple[SoldRow, ...]:
    """One row a lot, entry and role, with its money as corrected; three queries."""
    rows = list(
        _of(only.species, flows_in(month, Role.SOLD, Role.BACK))
        .select_related("lot__item", "lot__card__product", "lot__card__species", "entry")
        .order_by("entry__happened_on", "entry_id", "pk")
    )  # fmt: skip
    lines: dict[tuple[int, int, str], list[SaleLine]] = defaultdict(list)
    found = SaleLine.objects.filter(line__entry__place__in={flow.entry_id for flow in rows})
    for line in found.select_related("line__entry", "sale__place", "sale__customer", "product"):
        lines[line.line.entry.place, line.line.lot_id, line.line.role].append(line)
    sold = [_sold(flow, lines[flow.entry_id, flow.lot_id, flow.role]) for flow in rows]
    if only.place:
        sold = [row for row in sold if row.place == only.place.name]
    return tuple(row for row in sold if row.amount.mass_mg or row.gross or row.cost)


def _of(species: Species | None, flows: QuerySet[Flow]) -> QuerySet[Flow]:
    return flows.filter(lot__card__species=species) if species else flows


def _sold(flow: Flow, lines: list[SaleLine]) -> SoldRow:
    card = flow.lot.card
    first = lines[0] if lines else None
    customer = first.sale.customer if first else None
    product = (first.product if first else None) or card.product
    return SoldRow(
        day=flow.entry.happened_on,
        entry=flow.entry_id,
        customer_number=customer.number if customer else "",
        place=first.sale.place.name if first else "",
        product=product.name if product else f"{flow.lot.item.name}, loose",
        species=card.species.name if card.species else "",
        lot_code=flow.lot.code,
        amount=amount_in(flow.lot, -flow.quantity),
        net=sum(line.net for line in lines),
        tax=sum(line.tax for line in lines),
        gross=sum(line.gross for line in lines),
        cost=-sum(flow.cost),
        tax_ppm=first.tax_ppm if first else 0,
    )


def _selling(month: Span, only: Only) -> dict[str, int]:
    """What selling cost at each place: fees, hours; not part of any lot's cost."""
    if only.species:
        return {}
    costs = SellingCost.objects.annotate(day=ROOT_DAY).filter(day__range=(month.first, month.last))
    if only.place:
        costs = costs.filter(place=only.place)
    return dict(costs.values_list("place__name").annotate(Sum("amount")).order_by("place__name"))


# --- losses and stock ------------------------------------------------------------------------


def lost_in(month: Span, only: Only = EVERYTHING) -> tuple[LostRow, ...]:
    """Add up by stage and cause. Blocks binned once spent are no loss; water costs nothing."""
    flows = _of(only.species, flows_in(month, Role.LOST, Role.STRANDED, Role.SHRUNK))
    sums: dict[tuple[int, str], list[int]] = defaultdict(lambda: [0, 0, 0])
    for flow in flows.select_related("lot__item", "lot__card", "entry").order_by("entry_id", "pk"):
        cost = -sum(flow.cost)
        if not cost and (flow.entry.kind == "spent" or not flow.quantity):
            continue
        reason = flow.entry.reason or flow.entry.kind
        if flow.role == Role.SHRUNK:
            reason = "water, inside the band"
        elif flow.role == Role.STRANDED:
            reason = "left over on an emptied lot"
        amount = amount_in(flow.lot, -flow.quantity)
        numbers = (amount.pieces or 0, amount.mass_mg or 0, cost)
        key = (flow.lot.card.stage, reason)
        sums[key] = [a + b for a, b in zip(sums[key], numbers, strict=True)]
    return tuple(
        LostRow(Stage(stage), reason, *numbers) for (stage, reason), numbers in sorted(sums.items())
    )


def _stock(rows: list[balances.Balance], only: Only) -> tuple[StockRow, ...]:
    """Add up by stage what lots held at the end of a day; one query more."""
    found = Lot.objects.select_related("item", "card")
    if only.species:
        found = found.filter(card__species=only.species)
    lots = found.in_bulk([row.lot_id for row in rows])
    sums: dict[int, list[int]] = defaultdict(lambda: [0, 0, 0, 0])
    for row in (row for row in rows if row.lot_id in lots):
        amount = amount_in(lots[row.lot_id], row.quantity)
        numbers = (1, amount.pieces or 0, amount.mass_mg or 0, sum(row.cost))
        stage = lots[row.lot_id].card.stage
        sums[stage] = [a + b for a, b in zip(sums[stage], numbers, strict=True)]
    return tuple(StockRow(Stage(stage), *numbers) for stage, numbers in sorted(sums.items()))


# --- the book's own sums ---------------------------------------------------------------------


def _bought(month: Span) -> int:
    lines = Line.objects.annotate(day=ROOT_DAY).filter(day__range=(month.first, month.last))
    return lines.aggregate(total=Sum("money"))["total"] or 0


def charged_in(month: Span) -> Cost:
    """Labour, energy and room that the month's entries charged, by kind; one query."""
    charges = Charge.objects.annotate(day=ROOT_DAY).filter(day__range=(month.first, month.last))
    sums = dict(charges.values_list("kind").annotate(Sum("amount")).order_by())
    return tuple(sums.get(kind, 0) for kind in KINDS)


def _moved(flows: QuerySet[Flow]) -> dict[str, Cost]:
    """The cost that left lots, by role and kind, without its sign; one query."""
    rows = flows.order_by().values_list("role").annotate(*(Sum(kind) for kind in KINDS))
    return {role: tuple(-cost for cost in costs) for role, *costs in rows}


def _added(costs: Iterable[Cost]) -> Cost:
    return tuple(map(sum, zip((0,) * len(KINDS), *costs, strict=True)))
