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

from django.db.models import Sum

from farm.models import Form, SellingCost, Stage
from farm.queries.bills import charged_and_billed
from farm.queries.finding import amount_of
from farm.queries.months import ROOT_DAY, Month, SoldRow, costs_in, flows_in, lost_in, sold_in
from farm.queries.reconciliation import steps_taken
from farm.queries.yields import picks_of
from ledger.drafts import canonical
from ledger.models import KINDS, Lot

TABLES = ("sales", "selling", "harvest", "losses", "stock", "goods", "tax", "cost", "bills")
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
    """Work the rows of a month from the book as it is now; about twenty-five queries."""
    sold = sold_in(month)
    found = (
        *_sales(month, sold),
        *_selling(month),
        *_harvest(month),
        *_losses(month),
        *_stock(month),
        *_goods(month),
        *_tax(month, sold),
        *_cost(month),
        *_bills(month),
    )
    return summed(found)


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


def _selling(month: Month) -> Iterator[KeptRow]:
    rows = SellingCost.objects.annotate(day=ROOT_DAY).filter(day__range=(month.first, month.last))
    sums = rows.values_list("place_id", "place__name", "what").annotate(Sum("amount"))
    for place, name, what, amount in sums.order_by("place_id", "what"):
        words = {"place": name, "what": what}
        numbers = {"selling_costs_money": amount}
        yield KeptRow(month.key, "selling", (_padded(place), what), words, numbers)


def _harvest(month: Month) -> Iterator[KeptRow]:
    picks = picks_of(month.first, month.last)
    codes = dict(Lot.objects.filter(pk__in={p.block_pk for p in picks}).values_list("pk", "code"))
    for pick in picks:
        code, flush = codes[pick.block_pk], f"{pick.flush}"
        words = {
            "date": f"{pick.day}",
            "entry": f"{pick.entry}",
            "species": pick.species,
            "block lot": code,
            "flush": flush,
            "grade": pick.grade,
        }
        numbers = {"picked_mg": pick.mass_mg, "cost_carried_in_money": pick.cost}
        key = (_padded(pick.entry), code, flush, pick.grade)
        yield KeptRow(month.key, "harvest", key, words, numbers)


def _losses(month: Month) -> Iterator[KeptRow]:
    for row in lost_in(month):
        numbers = {"lost_pieces": row.pieces, "lost_mg": row.mass_mg, "lost_money": row.cost}
        words = {"stage": row.stage.label, "reason": row.reason}
        key = (_padded(row.stage), row.reason)
        yield KeptRow(month.key, "losses", key, words, numbers)


def _stock(month: Month) -> Iterator[KeptRow]:
    """What a month added to stock, by stage; one query."""
    by = ("lot__card__stage", "lot__item__dimension", "lot__unit_mass_mg")
    sums = [Sum(name) for name in ("quantity", *KINDS)]
    for stage, dimension, unit_mg, quantity, *cost in (
        flows_in(month).values_list(*by).annotate(*sums).order_by(*by)
    ):
        amount = amount_of(quantity, dimension, unit_mg)
        numbers = {
            "stock_pieces": amount.pieces or 0,
            "stock_mg": amount.mass_mg or 0,
            "stock_money": sum(cost),
        }
        words = {"stage": Stage(stage).label}
        yield KeptRow(month.key, "stock", (_padded(stage),), words, numbers)


def _goods(month: Month) -> Iterator[KeptRow]:
    """What each step of the month did to the fresh and to the dried crop."""
    for form in Form:
        for step, moved_mg in steps_taken(month.first, month.last, form).items():
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


def _cost(month: Month) -> Iterator[KeptRow]:
    for what, cost in costs_in(month).items():
        numbers = {f"{kind}_money": part for kind, part in zip(KINDS, cost, strict=True)}
        yield KeptRow(month.key, "cost", (what,), {"what": what}, numbers)


def _bills(month: Month) -> Iterator[KeptRow]:
    for row in charged_and_billed(month):
        numbers = {
            "billed_money": row.billed,
            "charged_money": row.charged,
            "under_charged_money": row.under_charged,
        }
        yield KeptRow(month.key, "bills", (row.kind.value,), {"kind": row.kind.label}, numbers)


def _padded(number: int) -> str:
    """Write a number so that text sorts as numbers do."""
    return f"{number:09}"
