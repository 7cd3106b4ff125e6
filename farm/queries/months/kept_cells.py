"""What is printed of kept rows: whole cents and grams, handed out under what their months print."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace

from farm.queries.cells import CENT, GRAM
from farm.queries.months.canonical import KeptRow
from farm.steps import rounded, share_steps
from farm.weight import HUNDREDTH, SCALE, Weight

# A number of a month's rows that is added up: of what came in and what went, each kind apart.
Sum = tuple[str, str, str, str]


def handed_rows(rows: Sequence[KeptRow], before: Iterable[KeptRow] = ()) -> list[KeptRow]:
    """Hand out the cents and grams of rows, each month's by themselves.

    A month's rows come to its rounded sum; those that are added to ones kept ``before`` to the
    rounded sum of both less the rounded sum of these, so that what is printed adds up on and on.
    September froze 3.5714, printed 3.57, and is 3.8461 now, 3.85: 0.2747 more is printed as 0.28.
    """
    kept: dict[Sum, int] = defaultdict(int)
    for row in before:
        for name, number in row.numbers.items():
            kept[_sum_of(row, name)] += number
    at: dict[Sum, list[int]] = defaultdict(list)
    for place, row in enumerate(rows):
        for name, number in row.numbers.items():
            if number:
                at[_sum_of(row, name)].append(place)
    numbers = [dict(row.numbers) for row in rows]
    for summed, places in at.items():
        name = summed[-1]
        shared = _handed([rows[place].numbers[name] for place in places], kept[summed], name)
        for place, number in zip(places, shared, strict=True):
            numbers[place][name] = number
    return [replace(row, numbers=own) for row, own in zip(rows, numbers, strict=True)]


def _sum_of(row: KeptRow, name: str) -> Sum:
    return row.month, row.table, row.key[0] if row.table == "cost" else "", name


def _handed(values: Sequence[int], before: int, name: str) -> list[int]:
    if name.endswith("_money"):
        return [cents * CENT for cents in _steps(values, before, CENT)]
    if not name.endswith("_mg"):
        return list(values)
    grams = _steps(values, before, GRAM)
    pounds = _steps([mg * SCALE for mg in values], before * SCALE, HUNDREDTH)
    return [Weight(mass * GRAM, lb) for mass, lb in zip(grams, pounds, strict=True)]


def _steps(values: Sequence[int], before: int, step: int) -> list[int]:
    whole = rounded(before + sum(values), step) - rounded(before, step)
    return share_steps(values, step, whole)
