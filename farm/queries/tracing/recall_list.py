"""What a recall lists, worked from the book: frozen lots, and what more its suspects reach since.

A lot that was let go leaves the list, and what is made of it later never comes on it.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from farm.models import Recall
from farm.queries.tracing.suspects import asked_again
from ledger import tracing
from ledger.models import Mark
from ledger.tracing import Kin


@dataclass(frozen=True)
class Listed:
    """What a recall lists, worked from the book. ``left``: let go since. ``came_at``: by lot."""

    lots: tuple[int, ...]
    suspects: frozenset[int]
    certain: frozenset[int]
    left: frozenset[int]
    came_at: dict[int, datetime]


def listed_by(recall: Recall) -> Listed:
    """Work a recall's list anew from its frozen lots and what they reach; four queries or more."""
    first = dict(recall.lots.filter(came_at=None).values_list("lot_id", "suspect"))
    suspects = {lot for lot, suspect in first.items() if suspect} | {*asked_again(recall.asked)}
    kin = tracing.ahead({*first, *suspects})
    held_at, let_go = _marked_since(recall, kin.born_at)
    members = _members({*first, *suspects}, kin, let_go)
    edges = tuple(
        edge._replace(src=0) if _had_left(edge.src, edge.entry, let_go) else edge
        for edge in kin.edges
        if edge.dst in members
    )
    ours = Kin({lot: born for lot, born in kin.born_at.items() if lot in members}, edges)
    return Listed(
        lots=tuple(ours.born_at),
        suspects=frozenset(suspects & members),
        certain=tracing.certain_of(suspects & members, ours),
        left=frozenset(let_go.keys() & members),
        came_at={lot: at for lot, at in held_at.items() if lot in members and lot not in first},
    )


def _marked_since(
    recall: Recall, lots: Iterable[int]
) -> tuple[dict[int, datetime], dict[int, int]]:
    """When each lot was first put on hold since a recall was opened, and which entry let it go."""
    marks = Mark.objects.filter(lot__in=list(lots), entry__gte=recall.entry_id)
    standing = marks.standing().order_by("-pk")
    held_at, let_go = {}, {}
    for lot, held, entry, at in standing.values_list(
        "lot_id", "held", "entry_id", "entry__recorded_at"
    ):
        if held:
            held_at[lot] = at
        else:
            let_go[lot] = entry
    return held_at, let_go


def _members(start: set[int], kin: Kin, let_go: Mapping[int, int]) -> set[int]:
    """Follow the suspects, but through no lot that had been let go when it was used."""
    inputs: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for edge in kin.edges:
        inputs[edge.dst].append((edge.src, edge.entry))
    members: set[int] = set()
    for lot in kin.born_at:
        if lot in start or any(
            src in members and not _had_left(src, entry, let_go) for src, entry in inputs[lot]
        ):
            members.add(lot)
    return members


def _had_left(lot: int, entry: int, let_go: Mapping[int, int]) -> bool:
    """Say whether a lot had been let go when an entry used it: then it is as sound as any."""
    return lot in let_go and let_go[lot] < entry
