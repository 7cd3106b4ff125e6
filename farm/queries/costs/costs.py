"""What a lot cost so far: in five kinds, and line by line down to each lot and each hour."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction

from django.db.models import Q, Sum

from farm.models import LotCard, Stage
from farm.queries.costs.kilos import Kilos, Past, kilos_from, past_of
from farm.queries.entries import particulars
from farm.queries.finding import Amount, amount_in
from farm.queries.growing.block_picks import picks_of
from ledger.amounts import largest_remainder
from ledger.models import KINDS, Charge, CostKind, Dimension, Edge, Entry, Flow, Lot, Role

Cost = tuple[int, ...]
ZERO: Cost = (0,) * len(KINDS)
OWN = KINDS.index("own")
MG_PER_KG = 1_000_000
UNITS: dict[int, str] = {
    Stage.CULTURE: "portion",
    Stage.GRAIN: "bag",
    Stage.BAGS: "bag",
    Stage.BLOCKS: "block",
    Stage.PACKS: "pack",
}
ACTUAL, AT_A_RATE, IN_PART = "actual", "planned rate", "plan in part"
USUAL, STATED = f"usual time, {AT_A_RATE}", f"time stated, {AT_A_RATE}"
CHARGE_WORDS = {
    CostKind.PAID: "Labour, paid",
    CostKind.OWN: "Labour, own",
    CostKind.ENERGY: "Energy",
    CostKind.ROOM: "Room",
    CostKind.MATERIALS: "Other",
}


@dataclass(frozen=True)
class CostLine:
    """One thing that a lot's cost consists of; ``cost`` by kind says what that thing holds.

    ``lot_code`` is empty for labour, energy and room. ``known``: what it is worked from.
    """

    what: str
    lot_code: str
    day: date
    entry_kind: str
    amount: Amount
    cost: Cost
    known: str


@dataclass(frozen=True)
class CostOfLot:
    """All cost that ever came into a lot (``cost``), what it consists of and where it went.

    ``made`` and ``good`` in the lot's own unit: good is what was made less what was lost before
    the first pick. cost = used or picked + sold + lost + on hand, kind by kind.
    """

    code: str
    name: str
    stage: str
    unit: str
    made_on: date
    made: Amount
    good: Amount
    on_hand: Amount
    cost: Cost
    lines: tuple[CostLine, ...]
    went: tuple[tuple[str, Cost], ...]
    kilos: Kilos

    def per_unit(self, amount: Amount) -> int | None:
        """Divide all cost by pieces or kilos, rounded half to even; None when nothing is left.

        527.00 over 100 blocks started is 5.2700; over the 93 good ones 5.6667.
        """
        count, scale = self._units(amount)
        return round(Fraction(sum(self.cost) * scale, count)) if count > 0 else None

    def kinds_per(self, amount: Amount) -> Cost:
        """Divide each kind, so that the kinds add up to ``per_unit``; empty when nothing is left.

        The units left over go to the largest remainders.
        """
        total = self.per_unit(amount)
        if total is None or not any(self.cost):
            return ()
        return tuple(largest_remainder(total, self.cost))

    def _units(self, amount: Amount) -> tuple[int, int]:
        if amount.pieces is not None:
            return amount.pieces, 1
        return amount.mass_mg or 0, MG_PER_KG


def unit_of(lot: Lot) -> str:
    """What one of a lot is called: a block, a pack, a kg; a jar where its recipe takes jars."""
    if lot.item.dimension != Dimension.COUNT:
        return "kg"
    unit = UNITS.get(lot.card.stage, "piece")
    return "jar" if unit == "bag" and is_in_jars(lot) else unit


def is_in_jars(lot: Lot) -> bool:
    """Say whether grain or spawn is in jars; a name with “jar” in it says nothing."""
    card: LotCard | None = getattr(lot, "card", None)
    return card is not None and card.in_jars


def cost_of(lot: Lot) -> CostOfLot:
    """Work out what a lot cost so far; fifteen queries at most, however large its past, and one
    for each time that blocks were split."""
    flows = list(Flow.objects.filter(lot=lot).select_related("entry"))
    came_in = [flow for flow in flows if flow.role in (Role.MADE, Role.BOUGHT)]
    used = _used(lot, came_in)
    # Blocks and what is behind them say themselves whether a flush is awaited.
    is_deep = any(card.stage > Stage.BLOCKS for card in (lot.card, *(f.lot.card for f in used)))
    past = past_of(lot) if is_deep else None
    made = sum(flow.quantity for flow in came_in)
    stage = Stage(lot.card.stage)
    return CostOfLot(
        code=lot.code,
        name=lot.item.name,
        stage=stage.label,
        unit=unit_of(lot),
        made_on=lot.made_by.happened_on,
        made=amount_in(lot, made),
        good=amount_in(lot, made - _lost_before_picking(lot, flows)),
        on_hand=amount_in(lot, lot.quantity),
        cost=_added(flow.cost for flow in came_in),
        lines=_lines(lot, came_in, used=used, past=past),
        went=_went(lot, flows),
        kilos=kilos_from(lot, past),
    )


def _lost_before_picking(lot: Lot, flows: list[Flow]) -> int:
    """Pieces or mg lost, or gone as water, before the first pick: what the good ones pay for.

    Of blocks that were split off, a pick of the whole before counts too.
    """
    picks = picks_of([lot])[lot.pk] if lot.card.stage == Stage.BLOCKS else []
    first = min((pick.entry for pick in picks), default=None)
    return -sum(
        flow.quantity
        for flow in flows
        if flow.role in (Role.LOST, Role.SHRUNK) and (first is None or flow.entry_id < first)
    )


def _went(lot: Lot, flows: list[Flow]) -> tuple[tuple[str, Cost], ...]:
    """Say where the cost went; what came back is taken off what was sold."""
    roles = {
        "used or picked": (Role.USED,),
        "sold": (Role.SOLD, Role.BACK),
        "lost": (Role.LOST, Role.STRANDED),
    }
    went = {
        words: tuple(-c for c in _added(flow.cost for flow in flows if flow.role in of))
        for words, of in roles.items()
    }
    return (*((words, cost) for words, cost in went.items() if any(cost)), ("on hand", lot.cost))


# --- line by line ----------------------------------------------------------------------------


def _lines(
    lot: Lot, came_in: list[Flow], *, used: list[Flow], past: Past | None
) -> tuple[CostLine, ...]:
    """List what came in by entry; the parts of each entry add up to what this lot was given."""
    entries = {flow.entry_id: flow.entry for flow in came_in}
    parts = _inputs(lot, used, past) + _charges(lot, _made_at(came_in), entries)
    lines: list[CostLine] = []
    for flow in sorted(came_in, key=lambda flow: flow.entry_id):
        entry = entries[flow.entry_id]
        if flow.role == Role.BOUGHT:
            bought = amount_in(lot, flow.quantity)
            lines.append(
                CostLine(
                    lot.item.name,
                    lot.code,
                    entry.happened_on,
                    entry.kind,
                    bought,
                    flow.cost,
                    ACTUAL,
                )
            )
        else:
            lines += _shared(flow.cost, [line for place, line in parts if place == entry.seq])
    return tuple(lines)


def _shared(total: Cost, parts: list[CostLine]) -> list[CostLine]:
    """Give each part its share of what this lot was given, kind by kind, by largest remainder.

    An entry that made one lot gives it all; a pick of firsts and seconds gives each its share.
    """
    by_kind = []
    for kind, amount in enumerate(total):
        weights = [part.cost[kind] for part in parts]
        by_kind.append(largest_remainder(amount, weights) if any(weights) else [0] * len(parts))
    lines = [
        replace(part, cost=cost)
        for part, cost in zip(parts, zip(*by_kind, strict=True), strict=True)
    ]
    return [line for line in lines if any(line.cost) or line.lot_code]


def _made_at(came_in: list[Flow]) -> list[int]:
    return [flow.entry_id for flow in came_in if flow.role == Role.MADE]


def _used(lot: Lot, came_in: list[Flow]) -> list[Flow]:
    """What was used where a lot was made, with the lots; one query."""
    used = Flow.objects.filter(entry__in=_made_at(came_in), role=Role.USED).exclude(lot=lot)
    lots = used.select_related("entry", "lot__item", "lot__card")
    return list(lots.order_by("entry_id", "pk"))


def _inputs(lot: Lot, used: list[Flow], past: Past | None) -> list[tuple[int, CostLine]]:
    """Name the lots used where this lot was made, with how much of each is in it."""
    if past:
        inside = {
            (edge.entry, edge.src): edge.quantity for edge in past.kin.edges if edge.dst == lot.pk
        }
    else:
        edges = Edge.objects.filter(dst=lot).values_list("entry_id", "src_id", "quantity")
        inside = {(place, src): quantity for place, src, quantity in edges}
    awaiting = _awaiting_a_flush(past) if past else set()
    found = []
    for flow in used:
        source, entry = flow.lot, flow.entry
        quantity = inside.get((flow.entry_id, flow.lot_id))
        if quantity is None:  # of blocks: other blocks that were picked with them
            continue
        picked = source.card.stage == Stage.BLOCKS and lot.card.stage > Stage.BLOCKS
        amount = Amount(None, quantity) if picked else amount_in(source, quantity)
        cost = tuple(-c for c in flow.cost)
        is_food = source.card.stage > Stage.BLOCKS
        in_part = source.shares_open or (is_food and source.pk in awaiting)
        line = CostLine(
            source.item.name,
            source.code,
            entry.happened_on,
            entry.kind,
            amount,
            cost,
            IN_PART if in_part else ACTUAL,
        )
        found.append((flow.entry_id, line))
    return found


def _awaiting_a_flush(past: Past) -> set[int]:
    """Find the lots that carry what is still shared by the weight expected of its blocks."""
    found = set(past.awaiting)
    inputs = defaultdict(list)
    for edge in past.kin.edges:
        inputs[edge.dst].append(edge.src)
    for lot in past.kin.born_at:
        if found.intersection(inputs[lot]):
            found.add(lot)
    return found


def _charges(lot: Lot, places: list[int], entries: dict[int, Entry]) -> list[tuple[int, CostLine]]:
    """Name labour, energy and room by the entry that added them, to what it made or to this lot."""
    rows = (
        Charge.objects.standing_at(places)
        .filter(Q(lot=None) | Q(lot=lot))
        .values_list("entry__place", "kind")
        .annotate(amount=Sum("amount"))
        .order_by("entry__place", "kind")
    )
    found = []
    for place, kind, amount in rows:
        entry = entries[place]
        cost = tuple(amount if kind == name else 0 for name in KINDS)
        what = f"{CHARGE_WORDS[CostKind(kind)]}: {entry.kind}"
        line = CostLine(
            what, "", entry.happened_on, entry.kind, Amount(None, None), cost, _time_of(kind, entry)
        )
        found.append((place, line))
    return found


def _time_of(kind: str, entry: Entry) -> str:
    """Say whose minutes a charge is worked from: typed by a person, or the standard time."""
    if kind not in (CostKind.PAID, CostKind.OWN):
        return AT_A_RATE
    return USUAL if particulars(entry).minutes_stated is None else STATED


def _added(costs: Iterable[Cost]) -> Cost:
    return tuple(map(sum, zip(ZERO, *costs, strict=True)))
