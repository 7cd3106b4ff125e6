"""A trace as a drawing: lots by stage, from supplies to who received it."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from graphlib import TopologicalSorter

from farm.models import Stage
from farm.queries.finding import Amount
from farm.queries.tracing.trace_events import SoldTo
from farm.queries.tracing.traces import Trace, TracedLink, TracedLot
from farm.reports.drawing import Drawing
from farm.reports.report_heading import added
from farm.reports.tracing.pictures import stages_picture
from farm.reports.tracing.stages import Link, Node
from farm.units import show_mass

SOLD_STAGE = max(Stage) + 1
STAGE_NAMES = {stage.value: stage.label for stage in Stage} | {SOLD_STAGE: "sold"}
# More boxes than this are too many to read: lots of one item, made at one step, share a box.
MOST_BOXES = 48
# A marked lot keeps a box of its own; so many suspects would be too many boxes.
MOST_MARKED = 12


@dataclass(frozen=True)
class Way:
    """What is drawn: lots, what went from one into another, who received it; ``asked``: codes."""

    lots: tuple[TracedLot, ...]
    links: tuple[TracedLink, ...]
    sales: tuple[SoldTo, ...]
    asked: tuple[str, ...]
    forward: bool


def trace_pictures(trace: Trace) -> tuple[Drawing, ...]:
    """Draw where a lot came from, and where it went; a way of no other lot is left out."""
    sides = ((trace.behind, (), False), (trace.made_of, trace.sales, True))
    return tuple(
        way_picture(Way(side.lots, side.links, sales, (trace.lot.code,), forward))
        for side, sales, forward in sides
        if len(side.lots) > 1 or sales
    )


def way_picture(way: Way) -> Drawing:
    marks = _marks(way)
    nodes = [_node(way, lot, marks.get(lot.code, "")) for lot in way.lots]
    links = [
        Link(link.src, link.dst, _words(link.amount), link.certain, link.amount.mass_mg or 0)
        for link in way.links
    ]
    title = "Where it went" if way.forward else "Where it came from"
    if len(nodes) > MOST_BOXES:
        title += ", lots of one kind together"
    into = _boxes(nodes, links) if len(nodes) > MOST_BOXES else {}
    if way.forward:
        sold_nodes, sold_links = _sold_to(way.sales)
        nodes, links = nodes + sold_nodes, links + sold_links
    return stages_picture(
        _together(nodes, into), _led(links, into), title=title, stage_names=STAGE_NAMES
    )


def _boxes(nodes: Sequence[Node], links: Sequence[Link]) -> dict[str, str]:
    """Say for each lot which lot's box it shares: same stage, same item, equally many steps in.

    Every arrow leads at least one step on, so boxes never lead back to themselves. A marked lot
    keeps its own.
    """
    steps = _steps(nodes, links)
    first: dict[tuple[int, str, int], str] = {}
    into: dict[str, str] = {}
    for node in nodes:
        if not node.mark:
            into[node.key] = first.setdefault((node.stage, node.line2, steps[node.key]), node.key)
    return into


def _steps(nodes: Sequence[Node], links: Sequence[Link]) -> dict[str, int]:
    """Count the longest way of arrows that leads to each lot."""
    before: dict[str, set[str]] = {node.key: set() for node in nodes}
    for link in links:
        before[link.dst].add(link.src)
    steps: dict[str, int] = {}
    for key in TopologicalSorter(before).static_order():
        steps[key] = max((steps[source] + 1 for source in before[key]), default=0)
    return steps


def _together(nodes: Sequence[Node], into: dict[str, str]) -> list[Node]:
    groups: dict[str, list[Node]] = defaultdict(list)
    for node in nodes:
        groups[into.get(node.key, node.key)].append(node)
    return [_box(group) for group in groups.values()]


def _box(group: Sequence[Node]) -> Node:
    if len(group) == 1:
        return group[0]
    mass_mg = sum(node.mass_mg for node in group)
    return replace(
        group[0], title=f"{len(group)} lots", line3=show_mass(mass_mg, "kg"), mass_mg=mass_mg
    )


def _led(links: Sequence[Link], into: dict[str, str]) -> list[Link]:
    """Lead arrows from box to box; several make one, certain only if all are."""
    merged: dict[tuple[str, str], list[Link]] = defaultdict(list)
    for link in links:
        merged[into.get(link.src, link.src), into.get(link.dst, link.dst)].append(link)
    return [_arrow(src, dst, parts) for (src, dst), parts in merged.items()]


def _arrow(src: str, dst: str, parts: Sequence[Link]) -> Link:
    if len(parts) == 1:
        return replace(parts[0], src=src, dst=dst)
    mass_mg = sum(part.mass_mg for part in parts)
    certain = all(part.certain for part in parts)
    return Link(src, dst, show_mass(mass_mg, "kg"), certain, mass_mg)


def _marks(way: Way) -> dict[str, str]:
    """Mark what was asked for and what is on hold, unless there are too many to stand apart."""
    held = [lot.code for lot in way.lots if lot.held]
    marks = dict.fromkeys(held, "on hold") if len(held) <= MOST_MARKED else {}
    asked = dict.fromkeys(way.asked, "this lot") if len(way.asked) <= MOST_MARKED else {}
    return marks | asked


def _node(way: Way, lot: TracedLot, mark: str) -> Node:
    is_asked = lot.code in way.asked
    amount = lot.made if way.forward or is_asked else lot.share
    detail = _words(amount) if amount.pieces or amount.mass_mg else "less than 1"
    if not way.forward and lot.supplier:
        detail = f"{detail} · {lot.supplier}"
    return Node(lot.code, lot.stage, lot.code, lot.name, detail, mark, amount.mass_mg or 0)


def _sold_to(sales: Iterable[SoldTo]) -> tuple[list[Node], list[Link]]:
    """Draw one box a customer (or stall), with what it received, returns taken off."""
    received: dict[tuple[str, str], list[SoldTo]] = defaultdict(list)
    for sale in sales:
        received[sale.customer_number or sale.place, sale.lot_code].append(sale)
    totals: dict[str, int] = defaultdict(int)
    places: dict[str, str] = {}
    links = []
    for (who, code), parts in received.items():
        amount = added(part.amount for part in parts)
        totals[who] += amount.mass_mg or 0
        places[who] = parts[0].place
        if amount.mass_mg:
            certain = all(part.certain for part in parts)
            links.append(Link(code, f"to {who}", _words(amount), certain, amount.mass_mg))
    nodes = [
        Node(
            f"to {who}",
            SOLD_STAGE,
            who,
            places[who] if places[who] != who else "sold there",
            _words(Amount(None, mass_mg)),
            mass_mg=mass_mg,
        )
        for who, mass_mg in totals.items()
        if mass_mg
    ]
    return nodes, links


def _words(amount: Amount) -> str:
    if amount.pieces is not None:
        return f"{amount.pieces:,}"
    return show_mass(amount.mass_mg or 0, "kg")
