"""A month, or any days: what was sold, picked and lost, what was in stock, what is owed.

Everything is read by the day it happened; a correction counts in the month of the entry that it
corrects. The book's worked figures are taken as they are: nothing is worked out a second time.
"""

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models.functions import TruncMonth

from farm import habits
from farm.kinds.growing import SPENT
from farm.models import Form, SaleLine, SellingPlace, Species, Stage
from farm.queries.accounts.owed import Account, accounts
from farm.queries.cells import CENT, handed_out
from farm.queries.finding import Amount
from farm.queries.months.reconciliation import Reconciliation, goods_between
from farm.queries.months.stock_levels import Held, held_around
from farm.queries.months.yields import BlockYield, Pick, block_yields, picks_among
from farm.queries.movements import Happened, Money, Moved, SaleLines, as_shown
from farm.queries.roll_forward import Rolled, held_by_number, rolled
from ledger.models import KINDS, Entry, Role

Cost = tuple[int, ...]
ONE_DAY = timedelta(days=1)


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
        return habits.days(self.first, self.last)


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

    ``goods``: where the fresh and the dried crop went. ``accounts``: what customers owe at the end,
    ``rolled``: how each account and deposit came there from the start.
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
    rolled: tuple[Rolled, ...]
    movement: Movement | None


EVERYTHING = Only()
# What each role of a loss is called where its entry does not say it.
LOST: dict[str, str] = {
    Role.LOST: "",
    Role.STRANDED: "left over on an emptied lot",
    Role.SHRUNK: "water, inside the band",
}


def month_of(text: str) -> Month:
    """Read “2026-10”. Raises NoMonthError with the remedy."""
    found = re.fullmatch(r"([12]\d{3})-(\d{1,2})", text.strip())
    if not found or not 1 <= int(found[2]) <= 12:
        raise NoMonthError(f"“{text[:20]}” is no month. Give year and month, such as 2026-10.")
    first = date(int(found[1]), int(found[2]), 1)
    return Month(first, (first + timedelta(days=31)).replace(day=1) - timedelta(days=1))


def months_from(first: date, last: date) -> list[Month]:
    """List the months from the one of a day to the one of another."""
    found, day = [], first.replace(day=1)
    while day <= last:
        found.append(month_with(day))
        day = found[-1].last + ONE_DAY
    return found


def month_with(day: date) -> Month:
    return month_of(f"{day:%Y-%m}")


def months_kept() -> list[Month]:
    """List the months in which anything happened, newest first; one query."""
    days = Entry.objects.annotate(month=TruncMonth("happened_on")).values_list("month", flat=True)
    return [month_with(day) for day in days.distinct().order_by("-month")]


def month_figures(
    month: Span, only: Only = EVERYTHING, found: Happened | None = None
) -> MonthFigures:
    """Read some days from the book; sixteen queries, however many entries they have.

    Weights and costs are the whole grams and cents that each month handed out; `Movement` alone
    is exact. ``found``: whole months with these days, where they were read before. Of one
    selling place there are sales alone; of one species, neither selling costs, which are a
    place's, nor accounts, which are a customer's.
    """
    whole = found or as_shown(month.first, month.last)
    exact = whole.within(month.first, month.last)
    handed = handed_out(whole)
    found = handed.within(month.first, month.last)
    sales = sold_among(found.moved, found.lines, only)
    selling = {} if only.species else _selling(found.money, only)
    if only.place:
        return MonthFigures(month, only, sales, selling, (), (), (), (), (), (), (), (), None)
    start, end = held_around(month.first, month.last, only.species)
    picks = picks_among(found.moved, found.given, only.species, money_step=CENT)
    rows = [] if only.species else rolled(month.first, found.accounts)
    return MonthFigures(
        month=month,
        only=only,
        sales=sales,
        selling=selling,
        picks=picks,
        blocks=block_yields(picks, handed, month.last),
        losses=lost_among(found.moved, only),
        stock_start=_stock(start),
        stock_end=_stock(end),
        goods=tuple(
            goods_between(found, form, start=start, end=end, species=only.species) for form in Form
        ),
        accounts=() if only.species else tuple(accounts(month.last, held_by_number(rows))),
        rolled=tuple(rows),
        movement=None if only.species else _movement(exact, start, end),
    )


def _movement(found: Happened, start: Iterable[Held], end: Iterable[Held]) -> Movement:
    return Movement(
        start=_added(row.cost for row in start),
        **costs_of(found),
        end=_added(row.cost for row in end),
    )


def costs_of(found: Happened) -> dict[str, Cost]:
    """Add up by kind what was bought and charged, from the facts, and what was sold and lost."""
    return {
        "bought": (found.money.bought(), *[0] * (len(KINDS) - 1)),
        "charged": found.money.charged(),
        "sold": _moved_out(found.moved, Role.SOLD, Role.BACK),
        "lost": _moved_out(found.moved, Role.LOST, Role.STRANDED),
    }


def _moved_out(rows: Iterable[Moved], *roles: Role) -> Cost:
    return tuple(-cost for cost in _added(one.cost for one in rows if one.role in roles))


def _added(costs: Iterable[Cost]) -> Cost:
    return tuple(map(sum, zip((0,) * len(KINDS), *costs, strict=True)))


# --- sales -----------------------------------------------------------------------------------


def sold_among(
    moved: Iterable[Moved], lines: SaleLines, only: Only = EVERYTHING
) -> tuple[SoldRow, ...]:
    """One row a lot, entry and role, with its money as corrected."""
    rows = (one for one in _of(only.species, moved) if one.role in (Role.SOLD, Role.BACK))
    sold = [_sold(one, lines.get((one.entry, one.lot, one.role), ())) for one in rows]
    if only.place:
        sold = [row for row in sold if row.place == only.place.name]
    return tuple(row for row in sold if row.amount.mass_mg or row.gross or row.cost)


def _of(species: Species | None, moved: Iterable[Moved]) -> Iterable[Moved]:
    return [one for one in moved if one.species_pk == species.pk] if species else moved


def _sold(one: Moved, lines: Sequence[SaleLine]) -> SoldRow:
    first = lines[0] if lines else None
    customer = first.sale.customer if first else None
    product = first.product.name if first and first.product else one.product
    return SoldRow(
        day=one.day,
        entry=one.entry,
        customer_number=customer.number if customer else "",
        place=first.sale.place.name if first else "",
        product=product or f"{one.item}, loose",
        species=one.species or "",
        lot_code=one.lot_code,
        amount=one.amount_out,
        net=sum(line.net for line in lines),
        tax=sum(line.tax for line in lines),
        gross=sum(line.gross for line in lines),
        cost=-one.money,
        tax_ppm=first.tax_ppm if first else 0,
    )


def _selling(money: Money, only: Only) -> dict[str, int]:
    """What selling cost at each place: fees, hours; not part of any lot's cost."""
    sums: dict[str, int] = defaultdict(int)
    for one in money.selling:
        if only.place is None or one.place_pk == only.place.pk:
            sums[one.place] += one.money
    return dict(sorted(sums.items()))


# --- losses and stock ------------------------------------------------------------------------


def lost_among(moved: Iterable[Moved], only: Only = EVERYTHING) -> tuple[LostRow, ...]:
    """Add up by stage and cause. Blocks binned once spent are no loss; water costs nothing."""
    sums: dict[tuple[int, str], list[int]] = defaultdict(lambda: [0, 0, 0])
    for one in _of(only.species, moved):
        is_free = not any(one.cost) and (one.kind == SPENT or not one.quantity)
        if one.role not in LOST or is_free:
            continue
        reason = LOST[one.role] or one.reason or one.kind
        numbers = (one.amount_out.pieces or 0, one.amount_out.mass_mg or 0, -one.money)
        key = (one.stage, reason)
        sums[key] = [a + b for a, b in zip(sums[key], numbers, strict=True)]
    return tuple(
        LostRow(Stage(stage), reason, *numbers) for (stage, reason), numbers in sorted(sums.items())
    )


def _stock(rows: Iterable[Held]) -> tuple[StockRow, ...]:
    """Add up by stage what lots held at the end of a day."""
    sums: dict[int, list[int]] = defaultdict(lambda: [0, 0, 0, 0])
    for row in rows:
        numbers = (1, row.pieces, row.handed_mg, row.handed_money)
        sums[row.stage] = [a + b for a, b in zip(sums[row.stage], numbers, strict=True)]
    return tuple(StockRow(Stage(stage), *numbers) for stage, numbers in sorted(sums.items()))
