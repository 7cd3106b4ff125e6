"""Truths that hold for the whole book, each a function that says what it looked at.

Each returns a ``Finding``: how much was looked at, and the first thing found broken, if any.
"""

from collections.abc import Callable
from dataclasses import dataclass

from django.db import connection
from django.db.models import F

from ledger import append_only, full_pass, sealing
from ledger.balances import sums_by_lot, whole_book
from ledger.models import KINDS, Edge, Entry, Flow, Head, Lot
from ledger.story import read_story


@dataclass(frozen=True, slots=True)
class Finding:
    """``truth``: what should hold. ``broken``: the first place where it does not, or ''."""

    truth: str
    looked_at: str
    broken: str = ""


def lots_add_up() -> Finding:
    """For every lot its flows sum to what is on hand; nothing negative; empty lots hold no cost."""
    sums = sums_by_lot(Flow.objects.all())
    broken = ""
    lots = list(Lot.objects.order_by("pk"))
    for lot in lots:
        quantity, cost = sums.get(lot.pk, (0, (0,) * len(KINDS)))
        if (quantity, cost) != (lot.quantity, lot.cost):
            broken = (
                f"lot {lot.code} holds {lot.quantity}, {lot.cost}; its lines {quantity}, {cost}"
            )
        elif min(lot.quantity, *lot.cost) < 0:
            broken = f"lot {lot.code} is below zero: {lot.quantity}, {lot.cost}"
        elif lot.quantity == 0 and any(lot.cost):
            broken = f"lot {lot.code} is empty and holds {lot.cost}"
        if broken:
            break
    return Finding("every lot's lines sum to what it holds", f"{len(lots)} lots", broken)


def cost_is_conserved() -> Finding:
    """Cost in = in stock + sold + losses, over the whole book and for each kind."""
    whole = whole_book()
    broken = ""
    for kind, *parts in zip(KINDS, whole.came_in, whole.stock, whole.sold, whole.lost, strict=True):
        came_in, stock, sold, lost = parts
        if came_in != stock + sold + lost:
            broken = f"{kind}: {came_in} came in; {stock} in stock + {sold} sold + {lost} lost"
            break
    looked_at = f"{sum(whole.came_in)} ten-thousandths that came in, in {len(KINDS)} kinds"
    return Finding("cost in = in stock + sold + losses", looked_at, broken)


def edges_follow_from_facts() -> Finding:
    """Edges rebuilt from the facts equal the edges kept; each points forward in the order."""
    rebuilt, kept = full_pass.all_edges(), full_pass.kept_edges()
    broken = ""
    differ = sorted(k for k in rebuilt.keys() | kept.keys() if rebuilt.get(k) != kept.get(k))
    if differ:
        src, dst, entry = differ[0]
        broken = (
            f"edge from lot {src} to lot {dst} at entry {entry}: kept {kept.get(differ[0])}, "
            f"by the facts {rebuilt.get(differ[0])}"
        )
    # Forward by the order of making, hence no lot can be its own ancestor.
    backward = Edge.objects.filter(src__made_by__gte=F("dst__made_by")).first()
    if backward:
        broken = broken or f"edge from lot {backward.src_id} to {backward.dst_id} points back"
    return Finding("edges follow from the facts and point forward", f"{len(kept)} edges", broken)


def figures_equal_the_full_pass() -> Finding:
    """Incremental figures equal the full pass, difference 0."""
    story = read_story()
    lives = full_pass.work_all(story)
    flows = full_pass.flows_of(story, lives)
    kept = full_pass.kept_flows()
    broken = ""
    differ = sorted(k for k in flows.keys() | kept.keys() if flows.get(k) != kept.get(k))
    if differ:
        lot, place, role = differ[0]
        broken = (
            f"lot {lot} {role} at entry {place}: kept {kept.get(differ[0])}, "
            f"worked {flows.get(differ[0])}"
        )
    for row in Lot.objects.order_by("pk"):
        life = lives[row.pk]
        worked = (life.quantity, life.cost, life.shares_open)
        if not broken and worked != (row.quantity, row.cost, row.shares_open):
            broken = f"lot {row.code}: kept {row.quantity}, {row.cost}; worked {worked}"
    return Finding("kept figures equal the full pass", f"{len(kept)} flows", broken)


def triggers_are_there() -> Finding:
    """The database refuses to change facts."""
    gone = append_only.missing(connection)
    broken = f"missing: {', '.join(gone)}" if gone else ""
    return Finding("the database refuses to change facts", "its triggers", broken)


def seals_hold() -> Finding:
    """The hash chain over the facts is whole."""
    first = next(sealing.broken_seals(), None)
    broken = f"the seal of entry {first} does not hold" if first else ""
    count = Entry.objects.count()
    given = Head.objects.values_list("seq", flat=True).first() or 0
    if count != given:  # the chain alone does not see that its end was cut off
        broken = broken or f"{given} entries were given a place, {count} are there"
    return Finding("every seal holds", f"{count} entries", broken)


CHECKS: tuple[Callable[[], Finding], ...] = (
    triggers_are_there,
    seals_hold,
    edges_follow_from_facts,
    lots_add_up,
    figures_equal_the_full_pass,
    cost_is_conserved,
)
