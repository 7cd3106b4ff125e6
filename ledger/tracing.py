"""Back to sources and forward to uses, whole and by quantity.

Whole: over the edges, in the database, each lot once (UNION, not UNION ALL: blending must not
explode and the walk always ends). By quantity: the lot's quantity is put into it like a dye and
carried along by the very arithmetic that carries cost, so what arrives adds up to what went in.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from django.db import connection

from ledger.costing import Step, still_expected, work
from ledger.edges import Alike, alike_of
from ledger.models import Edge, Role
from ledger.story import Story, add_shares, read_steps
from ledger.working import shares_of

_WALK = """
WITH RECURSIVE reached(id) AS (
    SELECT id FROM ledger_lot WHERE id IN ({marks})
    UNION
    SELECT edge.{to} FROM reached JOIN ledger_edge AS edge ON edge.{start} = reached.id
)
SELECT id, (SELECT made_by_id FROM ledger_lot WHERE ledger_lot.id = reached.id) AS born_at
FROM reached ORDER BY born_at, id
"""
FORWARD = _WALK.replace("{to}", "dst_id").replace("{start}", "src_id")
BACK = _WALK.replace("{to}", "src_id").replace("{start}", "dst_id")


class Into(NamedTuple):
    """So much of one lot went into another; ``alike``: what can stand in for the first one."""

    entry: int
    src: int
    alike: Alike
    dst: int
    quantity: int


@dataclass(frozen=True, slots=True)
class Kin:
    """Some lots and all behind them, or all made of them; ``edges``: all that lead into one.

    ``born_at``: the entry that made each lot, in the order of making.
    """

    born_at: dict[int, int]
    edges: tuple[Into, ...] = ()


@dataclass(frozen=True, slots=True)
class Reach:
    """Lots reached from suspects, in the order of making; ``certain`` ones are among them."""

    lots: tuple[int, ...]
    certain: frozenset[int]
    kin: Kin


@dataclass
class Carried:
    """Where a lot's quantity went, in its own unit; everything adds up to ``total``.

    ``on_hand``: by lot. ``sold`` and ``lost``: by (lot, place); returns are taken off.
    """

    total: int
    on_hand: dict[int, int] = field(default_factory=dict)
    sold: dict[tuple[int, int], int] = field(default_factory=dict)
    lost: dict[tuple[int, int], int] = field(default_factory=dict)


def ancestors(lot_ids: Iterable[int]) -> set[int]:
    """Find every lot behind some lots, themselves included."""
    return set(_walk(BACK, lot_ids))


def descendants(lot_ids: Iterable[int]) -> set[int]:
    """Find every lot made from some lots, themselves included."""
    return set(_walk(FORWARD, lot_ids))


def behind(lot_ids: Iterable[int]) -> Kin:
    """Find every lot behind some lots with what went into each; two queries."""
    return _kin(BACK, lot_ids)


def ahead(lot_ids: Iterable[int]) -> Kin:
    """Find every lot made from some lots with what went into each; two queries."""
    return _kin(FORWARD, lot_ids)


def around(lot_id: int) -> tuple[Kin, Kin]:
    """Find all lots behind one lot, and all made of it; three queries."""
    sides = _walk(BACK, [lot_id]), _walk(FORWARD, [lot_id])
    edges = _edges({lot for side in sides for lot in side})
    behind_it, of_it = (
        Kin(side, tuple(edge for edge in edges if edge.dst in side)) for side in sides
    )
    return behind_it, of_it


def within(kin: Kin, lot_ids: Iterable[int]) -> Kin:
    """Cut out of what was found ahead of many lots what is ahead of some of them; no query."""
    after: dict[int, list[int]] = defaultdict(list)
    for edge in kin.edges:
        after[edge.src].append(edge.dst)
    found: set[int] = set()
    wave = set(lot_ids)
    while wave:
        found |= wave
        wave = {made for lot in wave for made in after[lot]} - found
    born_at = {lot: born for lot, born in kin.born_at.items() if lot in found}
    return Kin(born_at, tuple(edge for edge in kin.edges if edge.dst in found))


def reach(lot_ids: Iterable[int], kin: Kin | None = None) -> Reach:
    """Find what suspects reach, for a recall: a mixed lot counts whole; two queries.

    ``kin``: all ahead of these and other lots, where it was found already.
    """
    suspects = set(lot_ids)
    kin = within(kin, suspects) if kin else ahead(suspects)
    return Reach(tuple(kin.born_at), certain_of(suspects, kin), kin)


def certain_of(suspects: Iterable[int], kin: Kin) -> frozenset[int]:
    """Say which lots must hold some of the suspects.

    Inputs that can stand in for one another are alternatives, all others are in every unit. A
    made lot is certain if, of some alternatives, all are certain; possible if otherwise reached.
    """
    inputs: dict[int, dict[Alike, list[int]]] = defaultdict(lambda: defaultdict(list))
    for edge in kin.edges:
        inputs[edge.dst][edge.alike].append(edge.src)
    certain = set(suspects)
    for lot_id in kin.born_at:
        choices = inputs.get(lot_id, {})
        if any(all(src in certain for src in sources) for sources in choices.values()):
            certain.add(lot_id)
    return frozenset(certain)


def dye(lot_ids: Iterable[int]) -> Story:
    """Read what happened to some lots, for a dye to be carried through them; three queries."""
    story = read_steps(lot_ids)
    add_shares(story)
    _leave_money_out(story)
    return story


def follow(lot_id: int, kin: Kin | None = None, story: Story | None = None) -> Carried:
    """Carry a lot's quantity forward through everything made of it; nothing is left over.

    Planned losses and water leave without a share, as they do without cost: the rest carries it.
    ``kin``: the lots to carry it through, where they were found already, and ``story`` what
    happened to them, where it was read (``dye``). Three queries more.
    """
    kin = kin or ahead([lot_id])
    story = story or dye(kin.born_at)
    carried = Carried(_came_in(story, lot_id))
    pools: dict[int, tuple[int, ...]] = defaultdict(lambda: (0,))
    for lot in kin.born_at:
        inflow = {}
        for step in story.steps[lot]:
            if step.role == Role.MADE and lot != lot_id:
                inflow[step.place] = shares_of(story, step.place, pools[step.place]).get(lot, (0,))
        if lot == lot_id:
            inflow[story.born_at[lot]] = (carried.total,)
        earlier = story.earlier.get(lot, ())
        life = work(story.steps[lot], inflow, story.born_at[lot], earlier=earlier, kinds=1)
        if life.cost[0]:
            carried.on_hand[lot] = life.cost[0]
        for (place, role), (amount,) in life.moved.items():
            if role == Role.USED:
                pools[place] = (pools[place][0] - amount,)
        _sort_out(carried, lot, life.moved)
    return carried


def composition(lot_id: int, kin: Kin | None = None, story: Story | None = None) -> dict[int, int]:
    """Say how much of each ancestor, in its own unit, is behind a whole lot.

    Worked in the reverse order of making, so that each edge is looked at once. What a pick took
    of a block lot is its weight over all weight picked and still expected. Rounded down.
    ``kin``: the lots behind it, where they were found already, and ``story`` what happened to
    them, where it was read (``dye``). Three queries more.
    """
    kin = kin or behind([lot_id])
    story = story or dye(kin.born_at)
    inputs: dict[int, list[Into]] = defaultdict(list)
    for edge in kin.edges:
        inputs[edge.dst].append(edge)
    share = dict.fromkeys(kin.born_at, 0) | {lot_id: _FINE}
    for lot in reversed(kin.born_at):
        for edge in inputs[lot]:
            # Up here, down below: 31 pieces out of 1,200 come to 31 again, not to 30.999….
            whole = _whole(story, edge.src, edge.entry)
            share[edge.src] -= -edge.quantity * share[lot] // whole
    return {lot: _came_in(story, lot) * share[lot] // _FINE for lot in kin.born_at}


def _leave_money_out(story: Story) -> None:
    """Leave out what only money decides: a dye is none.

    A by-product takes its part by weight, given or kept, and where it shares cost as the crop that
    is worth as much; what was lost is lost, whatever it was sold for.
    """
    for lot, steps in story.steps.items():
        scrapped = {step.place for step in steps if step.role == Role.LOST and step.worth}
        story.steps[lot] = [
            replace(step, money=0, worth=0)
            for step in steps
            if step.role != Role.USED or step.place not in scrapped
        ]
    for place, made in story.made_at.items():
        story.made_at[place] = [(lot, basis, 0) for lot, basis, _ in made]


# A lot's share is worked in parts this fine.
_FINE = 10**15


def _whole(story: Story, src: int, place: int) -> int:
    """What an edge's quantity is a part of: what came into the lot, or all weight picked of it."""
    picks = [step for step in story.steps[src] if step.weight_mg]
    if not any(pick.place == place for pick in picks):
        return _came_in(story, src) or 1
    rest = 0 if any(step.closes > 0 for step in story.steps[src]) else _rest_mg(story, src, picks)
    return sum(pick.weight_mg for pick in picks) + rest


def _rest_mg(story: Story, lot: int, picks: list[Step]) -> int:
    return still_expected(picks[-1], (*story.earlier.get(lot, ()), *picks))


def _came_in(story: Story, lot_id: int) -> int:
    return sum(s.quantity for s in story.steps[lot_id] if s.role in (Role.BOUGHT, Role.MADE))


def _sort_out(carried: Carried, lot: int, moved: dict[tuple[int, str], tuple[int, ...]]) -> None:
    for (place, role), (amount,) in moved.items():
        if role in (Role.SOLD, Role.BACK):
            carried.sold[lot, place] = carried.sold.get((lot, place), 0) - amount
        elif role in (Role.LOST, Role.STRANDED) and amount:
            carried.lost[lot, place] = carried.lost.get((lot, place), 0) - amount


def _kin(statement: str, lot_ids: Iterable[int]) -> Kin:
    born_at = _walk(statement, lot_ids)
    return Kin(born_at, _edges(born_at))


def _edges(lot_ids: Iterable[int]) -> tuple[Into, ...]:
    """Read what led into some lots."""
    edges = Edge.objects.filter(dst__in=list(lot_ids)).order_by("entry_id", "pk")
    rows = edges.values_list(
        "entry_id", "src_id", "src__item__alike", "src__item_id", "dst_id", "quantity"
    )
    return tuple(
        Into(entry, src, alike_of(word, item), dst, quantity)
        for entry, src, word, item, dst, quantity in rows
    )


def _walk(statement: str, lot_ids: Iterable[int]) -> dict[int, int]:
    """Give the lots reached in the order of making, each with the entry that made it."""
    ids = list(lot_ids)
    if not ids:
        return {}
    marks = ", ".join(["%s"] * len(ids))
    with connection.cursor() as cursor:
        cursor.execute(statement.replace("{marks}", marks), ids)
        return dict(cursor.fetchall())
