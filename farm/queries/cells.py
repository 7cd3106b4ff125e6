"""Whole grams and cents, handed out once: per calendar month, at the finest cell, a lot and a day.

Every table, span, week and year sums these cells, and so does every file; none rounds for itself.
A month's total of a measure (what was sold, lost, picked, made; by weight, by cost) is rounded
half to even and handed out to its lots and days by largest remainder, a cell's to its flows by
the same rule. What is held on an evening is handed out likewise, by lot. The book stays exact.
What a closed month handed out stays: only what changed in it since is handed out again, under
what the others leave of the total. Hundredths of a pound are handed out beside the grams.
"""

from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import NamedTuple, TypeVar

from farm.kinds.growing import SPENT
from farm.queries.movements import (
    BOUGHT,
    NO_CELLS,
    CameIn,
    Cells,
    Happened,
    Money,
    Moved,
    Selling,
    cells_of,
    closed_among,
    flows_in,
    moved,
    whole_months,
)
from farm.steps import rounded, share_steps
from farm.weight import HUNDREDTH, SCALE, Weight
from ledger.drafts import canonical
from ledger.models import Role

GRAM, CENT = 1_000, 100
LEFT = (Role.LOST, Role.STRANDED, Role.SHRUNK)
OUT = (Role.SOLD, Role.BACK, Role.USED, *LEFT)
R = TypeVar("R", CameIn, Selling)
# What is handed out of each flow, in steps of how much.
NUMBERS: Mapping[str, tuple[Callable[[Moved], int], int]] = {
    "g": (lambda one: one.mass_mg or 0, GRAM),
    "c": (lambda one: one.money, CENT),
    "lb": (lambda one: (one.mass_mg or 0) * SCALE, HUNDREDTH),
}


class Part(NamedTuple):
    """A number to hand out steps of: of which whole, in which cell of it, and how much.

    ``stays``: the steps that it was handed when its month was closed.
    """

    whole: Hashable
    cell: tuple[int, ...]
    number: int
    stays: int | None = None


def handed_out(found: Happened) -> Happened:
    """Hand out the grams and cents of whole months; what the book says stays beside them."""
    moved, money = handed_flows(found.moved, found.closed), handed_money(found.money, found.closed)
    return replace(found, moved=moved, money=money)


def handed_between(first: date, last: date) -> tuple[Moved, ...]:
    """Read all that moved in the whole months of some days, as handed out; two queries."""
    whole = whole_months(first, last)
    return handed_flows(moved(flows_in(*whole)), cells_of(closed_among(*whole)))


def cells_as_text(found: Happened) -> str:
    """Write what a month that is closed hands out: by key its exact number and its steps."""
    cells = {
        _key(one, what): (number(one), steps)
        for what, (number, _) in NUMBERS.items()
        for one, steps in zip(found.moved, _handed(found.moved, what, found.closed), strict=True)
        if number(one)
    }
    handed = handed_money(found.money, found.closed)
    for one, now in zip(found.money.selling, handed.selling, strict=True):
        cells[_selling_key(one)] = (one.money, now.money // CENT)
    return canonical(cells)


def handed_flows(rows: Sequence[Moved], closed: Cells = NO_CELLS) -> tuple[Moved, ...]:
    """Hand out the grams, cents and hundredths of a pound of all that moved in whole months."""
    steps = (_handed(rows, what, closed) for what in ("g", "lb", "c"))
    return tuple(
        one._replace(
            handed_mg=None if one.mass_mg is None else Weight(grams * GRAM, hundredths),
            handed_money=cents * CENT,
        )
        for one, grams, hundredths, cents in zip(rows, *steps, strict=True)
    )


def _handed(flows: Iterable[Moved], what: str, closed: Cells) -> list[int]:
    """Hand out steps of one number of each flow, counted on the side on which it is told."""
    number, step = NUMBERS[what]
    rows = [(one, -1 if one.role in OUT else 1) for one in flows]
    parts = [
        Part(
            (_month(one.day), _measure(one)),
            (one.day.toordinal(), one.lot),
            sign * number(one),
            _stays(closed, _key(one, what), number(one), sign=sign),
        )
        for one, sign in rows
    ]
    return [sign * steps for (_, sign), steps in zip(rows, steps_of(parts, step), strict=True)]


def _key(one: Moved, what: str) -> str:
    return f"{one.entry} {one.lot} {one.role} {what}"


def _stays(closed: Cells, key: str, number: int, *, sign: int = 1) -> int | None:
    """The steps that were handed out at closing, where the number is still what it was then.

    Of nothing there is nothing to hand out.
    """
    then, steps = closed.get(key, (0, 0))
    if not number:
        return 0
    return sign * steps if then == number else None


def _measure(one: Moved) -> tuple[str, int]:
    """What a flow counts in: what was sold less what came back, what was lost, what was made."""
    if one.role in (Role.SOLD, Role.BACK):
        return Role.SOLD, 0
    if one.role in LEFT:
        # Blocks that are binned once spent are no loss.
        is_loss = any(one.cost) or one.kind != SPENT
        return Role.LOST, int(is_loss)
    return one.role, one.stage


def handed_money(money: Money, closed: Cells = NO_CELLS) -> Money:
    """Hand out the cents of what came in and of what selling cost, in whole months."""
    return replace(
        money,
        came_in=_handed_rows(money.came_in, _came_in),
        selling=handed_selling(money.selling, closed),
    )


def handed_selling(rows: Sequence[Selling], closed: Cells = NO_CELLS) -> tuple[Selling, ...]:
    """Hand out the cents of what selling cost, in whole months."""
    return _handed_rows(rows, lambda one: _selling(one, closed))


def _came_in(one: CameIn) -> Part:
    return Part((_month(one.day), one.what == BOUGHT), (one.day.toordinal(),), one.money)


def _selling(one: Selling, closed: Cells) -> Part:
    stays = _stays(closed, _selling_key(one), one.money)
    return Part(_month(one.day), (one.day.toordinal(), one.place_pk), one.money, stays)


def _selling_key(one: Selling) -> str:
    return f"{one.day} {one.place_pk} {one.what} {one.own}"


def _handed_rows(rows: Sequence[R], part_of: Callable[[R], Part]) -> tuple[R, ...]:
    steps = steps_of([part_of(one) for one in rows], CENT)
    return tuple(one._replace(money=at * CENT) for one, at in zip(rows, steps, strict=True))


def steps_of(parts: Sequence[Part], step: int) -> list[int]:
    """Hand out steps under each whole, first to its cells in their order, then within each."""
    wholes: dict[Hashable, list[int]] = defaultdict(list)
    for at, part in enumerate(parts):
        wholes[part.whole].append(at)
    steps = [0] * len(parts)
    for places in wholes.values():
        total = rounded(sum(parts[at].number for at in places), step)
        stay = {at: stays for at in places if (stays := parts[at].stays) is not None}
        if len(stay) == len(places) and sum(stay.values()) != total:
            stay = {}  # what changed is gone, and its steps with it: all are handed out again
        shared = [at for at in places if at not in stay]
        for at, number in stay.items():
            steps[at] = number
        _share(parts, shared, step, whole=total - sum(stay.values()), into=steps)
    return steps


def _share(
    parts: Sequence[Part], places: Iterable[int], step: int, *, whole: int, into: list[int]
) -> None:
    cells: dict[tuple[int, ...], list[int]] = defaultdict(list)
    for at in places:
        cells[parts[at].cell].append(at)
    within = [cells[cell] for cell in sorted(cells)]
    sums = [sum(parts[at].number for at in one) for one in within]
    for one, of_cell in zip(within, share_steps(sums, step, whole), strict=True):
        shared = share_steps([parts[at].number for at in one], step, of_cell)
        for at, number in zip(one, shared, strict=True):
            into[at] = number


def _month(day: date) -> tuple[int, int]:
    return day.year, day.month
