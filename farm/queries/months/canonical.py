"""A month as canonical rows: every figure of it under a key that never changes.

What is frozen at closing, and what is worked anew against it, are rows of this one form. All
numbers are differences that the month made (stock: what came less what went), so rows of one key
may be added and subtracted. A number's name ends in its unit: ``_mg``, ``_pieces``, ``_money``.
Customers stand by number.
"""

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from decimal import Decimal

from farm.models import Form, Stage
from farm.queries.months.bills import NO_BILL, charged_and_billed
from farm.queries.months.months import Month, SoldRow, costs_of, lost_among, sold_among
from farm.queries.months.reconciliation import steps_taken
from farm.queries.months.yields import Pick, picks_among
from farm.queries.movements import Happened, Money, Moved, happened
from farm.queries.roll_forward import DEPOSITS, OWED, kept_parts
from ledger.drafts import canonical
from ledger.models import KINDS

TABLES = (
    "sales", "selling", "harvest", "losses", "stock", "goods", "tax", "cost", "bills", OWED,
    DEPOSITS,
)  # fmt: skip
Place = tuple[str, str, tuple[str, ...]]


@dataclass(frozen=True)
class KeptRow:
    """``month``: the one it belongs to, “2026-09”. ``words`` say in plain words what it is."""

    month: str
    table: str
    key: tuple[str, ...]
    words: dict[str, str]
    numbers: dict[str, int]

    @property
    def place(self) -> Place:
        return self.month, self.table, self.key

    @property
    def is_nothing(self) -> bool:
        return not any(self.numbers.values())


def rows_of(month: Month) -> list[KeptRow]:
    """Work the rows of a month from the book as it is now; seven queries."""
    return rows_among(happened(month.first, month.last), [month])


def rows_among(found: Happened, months: Iterable[Month]) -> list[KeptRow]:
    """Work the rows of some months from what happened in them; no queries of its own."""
    return summed(row for one in months for row in _rows(one, found.within(one.first, one.last)))


def _rows(month: Month, found: Happened) -> Iterator[KeptRow]:
    sold = sold_among(found.moved, found.lines)
    yield from _sales(month, sold)
    yield from _selling(month, found.money)
    yield from _harvest(month, picks_among(found.moved, found.given))
    yield from _losses(month, found.moved)
    yield from _stock(month, found.moved)
    yield from _goods(month, found)
    yield from _tax(month, sold)
    yield from _cost(month, found)
    yield from _bills(month, found.money)
    for parts in kept_parts(month.first, found.accounts):
        yield KeptRow(month.key, *parts)


def summed(rows: Iterable[KeptRow]) -> list[KeptRow]:
    """Add up rows of one place, and leave out those that come to nothing; in the order of places.

    The words of the first one stand.
    """
    sums: dict[Place, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    words: dict[Place, dict[str, str]] = {}
    for row in rows:
        words.setdefault(row.place, row.words)
        for name, number in row.numbers.items():
            sums[row.place][name] += number
    made = [KeptRow(*at, words[at], dict(sums[at])) for at in sorted(sums, key=_order)]
    return [row for row in made if not row.is_nothing]


def negated(rows: Iterable[KeptRow]) -> Iterator[KeptRow]:
    for row in rows:
        numbers = {name: -number for name, number in row.numbers.items()}
        yield KeptRow(row.month, row.table, row.key, row.words, numbers)


def as_text(rows: Iterable[KeptRow]) -> str:
    return canonical([asdict(row) for row in rows])


def from_text(text: str) -> list[KeptRow]:
    return [KeptRow(**{**row, "key": tuple(row["key"])}) for row in json.loads(text)]


def _order(place: Place) -> tuple[str, int, tuple[str, ...]]:
    return place[0], TABLES.index(place[1]), place[2]


# --- one table each --------------------------------------------------------------------------


def _sales(month: Month, sold: Iterable[SoldRow]) -> Iterator[KeptRow]:
    for row in sold:
        words = {
            "date": f"{row.day}",
            "entry": f"{row.entry}",
            "customer number": row.customer_number,
            "place": row.place,
            "product": row.product,
            "lot": row.lot_code,
        }
        numbers = {
            "sold_pieces": row.amount.pieces or 0,
            "sold_mg": row.amount.mass_mg or 0,
            "net_money": row.net,
            "tax_money": row.tax,
            "gross_money": row.gross,
            "cost_of_sales_money": row.cost,
        }
        yield KeptRow(month.key, "sales", (_padded(row.entry), row.lot_code), words, numbers)


def _selling(month: Month, money: Money) -> Iterator[KeptRow]:
    """What selling cost at each place; rows of one place and kind are added up."""
    for one in money.selling:
        words = {"place": one.place, "what": one.what}
        numbers = {"selling_costs_money": one.money}
        yield KeptRow(month.key, "selling", (_padded(one.place_pk), one.what), words, numbers)


def _harvest(month: Month, picks: Iterable[Pick]) -> Iterator[KeptRow]:
    for pick in picks:
        flush = f"{pick.flush}"
        words = {
            "date": f"{pick.day}",
            "entry": f"{pick.entry}",
            "species": pick.species,
            "block lot": pick.block,
            "flush": flush,
            "grade": pick.grade,
        }
        numbers = {"picked_mg": pick.mass_mg, "cost_carried_in_money": pick.cost}
        key = (_padded(pick.entry), pick.block, flush, pick.grade)
        yield KeptRow(month.key, "harvest", key, words, numbers)


def _losses(month: Month, moved: Iterable[Moved]) -> Iterator[KeptRow]:
    for row in lost_among(moved):
        numbers = {"lost_pieces": row.pieces, "lost_mg": row.mass_mg, "lost_money": row.cost}
        words = {"stage": row.stage.label, "reason": row.reason}
        key = (_padded(row.stage), row.reason)
        yield KeptRow(month.key, "losses", key, words, numbers)


def _stock(month: Month, moved: Iterable[Moved]) -> Iterator[KeptRow]:
    """What a month added to stock; rows of one stage are added up."""
    for one in moved:
        numbers = {
            "stock_pieces": one.amount.pieces or 0,
            "stock_mg": one.amount.mass_mg or 0,
            "stock_money": sum(one.cost),
        }
        words = {"stage": Stage(one.stage).label}
        yield KeptRow(month.key, "stock", (_padded(one.stage),), words, numbers)


def _goods(month: Month, found: Happened) -> Iterator[KeptRow]:
    """What each step of the month did to the fresh and to the dried crop."""
    for form in Form:
        for step, moved_mg in steps_taken(found, form).items():
            words = {"goods": form.label, "step": step.value}
            yield KeptRow(
                month.key, "goods", (form.value, step.name), words, {"moved_mg": moved_mg}
            )


def _tax(month: Month, sold: Iterable[SoldRow]) -> Iterator[KeptRow]:
    """What was sold at each rate of tax; rows of one rate are added up."""
    for row in sold:
        words = {"rate": f"{Decimal(row.tax_ppm) / 10_000:f} %"}
        numbers = {
            "net_at_rate_money": row.net,
            "tax_at_rate_money": row.tax,
            "gross_at_rate_money": row.gross,
        }
        yield KeptRow(month.key, "tax", (_padded(row.tax_ppm),), words, numbers)


def _cost(month: Month, found: Happened) -> Iterator[KeptRow]:
    for what, cost in costs_of(found).items():
        numbers = {f"{kind}_money": part for kind, part in zip(KINDS, cost, strict=True)}
        yield KeptRow(month.key, "cost", (what,), {"what": what}, numbers)


def _bills(month: Month, money: Money) -> Iterator[KeptRow]:
    for row in charged_and_billed(money):
        words = {"kind": row.kind.label} | ({"bill": NO_BILL} if row.is_missing else {})
        numbers = {
            "billed_money": row.billed,
            "charged_money": row.charged,
            "under_charged_money": row.under_charged if row.is_billed else 0,
        }
        yield KeptRow(month.key, "bills", (row.kind.value,), words, numbers)


def _padded(number: int) -> str:
    """Write a number so that text sorts as numbers do."""
    return f"{number:09}"
