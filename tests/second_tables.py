"""What the tables of a month must say, from what was worked a second time.

Each is given by the words that its rows begin with and the numbers that stand behind them.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

from tests.second_working import CENT, CROP, GRADES, GRAM, STAGES, Facts, Moved, mass, shared

Rows = dict[tuple[str, ...], list[Decimal]]


@dataclass(frozen=True)
class Expected:
    """A table: under which heads its words and its numbers stand, and the numbers by the words."""

    title: str
    keys: tuple[str, ...]
    numbers: tuple[str, ...]
    rows: Rows


def kg(grams: int) -> Decimal:
    return Decimal(grams) / 1000


def money(cents: int) -> Decimal:
    return Decimal(cents) / 100


def summed(rows: Iterable[tuple[tuple[str, ...], Sequence[Decimal]]]) -> Rows:
    found: Rows = {}
    for key, numbers in rows:
        before = found.get(key, [Decimal()] * len(numbers))
        found[key] = [a + b for a, b in zip(before, numbers, strict=True)]
    return {key: sums for key, sums in found.items() if any(sums)}


def tables(facts: Facts, first: date, last: date) -> list[Expected]:
    within = [one for one in facts.moved if first <= one.day <= last]
    return [
        *harvest(within, facts),
        *sales(within),
        by_place(within, facts, first, last),
        by_week(within),
        by_rate(within),
        losses(within),
        stock(facts, first, last),
    ]


@dataclass(frozen=True)
class Picked:
    one: Moved
    block: str
    grams: int
    cents: int


def picks(within: Iterable[Moved], facts: Facts) -> list[Picked]:
    """Share each picked lot over its blocks by what each gave."""
    found = []
    for one in within:
        gave = {lot: mg for lot, mg in facts.given.get(one.entry, {}).items() if mg}
        if one.role != "made" or one.card.stage != CROP or not gave or not one.quantity:
            continue
        whole = sum(gave.values())
        grams, cents = (
            shared(number, [Fraction(number * mg, whole) for _, mg in sorted(gave.items())])
            for number in (one.grams, one.cents)
        )
        codes = [facts.cards[lot].lot.code for lot in sorted(gave)]
        found += [Picked(one, *part) for part in zip(codes, grams, cents, strict=True)]
    return found


def by_grade(each: Picked) -> list[Decimal]:
    grams = [each.grams if each.one.card.grade == grade else 0 for grade in GRADES]
    return [kg(number) for number in (*grams, each.grams)]


def harvest(within: Iterable[Moved], facts: Facts) -> list[Expected]:
    found = picks(within, facts)
    heads = ("Firsts", "Seconds", "Trim", "Picked")

    def table(
        title: str, keys: tuple[str, ...], of: Callable[[Picked], tuple[str, ...]]
    ) -> Expected:
        rows = summed((of(each), by_grade(each)) for each in found)
        return Expected(title, keys, heads, rows)

    species = [(each, str(each.one.card.species)) for each in found]
    cost = summed(((name,), [money(each.cents)]) for each, name in species)
    return [
        table("Harvest by species", ("Species",), lambda e: (str(e.one.card.species),)),
        table(
            "Harvest by day",
            ("Date", "Species"),
            lambda e: (f"{e.one.day}", str(e.one.card.species)),
        ),
        table("Harvest by block lot", ("Block lot",), lambda e: (e.block,)),
        table(
            "Harvest by flush",
            ("Species", "Flush"),
            lambda e: (str(e.one.card.species), f"flush {e.one.card.flush}"),
        ),
        Expected("Harvest by species", ("Species",), ("Cost carried in",), cost),
    ]


def sold(within: Iterable[Moved]) -> list[Moved]:
    return [one for one in within if one.role in ("sold", "back")]


def sale_numbers(one: Moved) -> list[Decimal]:
    net, tax, gross = (
        sum(getattr(sale, name) for sale in one.sales) for name in ("net", "tax", "gross")
    )
    return [
        Decimal(-one.pieces),
        kg(-one.grams),
        *(Decimal(n) / 10_000 for n in (net, tax, gross)),
        money(-one.cents),
    ]


SOLD = ("Pieces", "Weight", "Net", "Tax", "Gross", "Cost of sales")


def product(one: Moved) -> str:
    named = one.sales[0].product if one.sales else None
    return str(named or one.card.product or f"{one.card.lot.item.name}, loose")


def place(one: Moved) -> str:
    return one.sales[0].sale.place.name if one.sales else ""


def sales(within: Iterable[Moved]) -> list[Expected]:
    rows = sold(within)

    def table(
        title: str, keys: tuple[str, ...], of: Callable[[Moved], tuple[str, ...]]
    ) -> Expected:
        return Expected(title, keys, SOLD, summed((of(one), sale_numbers(one)) for one in rows))

    def number(one: Moved) -> str:
        customer = one.sales[0].sale.customer if one.sales else None
        return customer.number if customer else "no name (stall or door)"

    return [
        table("Sales by customer", ("Customer number",), lambda one: (number(one),)),
        table("Sales by product", ("Product",), lambda one: (product(one),)),
        table("Sales by species", ("Species",), lambda one: (str(one.card.species or ""),)),
        table("Sales by lot", ("Lot",), lambda one: (one.card.lot.code,)),
        table(
            "Sales by line",
            ("Date", "Entry", "Lot"),
            lambda one: (f"{one.day}", f"{one.entry}", one.card.lot.code),
        ),
    ]


def by_place(within: Iterable[Moved], facts: Facts, first: date, last: date) -> Expected:
    """Selling costs are handed out by day and place under each month's total."""
    months: dict[tuple[int, int], Counter[tuple[date, str]]] = defaultdict(Counter)
    for day, name, _, _, amount in facts.selling:
        months[day.year, day.month][day, name] += amount
    rows = [((place(one),), [*sale_numbers(one), Decimal()]) for one in sold(within)]
    for cells in months.values():
        keys = sorted(cells)
        exact = [Fraction(cells[key], CENT) for key in keys]
        for (day, name), cents in zip(keys, shared(round(sum(exact)), exact), strict=True):
            if first <= day <= last:
                rows.append(((name,), [*[Decimal()] * len(SOLD), money(cents)]))
    return Expected("Sales by place", ("Place",), (*SOLD, "Selling costs"), summed(rows))


def by_week(within: Iterable[Moved]) -> Expected:
    rows = summed(
        ((f"{one.day - timedelta(days=one.day.weekday())}",), [sale_numbers(one)[2]])
        for one in sold(within)
    )
    return Expected("Sales by week and place", ("Week from",), ("Total",), rows)


def by_rate(within: Iterable[Moved]) -> Expected:
    rows = summed(
        ((f"{one.sales[0].tax_ppm if one.sales else 0}",), sale_numbers(one)[2:5])
        for one in sold(within)
    )
    return Expected("Sales tax by rate", ("Rate of tax",), ("Net", "Tax", "Gross"), rows)


WORDS = {"stranded": "left over on an emptied lot", "shrunk": "water, inside the band"}


def losses(within: Iterable[Moved]) -> Expected:
    rows = summed(
        (
            (STAGES[one.card.stage], WORDS.get(one.role) or one.reason or one.kind),
            [Decimal(-one.pieces), kg(-one.grams), money(-one.cents)],
        )
        for one in within
        if one.is_loss
    )
    return Expected(
        "Losses by stage and reason", ("Stage", "Reason"), ("Pieces", "Weight", "Cost"), rows
    )


def stock(facts: Facts, first: date, last: date) -> Expected:
    """What lots hold on two evenings: grams handed out by stage, cents over all of them."""
    rows: Rows = defaultdict(lambda: [Decimal()] * 8)
    for side, until in ((0, first - timedelta(days=1)), (4, last)):
        held: dict[int, list[int]] = defaultdict(lambda: [0, 0])
        for one in facts.moved:
            if one.day <= until:
                held[one.lot] = [held[one.lot][0] + one.quantity, held[one.lot][1] + one.cost]
        lots = sorted(lot for lot, numbers in held.items() if any(numbers))
        costs = [Fraction(held[lot][1], CENT) for lot in lots]
        cents = dict(zip(lots, shared(round(sum(costs)), costs), strict=True))
        for stage in STAGES:
            here = [lot for lot in lots if facts.cards[lot].stage == stage]
            masses = [Fraction(mass(facts.cards[lot], held[lot][0]), GRAM) for lot in here]
            for lot, grams in zip(here, shared(round(sum(masses)), masses), strict=True):
                counted = facts.cards[lot].lot.item.dimension == "count"
                numbers = [
                    Decimal(1),
                    Decimal(held[lot][0] if counted else 0),
                    kg(grams),
                    money(cents[lot]),
                ]
                row = rows[STAGES[stage],]
                rows[STAGES[stage],] = [
                    a + (numbers[at - side] if side <= at < side + 4 else 0)
                    for at, a in enumerate(row)
                ]
    heads = [
        f"{name} at the {end}"
        for end in ("start", "end")
        for name in ("Lots", "Pieces", "Weight", "Cost")
    ]
    return Expected(
        "Stock", ("Stage",), tuple(heads), {key: row for key, row in rows.items() if any(row)}
    )
