"""The oracle: the whole book worked in one pass, reading ledger facts only."""

from itertools import groupby
from operator import itemgetter

from ledger.costing import Cost, Life
from ledger.edges import EDGE_FIELDS, edges_at
from ledger.models import KINDS, Edge, Flow, Line, Lot, Mark, Role
from ledger.story import Story, read_story
from ledger.working import (
    ZERO,
    figures,
    flow_rows,
    is_held,
    life_of,
)

_USED = Role.USED.value
FlowKey = tuple[int, int, str]
EdgeKey = tuple[int, int, int]


def work_all(story: Story | None = None) -> dict[int, Life]:
    """Work every lot in the order of making; return lives by lot.

    Each line is looked at once, so the pass grows with the book's lines.
    """
    story = story or read_story()
    used: dict[int, Cost] = {}
    lives: dict[int, Life] = {}
    for lot_id in sorted(story.born_at, key=lambda lot: (story.born_at[lot], lot)):
        life = lives[lot_id] = life_of(story, lot_id, used)
        for (place, role), cost in life.moved.items():
            if role == _USED:
                known = used.get(place, ZERO)
                used[place] = tuple([a - b for a, b in zip(known, cost, strict=True)])
    return lives


def flows_of(story: Story, lives: dict[int, Life]) -> dict[FlowKey, tuple[int, Cost]]:
    """List what worked lives moved: (lot, place, role) to quantity and cost."""
    flows = {}
    for lot_id, life in lives.items():
        stated = {(step.place, step.role): step.quantity for step in story.steps[lot_id]}
        for key, cost in life.moved.items():
            flows[lot_id, *key] = (stated.get(key, 0), cost)
    return flows


def kept_flows() -> dict[FlowKey, tuple[int, Cost]]:
    """Read the flows that the book keeps, in the form that ``flows_of`` returns."""
    rows = Flow.objects.values_list("lot_id", "entry_id", "role", "quantity", *KINDS)
    return {
        (lot, entry, role): (quantity, tuple(cost))
        for lot, entry, role, quantity, *cost in rows.iterator(chunk_size=5000)
    }


def all_edges() -> dict[EdgeKey, tuple[int, int]]:
    """Rebuild every edge from the facts: (src, dst, entry) to quantity and part."""
    rows = (
        Line.objects.filter(role__in=(Role.USED, Role.MADE))
        .order_by("entry__place")
        .values_list("entry__place", *EDGE_FIELDS)
    )
    found: dict[EdgeKey, tuple[int, int]] = {}
    for place, lines in groupby(rows.iterator(chunk_size=5000), key=itemgetter(0)):
        for edge in edges_at(place, (row[1:] for row in lines)):
            found[edge.src_id, edge.dst_id, place] = (edge.quantity, edge.part)
    return found


def kept_edges() -> dict[EdgeKey, tuple[int, int]]:
    rows = Edge.objects.values_list("src_id", "dst_id", "entry_id", "quantity", "part")
    return {(src, dst, entry): (q, part) for src, dst, entry, q, part in rows.iterator()}


def rebuild() -> None:
    """Throw away everything worked and work it again from the facts."""
    story = read_story()
    lives = work_all(story)
    Flow.objects.all().delete()
    rows = (row for lot, life in lives.items() for row in flow_rows(lot, story.steps[lot], life))
    Flow.objects.bulk_create(rows, batch_size=1000)
    for lot_id, life in lives.items():
        Lot.objects.filter(pk=lot_id).update(**figures(life))
    for lot_id in set(Mark.objects.values_list("lot_id", flat=True)):
        Lot.objects.filter(pk=lot_id).update(held=is_held(lot_id))
    Edge.objects.all().delete()
    Edge.objects.bulk_create(
        [
            Edge(src_id=src, dst_id=dst, entry_id=entry, quantity=quantity, part=part)
            for (src, dst, entry), (quantity, part) in all_edges().items()
        ],
        batch_size=1000,
    )
