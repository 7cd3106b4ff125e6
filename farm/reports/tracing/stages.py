"""Arrange lots in columns by stage, for the picture of a trace: fold, order, place.

Pure geometry on plain rows; `pictures` draws the result.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from graphlib import TopologicalSorter
from itertools import pairwise
from statistics import fmean

from farm.habits import to_places

COLUMN_GAP, ROW_GAP, BOX_HEIGHT, LANE_HEIGHT = 80.0, 16.0, 56.0, 10.0
SWEEPS = 6


@dataclass(frozen=True)
class Node:
    """A lot in the picture: its code, what it is, how much; a mark is a word such as 'on hold'."""

    key: str
    stage: int
    title: str
    line2: str
    line3: str = ""
    mark: str = ""
    mass_mg: int = 0


@dataclass(frozen=True)
class Link:
    src: str
    dst: str
    label: str
    certain: bool = True
    mass_mg: int = 0


@dataclass(frozen=True)
class Spot:
    """Where a box stands; a spot without a node is a lane through which a long arrow passes."""

    column: int
    x: float
    y: float
    height: float
    node: Node | None

    @property
    def middle(self) -> float:
        return self.y + self.height / 2


@dataclass(frozen=True)
class Arrangement:
    spots: dict[str, Spot]
    routes: tuple[tuple[Link, tuple[str, ...]], ...]  # every stop of a link, ends included
    columns: tuple[int, ...]  # the stage of each column

    @property
    def height(self) -> float:
        return max((spot.y + spot.height for spot in self.spots.values()), default=0)


def folded(
    nodes: Sequence[Node], links: Sequence[Link], fold_after: int
) -> tuple[list[Node], list[Link]]:
    """Fold what exceeds `fold_after` alike boxes of a stage into one that says how many.

    Alike: same stage, same words, same neighbours. A marked lot is never folded. 17 picks of
    2.6 kg with fold_after 4 show three and '+ 14 more, 36.400 kg'. A folded arrow is certain only
    if all of its arrows are.
    """
    ends: dict[str, set[tuple[str, str]]] = defaultdict(set)
    for link in links:
        ends[link.src].add(("to", link.dst))
        ends[link.dst].add(("from", link.src))
    alike: dict[object, list[Node]] = defaultdict(list)
    for node in nodes:
        group = node.key if node.mark else (node.stage, node.line2, frozenset(ends[node.key]))
        alike[group].append(node)
    kept: list[Node] = []
    into: dict[str, str] = {}
    for group_nodes in alike.values():
        shown = len(group_nodes) if len(group_nodes) <= fold_after else fold_after - 1
        kept += group_nodes[:shown]
        if rest := group_nodes[shown:]:
            kept.append(_more(rest))
            into |= {node.key: rest[0].key for node in rest}
    return kept, _folded_links(links, into)


def arranged(nodes: Sequence[Node], links: Sequence[Link], box_width: float) -> Arrangement:
    """Give every box its place: columns left to right in order of making, few crossings."""
    keys = _column_keys(nodes, links)
    order = sorted(set(keys.values()))
    column_of = {key: order.index(place) for key, place in keys.items()}
    routes = [(link, _route(link, column_of)) for link in links]
    columns: list[list[str]] = [[] for _ in order]
    for node in nodes:
        columns[column_of[node.key]].append(node.key)
    for _, route in routes:
        for stop in route[1:-1]:
            columns[int(stop.rsplit("|", 1)[1])].append(stop)
    near = _neighbours(route for _, route in routes)
    _order(columns, near)
    by_key = {node.key: node for node in nodes}
    spots = _placed(columns, near, by_key, box_width=box_width)
    return Arrangement(spots, tuple(routes), tuple(stage for _, stage, _ in order))


def _more(rest: Sequence[Node]) -> Node:
    mass_mg = sum(node.mass_mg for node in rest)
    return replace(
        rest[0],
        title=f"+ {len(rest)} more",
        line3=_kg(mass_mg) if mass_mg else "",
        mass_mg=mass_mg,
    )


def _folded_links(links: Sequence[Link], into: dict[str, str]) -> list[Link]:
    merged: dict[tuple[str, str], list[Link]] = defaultdict(list)
    for link in links:
        merged[into.get(link.src, link.src), into.get(link.dst, link.dst)].append(link)
    return [_merged(src, dst, parts) for (src, dst), parts in merged.items()]


def _merged(src: str, dst: str, parts: Sequence[Link]) -> Link:
    if len(parts) == 1:
        return replace(parts[0], src=src, dst=dst)
    mass_mg = sum(part.mass_mg for part in parts)
    label = _kg(mass_mg) if mass_mg else f"{len(parts)} times"
    return Link(src, dst, label, all(part.certain for part in parts), mass_mg)


def _kg(mass_mg: int) -> str:
    return f"{to_places((mass_mg + 500) // 1000 / 1000, 3)} kg"


def _column_keys(nodes: Sequence[Node], links: Sequence[Link]) -> dict[str, tuple[int, int, int]]:
    """Say for each lot: round, stage, place within the stage; every arrow points to a later one.

    Grain made from grain stands to the right of its parent; a culture cloned from a pick starts a
    second round, right of that pick.
    """
    stage_of = {node.key: node.stage for node in nodes}
    before: dict[str, set[str]] = {node.key: set() for node in nodes}
    for link in links:
        before[link.dst].add(link.src)
    keys: dict[str, tuple[int, int, int]] = {}
    for key in TopologicalSorter(before).static_order():
        stage = stage_of[key]
        after = [_next_key(keys[source], stage) for source in before[key]]
        keys[key] = max([(0, stage, 0), *after])
    return keys


def _next_key(source: tuple[int, int, int], stage: int) -> tuple[int, int, int]:
    turn, source_stage, depth = source
    if stage > source_stage:
        return turn, stage, 0
    if stage == source_stage:
        return turn, stage, depth + 1
    return turn + 1, stage, 0


def _route(link: Link, column_of: dict[str, int]) -> tuple[str, ...]:
    between = range(column_of[link.src] + 1, column_of[link.dst])
    lanes = [f"{link.src}|{link.dst}|{column}" for column in between]
    return link.src, *lanes, link.dst


def _neighbours(routes: Iterable[Sequence[str]]) -> dict[str, tuple[list[str], list[str]]]:
    """List for each stop what stands left and what stands right of it."""
    near: dict[str, tuple[list[str], list[str]]] = defaultdict(lambda: ([], []))
    for route in routes:
        for left, right in pairwise(route):
            near[right][0].append(left)
            near[left][1].append(right)
    return near


def _order(columns: list[list[str]], near: dict[str, tuple[list[str], list[str]]]) -> None:
    """Sort each column by the mean place of its neighbours, to and fro: few arrows cross."""
    place = {key: at / len(column) for column in columns for at, key in enumerate(column)}
    for sweep in range(SWEEPS):
        side = sweep % 2
        for column in columns if side == 0 else reversed(columns):
            column.sort(key=lambda key: fmean([place[k] for k in near[key][side]] or [place[key]]))
            place |= {key: at / len(column) for at, key in enumerate(column)}


def _placed(
    columns: list[list[str]],
    near: dict[str, tuple[list[str], list[str]]],
    by_key: dict[str, Node],
    *,
    box_width: float,
) -> dict[str, Spot]:
    """Put each box level with what it was made from, as far as its neighbours leave room."""
    spots: dict[str, Spot] = {}
    for number, column in enumerate(columns):
        x, bottom, shifts = number * (box_width + COLUMN_GAP), 0.0, []
        new: dict[str, Spot] = {}
        for key in column:
            height = BOX_HEIGHT if key in by_key else LANE_HEIGHT
            wish = fmean([spots[k].middle for k in near[key][0]] or [bottom + height / 2])
            y = max(bottom, wish - height / 2)
            shifts.append(wish - height / 2 - y)
            new[key] = Spot(number, x, y, height, by_key.get(key))
            bottom = y + height + ROW_GAP
        # What was pushed down goes up again by the mean, so that the column stands in the middle.
        up = fmean(shifts) if shifts else 0
        spots |= {key: replace(spot, y=spot.y + up) for key, spot in new.items()}
    top = min((spot.y for spot in spots.values()), default=0)
    return {key: replace(spot, y=spot.y - top) for key, spot in spots.items()}
