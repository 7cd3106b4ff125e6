"""A planted bad supplier lot: what the site lists of it, against plain readings of the lines.

The readings take the generated lines alone: no worked flow, no edge, no walk in the database.
Every lot by networkx; certain and possible by the words of the rule, over and over until nothing
changes; kilograms by one pass with a dictionary.
"""

from collections import defaultdict
from collections.abc import Iterator

import networkx

from farm.queries.tracing.reach import reach_of
from farm.queries.tracing.suspects import suspect_supplier_lot
from tests.bench.farm_rows import BAD, FarmRows, sale_entry
from tests.bench.farm_years import UNIT_MASSES_MG, FarmYears

Inputs = dict[int, dict[int, set[int]]]  # of each made lot, by item


def differences(years: FarmYears, rows: FarmRows) -> list[str]:
    """Compare everything that a recall of the planted lot lists; each difference in words."""
    found = reach_of(suspect_supplier_lot(rows.supplier, BAD))
    inputs = _inputs(years)
    lots = _reached(inputs, years.planted)
    sure = _certain(inputs, years.planted)
    code = {lot.pk: lot.code for lot in years.lots}
    compared: dict[str, tuple[object, object]] = {
        "lots": ({lot.code for lot in found.lots}, {code[pk] for pk in lots}),
        "certain lots": (
            {lot.code for lot in found.lots if lot.certain},
            {code[pk] for pk in sure},
        ),
        "customers and what each received": (
            {
                one.customer_id: (one.certain_mg, one.possible_mg, one.back_mg)
                for one in found.recipients
            },
            _received(years, rows, lots, sure=sure),
        ),
        "stall days": (
            {(one.day, one.lot_code, one.certain) for one in found.unnamed},
            {(day, code[pk], pk in sure) for day, pk in _loaded(years, rows, lots)},
        ),
        "balances that add up": (
            {one.code for one in found.balances if sum(one.parts) == one.whole},
            {code[pk] for pk in lots},
        ),
    }
    said = [f"{what} differ" for what, (ours, plain) in compared.items() if ours != plain]
    # Where everything or nothing is reached, certain or sold, equality would prove little.
    proves = years.planted in sure < lots and 0 < len(found.recipients) < len(rows.customer_of)
    return said if proves else [*said, "the planted lot proves nothing"]


def _inputs(years: FarmYears) -> Inputs:
    """What went into each made lot, by item, from the lines of its entry."""
    item_of = {lot.pk: lot.item.pk for lot in years.lots}
    made_at = {line.entry_id: line.lot_id for line in years.lines if line.role == "made"}
    inputs: Inputs = defaultdict(lambda: defaultdict(set))
    for line in years.lines:
        if line.role == "used":
            inputs[made_at[line.entry_id]][item_of[line.lot_id]].add(line.lot_id)
    return inputs


def _reached(inputs: Inputs, suspect: int) -> set[int]:
    graph = networkx.DiGraph()
    for made, by_item in inputs.items():
        graph.add_edges_from((src, made) for sources in by_item.values() for src in sources)
    return {suspect, *networkx.descendants(graph, suspect)}


def _certain(inputs: Inputs, suspect: int) -> set[int]:
    """Certain if, for some item, all its inputs are certain: asked of all until no lot is new."""
    certain: set[int] = set()
    new = {suspect}
    while new:
        certain |= new
        new = {
            made
            for made, by_item in inputs.items()
            if made not in certain and any(sources <= certain for sources in by_item.values())
        }
    return certain


def _received(
    years: FarmYears, rows: FarmRows, lots: set[int], *, sure: set[int]
) -> dict[int, tuple[int, int, int]]:
    """By customer: mg of certain lots, of possible lots, and how much of both came back."""
    sums: dict[int, list[int]] = defaultdict(lambda: [0, 0, 0])
    for line in years.lines:
        customer = rows.customer_of.get(sale_entry(years, line))
        if customer and line.lot_id in lots:
            kind = 2 if line.role == "back" else 0 if line.lot_id in sure else 1
            sums[customer][kind] += abs(line.quantity) * UNIT_MASSES_MG["pack"]
    return {customer: (a, b, c) for customer, (a, b, c) in sums.items()}


def _loaded(years: FarmYears, rows: FarmRows, lots: set[int]) -> Iterator[tuple[object, int]]:
    """The load rule: a lot loaded and not wholly brought back; here always the first of two."""
    for load, day in zip(years.loads, rows.loads, strict=True):
        if load.packs[0] in lots:
            yield day.day, load.packs[0]
