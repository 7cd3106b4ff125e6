"""Draw a trace by stages: lots as boxes in columns, with arrows that say how much.

Everything is said in words and lines: solid is certain, dashed is possible, a mark is a word.
"""

from collections.abc import Mapping, Sequence
from itertools import pairwise

from farm.reports.drawing import (
    Box,
    Curve,
    Drawing,
    Line,
    Shape,
    Text,
    Tone,
    fitted,
    room_for,
)
from farm.reports.tracing.stages import Arrangement, Link, Node, Spot, arranged, folded

FOLD_AFTER = 6
EDGE = 2.0
HEAD, FOOT = 26.0, 26.0
LABEL_SIZE, LABEL_HEIGHT = 8.0, 11.0
SPOTS_ON_CURVE = (0.5, 0.36, 0.64, 0.26, 0.74)


def stages_picture(
    nodes: Sequence[Node],
    links: Sequence[Link],
    *,
    title: str,
    stage_names: Mapping[int, str],
    fold_after: int = FOLD_AFTER,
) -> Drawing:
    """Draw lots as boxes in columns of stages, left to right, with arrows that say how much."""
    shown, arrows = folded(nodes, links, fold_after)
    box_width = _box_width(shown)
    plan = arranged(shown, arrows, box_width)
    shapes: list[Shape] = []
    paths = _paths(plan, box_width)
    shapes += [part for path in paths for part in path]
    shapes += _arrow_labels(plan, paths)
    for spot in plan.spots.values():
        shapes += _box(spot, box_width)
    spots = [spot.x for spot in plan.spots.values()]
    width = max(spots, default=0) + box_width + 2 * EDGE
    shapes += _stage_heads(plan, stage_names, box_width)
    height = HEAD + plan.height + EDGE
    if any(not link.certain for link in arrows):
        shapes += _legend(height + 16)
        height += FOOT
    certain = sum(link.certain for link in links)
    description = (
        f"{len(nodes)} lots in {len(plan.columns)} columns, {len(links)} arrows:"
        f" {certain} certain, {len(links) - certain} possible."
    )
    return Drawing(max(width, 200), height, tuple(shapes), title, description)


def _box_width(nodes: Sequence[Node]) -> float:
    """Make every box as wide as the longest words want, within limits."""
    wishes = [
        max(
            room_for(node.title, 13, bold=True) + (_mark_width(node.mark) + 8 if node.mark else 0),
            room_for(node.line2, 9),
            room_for(node.line3, 9),
        )
        for node in nodes
    ]
    return min(max([90.0, *wishes]), 190.0) + 16


def _mark_width(mark: str) -> float:
    return room_for(mark, 8, bold=True) + 8 if mark else 0


def _box(spot: Spot, width: float) -> list[Shape]:
    node = spot.node
    if node is None:
        return []
    x, y = EDGE + spot.x, HEAD + spot.y
    inner = width - 16
    tag = _mark_width(node.mark)
    fill = Tone.PAPER if node.mark or node.title.startswith("+ ") else Tone.WASH
    outline = Tone.INK if node.mark else Tone.SOFT
    shapes: list[Shape] = [
        Box((x, y), width, spot.height, Tone.PAPER, None),
        Box((x, y), width, spot.height, fill, outline, 2 if node.mark else 0.8),
        Text((x + 8, y + 17), fitted(node.title, inner - tag, 13, bold=True), 13, True),
        Text((x + 8, y + 32), fitted(node.line2, inner, 9)),
        Text((x + 8, y + 46), fitted(node.line3, inner, 9), tone=Tone.SOFT),
    ]
    if node.mark:
        corner = (x + width - tag - 5, y + 5)
        shapes += [
            Box(corner, tag, 14, Tone.INK, None),
            Text((corner[0] + 4, corner[1] + 10), node.mark, 8, True, tone=Tone.PAPER),
        ]
    return shapes


def _paths(plan: Arrangement, width: float) -> list[list[Curve | Line]]:
    """Lead each link from stop to stop: curves in the gaps, level lines through the lanes."""
    paths: list[list[Curve | Line]] = []
    starts, ends = _ports(plan)
    for number, (link, route) in enumerate(plan.routes):
        path: list[Curve | Line] = []
        for left, right in pairwise(route):
            start = (EDGE + plan.spots[left].x + width, HEAD + starts[number, left])
            end = (EDGE + plan.spots[right].x, HEAD + ends[number, right])
            arrow = right == link.dst
            path.append(Curve(start, end, Tone.SOFT, 1.1, not link.certain, arrow))
            if not arrow:
                through = (end[0] + width, end[1])
                path.append(Line(end, through, Tone.SOFT, 1.1, not link.certain))
        paths.append(path)
    return paths


def _ports(
    plan: Arrangement,
) -> tuple[dict[tuple[int, str], float], dict[tuple[int, str], float]]:
    """Spread the arrows of a box along its sides, in the order of where they lead."""
    leaving: dict[str, list[tuple[float, int]]] = {}
    arriving: dict[str, list[tuple[float, int]]] = {}
    for number, (_, route) in enumerate(plan.routes):
        for left, right in pairwise(route):
            leaving.setdefault(left, []).append((plan.spots[right].middle, number))
            arriving.setdefault(right, []).append((plan.spots[left].middle, number))
    return _spread(plan, leaving), _spread(plan, arriving)


def _spread(
    plan: Arrangement, sides: Mapping[str, list[tuple[float, int]]]
) -> dict[tuple[int, str], float]:
    ports: dict[tuple[int, str], float] = {}
    for key, ends in sides.items():
        spot = plan.spots[key]
        for at, (_, number) in enumerate(sorted(ends), start=1):
            ports[number, key] = spot.y + spot.height * at / (len(ends) + 1)
    return ports


def _arrow_labels(plan: Arrangement, paths: Sequence[Sequence[Shape]]) -> list[Shape]:
    """Write each arrow's label on its first curve, where no other label stands yet."""
    shapes: list[Shape] = []
    taken: list[tuple[float, float, float]] = []
    for (link, _), path in zip(plan.routes, paths, strict=True):
        first = path[0]
        if not link.label or not isinstance(first, Curve):
            continue
        size = room_for(link.label, LABEL_SIZE) + 6
        places = [(*first.at(part), size) for part in SPOTS_ON_CURVE]
        x, y, _ = next((p for p in places if not any(_touch(p, t) for t in taken)), places[0])
        taken.append((x, y, size))
        shapes += [
            Box((x - size / 2, y - 6), size, LABEL_HEIGHT, Tone.PAPER, None),
            Text((x, y + 2.5), link.label, LABEL_SIZE, anchor="middle"),
        ]
    return shapes


def _touch(one: tuple[float, float, float], other: tuple[float, float, float]) -> bool:
    return (
        abs(one[1] - other[1]) < LABEL_HEIGHT and abs(one[0] - other[0]) < (one[2] + other[2]) / 2
    )


def _stage_heads(plan: Arrangement, stage_names: Mapping[int, str], width: float) -> list[Shape]:
    xs = {spot.column: spot.x + EDGE for spot in plan.spots.values()}
    shapes: list[Shape] = []
    for number, stage in enumerate(plan.columns):
        name = fitted(stage_names.get(stage, ""), width, 10, bold=True)
        shapes.append(Text((xs[number], 11), name, 10, True, tone=Tone.ACCENT))
        shapes.append(Line((xs[number], 16), (xs[number] + width, 16), Tone.SOFT, 0.6))
    return shapes


def _legend(y: float) -> list[Shape]:
    return [
        Line((EDGE, y - 3), (EDGE + 28, y - 3), Tone.SOFT, 1.1),
        Text((EDGE + 34, y), "certain", 9),
        Line((EDGE + 86, y - 3), (EDGE + 114, y - 3), Tone.SOFT, 1.1, dashed=True),
        Text((EDGE + 120, y), "possible", 9),
    ]
