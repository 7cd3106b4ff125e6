"""The oracle: the whole book worked in one pass, reading ledger facts only."""

from collections import defaultdict
from itertools import groupby
from operator import itemgetter

from ledger.costing import Cost, Life
from ledger.models import KINDS, Edge, Flow, Line, Lot, Role
from ledger.working import ZERO, edges_at, flow_rows, life_of, read_story

FlowKey = tuple[int, int, str]
EdgeKey = tuple[int, int, int]


def work_all() -> tuple[dict[int, Life], dict[FlowKey, tuple[int, Cost]]]:
    """Work every lot in the order of making; return lives by lot, and flows by key.

    A flow's key is (lot, place, role); its value the quantity and the cost. Each line is looked
    at once, so the pass grows with the book's lines.
    """
    story = read_story()
    used: dict[int, Cost] = defaultdict(lambda: ZERO)
    lives: dict[int, Life] = {}
    flows: dict[FlowKey, tuple[int, Cost]] = {}
    for lot_id in sorted(story.born_at, key=lambda lot: (story.born_at[lot], lot)):
        life = lives[lot_id] = life_of(story, lot_id, used)
        stated = {(step.place, step.role): step.quantity for step in story.steps[lot_id]}
        for key in stated.keys() | life.moved.keys():
            cost = life.moved.get(key, ZERO)
            flows[lot_id, *key] = (stated.get(key, 0), cost)
            if key[1] == Role.USED.value:
                used[key[0]] = tuple([a - b for a, b in zip(used[key[0]], cost, strict=True)])
    return lives, flows


def kept_flows() -> dict[FlowKey, tuple[int, Cost]]:
    """Read the flows that the book keeps, in the form that ``work_all`` returns."""
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
        .values_list("entry__place", "lot_id", "lot__item_id", "role", "quantity", "given_mg")
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
    lives, _ = work_all()
    story = read_story()
    Flow.objects.all().delete()
    for lot_id, life in lives.items():
        Flow.objects.bulk_create(flow_rows(lot_id, story.steps[lot_id], life))
        Lot.objects.filter(pk=lot_id).update(
            quantity=life.quantity,
            shares_open=life.shares_open,
            **dict(zip(KINDS, life.cost, strict=True)),
        )
    Edge.objects.all().delete()
    Edge.objects.bulk_create(
        [
            Edge(src_id=src, dst_id=dst, entry_id=entry, quantity=quantity, part=part)
            for (src, dst, entry), (quantity, part) in all_edges().items()
        ],
        batch_size=1000,
    )
