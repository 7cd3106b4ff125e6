"""Whole grams and cents, handed out once: per calendar month, at the finest cell, a lot and a day.

Every table, span, week and year sums these cells, and so does every file; none rounds for itself.
A month's total of a measure (what was sold, lost, picked, made; by weight, by cost) is rounded
half to even and handed out to its lots and days by largest remainder, a cell's to its flows by
the same rule. What is held on an evening is handed out likewise, by lot. The book stays exact.
"""

from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import replace
from datetime import date
from typing import NamedTuple, TypeVar

from farm.queries.happened import BOUGHT, CameIn, Happened, Money, Moved, Selling
from farm.steps import share_steps
from ledger.models import Role

GRAM, CENT = 1_000, 100
LEFT = (Role.LOST, Role.STRANDED, Role.SHRUNK)
OUT = (Role.SOLD, Role.BACK, Role.USED, *LEFT)


class Part(NamedTuple):
    """A number to hand out steps of: of which whole, in which cell of it, and how much."""

    whole: Hashable
    cell: tuple[int, ...]
    number: int


def handed_out(found: Happened) -> Happened:
    """Hand out the grams and cents of whole months; what the book says stays beside them."""
    return replace(found, moved=handed_flows(found.moved), money=handed_money(found.money))


def handed_flows(moved: Sequence[Moved]) -> tuple[Moved, ...]:
    """Hand out the grams and cents of all that moved in whole months."""
    masses = _handed(moved, lambda one: one.mass_mg or 0, GRAM)
    costs = _handed(moved, lambda one: one.money, CENT)
    return tuple(
        one._replace(handed_mg=None if one.mass_mg is None else mass_mg, handed_money=money)
        for one, mass_mg, money in zip(moved, masses, costs, strict=True)
    )


def _handed(moved: Iterable[Moved], number: Callable[[Moved], int], step: int) -> list[int]:
    """Hand out one number of each flow, counted on the side on which it is told."""
    rows = [(one, -1 if one.role in OUT else 1) for one in moved]
    parts = [
        Part((_month(one.day), _measure(one)), (one.day.toordinal(), one.lot), sign * number(one))
        for one, sign in rows
    ]
    return [
        sign * steps * step
        for (_, sign), steps in zip(rows, steps_of(parts, step), strict=True)
    ]  # fmt: skip


def _measure(one: Moved) -> tuple[str, int]:
    """What a flow counts in: what was sold less what came back, what was lost, what was made."""
    if one.role in (Role.SOLD, Role.BACK):
        return Role.SOLD, 0
    if one.role in LEFT:
        # Blocks that are binned once spent are no loss.
        is_loss = any(one.cost) or one.kind != "spent"
        return Role.LOST, int(is_loss)
    return one.role, one.stage


def handed_money(money: Money) -> Money:
    """Hand out the cents of what came in and of what selling cost, in whole months."""
    return replace(
        money,
        came_in=_handed_rows(money.came_in, _came_in),
        selling=_handed_rows(money.selling, _selling),
    )


def _came_in(one: CameIn) -> Part:
    return Part((_month(one.day), one.what == BOUGHT), (one.day.toordinal(),), one.money)


def _selling(one: Selling) -> Part:
    return Part(_month(one.day), (one.day.toordinal(), one.place_pk), one.money)


R = TypeVar("R", CameIn, Selling)


def _handed_rows(rows: Sequence[R], part_of: Callable[[R], Part]) -> tuple[R, ...]:
    steps = steps_of([part_of(one) for one in rows], CENT)
    return tuple(one._replace(money=at * CENT) for one, at in zip(rows, steps, strict=True))


def steps_of(parts: Sequence[Part], step: int) -> list[int]:
    """Hand out steps under each whole, first to its cells in their order, then within each."""
    wholes: dict[Hashable, dict[tuple[int, ...], list[int]]] = defaultdict(
        lambda: defaultdict(list)
    )
    for at, part in enumerate(parts):
        wholes[part.whole][part.cell].append(at)
    steps = [0] * len(parts)
    for cells in wholes.values():
        places = [cells[cell] for cell in sorted(cells)]
        sums = [sum(parts[at].number for at in within) for within in places]
        for within, whole in zip(places, share_steps(sums, step), strict=True):
            shared = share_steps([parts[at].number for at in within], step, whole)
            for at, number in zip(within, shared, strict=True):
                steps[at] = number
    return steps


def _month(day: date) -> tuple[int, int]:
    return day.year, day.month
