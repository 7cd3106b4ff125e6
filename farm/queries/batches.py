"""A batch of blocks: what was inoculated together, with what checks split off it.

What it used is read from the book: the cost that came into its lots, down to each supply, the
spawn, the hours, energy and room; each with its quantity. The parts add up to that cost.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import NamedTuple

from django.db.models import Max, Q, Sum

from farm.models import Stage
from farm.planning.variance import Used
from farm.queries.months import Month
from ledger.amounts import largest_remainder
from ledger.models import KINDS, Charge, CostKind, Dimension, Edge, Entry, Flow, Line, Lot, Role
from ledger.story import expected_now

SPLIT = "check"
SPAWN, ENERGY, ROOM = "Grain spawn", "Steriliser energy", "Shelf"
HOURS, PICKING = "Hours until picking", "Hours of picking"
UNITS = {SPAWN: "kg", ENERGY: "kWh", ROOM: "block-days", HOURS: "h", PICKING: "h"}
CHARGED = {CostKind.PAID: HOURS, CostKind.OWN: HOURS, CostKind.ENERGY: ENERGY, CostKind.ROOM: ROOM}


Charges = Mapping[int, Sequence[tuple[str, int, int]]]


class _Line(NamedTuple):
    """A line of one of the batch's lots; ``place``: of the entry that it states or amends."""

    lot: int
    role: str
    entry: int
    place: int
    quantity: int
    given_mg: int
    planned_loss_ppm: int


@dataclass(frozen=True)
class Batch:
    """``lots``: the lot inoculated first, then those split off it. ``supplies``: oldest first.

    ``planned_loss_ppm``: as it was copied onto the entry that made the blocks.
    """

    lots: tuple[Lot, ...]
    started: int
    good: int
    on_hand: int
    picked_mg: int
    expected_mg: int
    planned_loss_ppm: int
    used: tuple[Used, ...]
    spawn: tuple[Lot, ...]
    filled_on: date
    run: Entry | None

    @property
    def root(self) -> Lot:
        return self.lots[0]

    @property
    def is_finished(self) -> bool:
        return not self.on_hand

    @property
    def cost(self) -> int:
        return sum(one.money for one in self.used)


def batch_of(lot: Lot) -> Batch | None:
    """Read the batch that a lot of blocks belongs to; None for other lots and what was undone.

    Eleven queries, and one more for each generation that was split off.
    """
    lots = family(lot)
    if not lots or lots[0].made_by.kind != "inoculate blocks":
        return None
    lines = _lines_of(lots)
    started = sum(line.quantity for line in lines if line.role in (Role.MADE, Role.USED))
    if not started:
        return None
    root = lots[0]
    parts = _Parts(root)
    parts.read(lines)
    loss = next((line.planned_loss_ppm for line in lines if line.lot == root.pk
                 and line.role == Role.MADE and line.entry == root.made_by_id), 0)  # fmt: skip
    return Batch(
        lots=lots,
        started=started,
        good=started - sum(_lost_before_picking(lines, one.pk) for one in lots),
        on_hand=sum(one.quantity for one in lots),
        picked_mg=sum(line.given_mg for line in lines if line.role == Role.USED),
        expected_mg=_expected_mg([one for one in lots if one.quantity]),
        planned_loss_ppm=loss,
        used=parts.used(),
        spawn=tuple(parts.spawn),
        filled_on=parts.filled_on,
        run=parts.run,
    )


def finished_in(month: Month) -> list[Lot]:
    """The first lots of the batches whose last block went in a month, in their order."""
    flows = Flow.objects.filter(
        role=Role.LOST,
        lot__card__stage=Stage.BLOCKS,
        lot__quantity=0,
        entry__happened_on__range=(month.first, month.last),
    )
    roots: dict[int, Lot] = {}
    for lot in Lot.objects.filter(pk__in=flows.values("lot")).select_related("made_by", "card"):
        lots = family(lot)
        if lots and not any(one.quantity for one in lots) and _last_day(lots) <= month.last:
            roots[lots[0].pk] = lots[0]
    return [roots[key] for key in sorted(roots)]


def family(lot: Lot) -> tuple[Lot, ...]:
    """The lot first inoculated and all that checks split off it; a query a generation."""
    if lot.card.stage != Stage.BLOCKS:
        return ()
    root = lot
    while root.made_by.kind == SPLIT:
        edge = root.edges_in.select_related("src__made_by").first()
        if edge is None:  # the check was taken back
            return ()
        root = edge.src
    found = _with_cards(Q(pk=root.pk) | _split_off([root.pk]))
    near = [pk for pk in found if pk != root.pk]
    while near:
        later = _with_cards(_split_off(near))
        near = [pk for pk in later if pk not in found]
        found |= later
    return tuple(found[pk] for pk in sorted(found))


def _split_off(lots: Iterable[int]) -> Q:
    parts = Edge.objects.filter(src__in=list(lots)).values("dst")
    return Q(pk__in=parts, card__stage=Stage.BLOCKS)


def _with_cards(which: Q) -> dict[int, Lot]:
    cards = ("made_by", "card__strain__species", "card__recipe__recipe")
    return {lot.pk: lot for lot in Lot.objects.filter(which).select_related(*cards)}


def _last_day(lots: Sequence[Lot]) -> date:
    flows = Flow.objects.filter(lot__in=lots, role=Role.LOST)
    day: date | None = flows.aggregate(day=Max("entry__happened_on"))["day"]
    return day or date.max


def _lines_of(lots: Iterable[Lot]) -> list[_Line]:
    """Read what happened to the lots of a batch, in order; one query."""
    lines = Line.objects.filter(lot__in=list(lots)).order_by("entry_id", "pk")
    rows = lines.values_list(
        "lot_id", "role", "entry_id", "entry__place", "quantity", "given_mg", "planned_loss_ppm"
    )
    return [_Line(*row) for row in rows]


def _given_at(lines: Iterable[_Line]) -> dict[int, int]:
    """Weight given by the place of each pick that stands."""
    given: dict[int, int] = defaultdict(int)
    for line in lines:
        if line.role == Role.USED and line.given_mg:
            given[line.place] += line.given_mg
    return {place: mg for place, mg in given.items() if mg}


def _lost_before_picking(lines: Iterable[_Line], lot: int) -> int:
    ours = [line for line in lines if line.lot == lot]
    first = min(_given_at(ours), default=None)
    lost = [line for line in ours if line.role == Role.LOST]
    return -sum(line.quantity for line in lost if first is None or line.place < first)


def _expected_mg(lots: Sequence[Lot]) -> int:
    """What is still expected of the blocks on hand; none is asked for where there are none.

    Before the first pick it is the strain's planning figure, after it what the picks kept of it.
    """
    after = expected_now(lot.pk for lot in lots) if lots else {}
    planned = {
        lot.pk: sum(lot.card.strain.flushes_mg) * lot.quantity for lot in lots if lot.card.strain
    }
    return sum((planned | after).values())


# --- what it used ----------------------------------------------------------------------------


class _Parts:
    """Quantities and money by name, gathered from the entries behind a batch."""

    def __init__(self, root: Lot) -> None:
        self.root = root
        self.quantities: dict[str, Fraction] = defaultdict(Fraction)
        self.money: dict[str, int] = defaultdict(int)
        self.units: dict[str, str] = dict(UNITS)
        self.spawn: list[Lot] = []
        self.filled_on = root.made_by.happened_on
        self.run: Entry | None = None

    def used(self) -> tuple[Used, ...]:
        """List what was used, supplies first; nothing without quantity and money."""
        names = [*(name for name in self.quantities if name not in UNITS), *UNITS]
        return tuple(
            Used(name, self.units[name], self.quantities[name], self.money[name])
            for name in names
            if self.quantities[name] or self.money[name]
        )

    def read(self, lines: Sequence[_Line]) -> None:
        """Gather everything; five queries."""
        drawn = self._read_inoculation()
        came = self._came_into([flow.lot_id for flow in drawn])
        made = {line.place for line in lines if line.role == Role.MADE}
        picks = {line.place for line in lines if line.role == Role.USED and line.given_mg > 0}
        charges = _charges([*made, *picks, *(flow.entry_id for flow in came)])
        for flow in drawn:
            self._read_bags(flow, came, charges)
        for place in sorted(made):
            for kind, quantity, amount in charges.get(place, ()):
                self._add(CHARGED[CostKind(kind)], Fraction(quantity), amount)
        self._read_picks(_given_at(lines), picks, charges)
        for kind, quantity, amount in _falling_on({line.lot for line in lines}):
            self._add(CHARGED[CostKind(kind)], Fraction(quantity), amount)

    def _read_inoculation(self) -> list[Flow]:
        """Take the spawn that was used; give what was drawn of the bags."""
        flows = Flow.objects.filter(entry=self.root.made_by_id, role=Role.USED)
        drawn = []
        for flow in flows.select_related("lot__item", "lot__card", "lot__made_by").order_by("pk"):
            if flow.lot.card.stage == Stage.SPAWN:
                self.spawn.append(flow.lot)
                self._add(SPAWN, Fraction(-flow.quantity), -sum(flow.cost))
            else:
                drawn.append(flow)
        return drawn

    def _came_into(self, bags: Sequence[int]) -> list[Flow]:
        """What was made and used in every entry that made bags; one query."""
        entries = Flow.objects.filter(lot__in=bags, role=Role.MADE).values("entry")
        flows = Flow.objects.filter(entry__in=entries, role__in=(Role.MADE, Role.USED))
        return list(flows.select_related("entry", "lot__item").order_by("entry_id", "pk"))

    def _read_bags(self, drawn: Flow, flows: Sequence[Flow], charges: Charges) -> None:
        """Share what the bags cost over what is in them, in parts of the bags that were drawn."""
        bags = drawn.lot
        self.filled_on = bags.made_by.happened_on
        came = [flow for flow in flows if flow.lot_id == bags.pk and flow.role == Role.MADE]
        whole = sum(sum(flow.cost) for flow in came)
        # What left without cost makes the rest dearer, so the part of the cost is the part used.
        part = Fraction(-sum(drawn.cost), whole) if whole else Fraction(0)
        part = part.limit_denominator(max(sum(flow.quantity for flow in came), 1))
        leaves = [leaf for flow in came for leaf in self._leaves(flow, flows, charges)]
        money = _shared(tuple(-c for c in drawn.cost), [cost for *_, cost in leaves])
        for (name, quantity, _), amount in zip(leaves, money, strict=True):
            self._add(name, quantity * part, amount)

    def _leaves(
        self, flow: Flow, flows: Sequence[Flow], charges: Charges
    ) -> list[tuple[str, Fraction, tuple[int, ...]]]:
        """What one entry put into the bags: supplies, and their part of hours and energy."""
        if flow.entry.kind == "steriliser run":
            self.run = flow.entry
        leaves = []
        for drawn in flows:
            if drawn.entry_id == flow.entry_id and drawn.role == Role.USED:
                item = drawn.lot.item
                self.units[item.name] = "kg" if item.dimension == Dimension.MASS else "pieces"
                leaves.append((item.name, Fraction(-drawn.quantity), tuple(-c for c in drawn.cost)))
        for kind, quantity, amount in charges.get(flow.entry_id, ()):
            at = KINDS.index(kind)
            ours = flow.cost[at] if amount else 0
            cost = tuple(ours if k == at else 0 for k in range(len(KINDS)))
            part = Fraction(ours, amount) if amount else Fraction(0)
            leaves.append((CHARGED[CostKind(kind)], quantity * part, cost))
        return leaves

    def _read_picks(
        self, ours: Mapping[int, int], places: Collection[int], charges: Charges
    ) -> None:
        """Take the batch's part of each pick's hours by the weight it gave."""
        lines = Line.objects.filter(entry__place__in=places, role=Role.USED)
        sums = lines.values_list("entry__place").annotate(Sum("given_mg")).order_by()
        whole = dict(sums)
        for place in sorted(places):
            given = ours.get(place, 0)
            if not given:  # taken back, or corrected to nothing
                continue
            for _, quantity, amount in charges.get(place, ()):
                part = largest_remainder(amount, [given, whole[place] - given])[0]
                self._add(PICKING, Fraction(quantity * given, whole[place]), part)

    def _add(self, name: str, quantity: Fraction, money: int) -> None:
        self.quantities[name] += quantity
        self.money[name] += money


def _charges(places: Iterable[int]) -> Charges:
    """Kind, thousandths of a unit and money of what is shared by what was made, by place; one
    query.
    """
    rows = (
        Charge.objects.filter(entry__place__in=list(places), lot=None)
        .values_list("entry__place", "kind")
        .annotate(Sum("quantity_milli"), Sum("amount"))
        .order_by("entry__place", "kind")
    )
    found: dict[int, list[tuple[str, int, int]]] = defaultdict(list)
    for place, kind, quantity, amount in rows:
        if quantity or amount:
            found[place].append((kind, quantity, amount))
    return found


def _falling_on(lots: Iterable[int]) -> list[tuple[str, int, int]]:
    """Kind, thousandths of a unit and money of what falls on some lots alone; one query."""
    rows = Charge.objects.filter(lot__in=list(lots)).values_list("kind").order_by("kind")
    return list(rows.annotate(Sum("quantity_milli"), Sum("amount")))


def _shared(total: tuple[int, ...], costs: Sequence[tuple[int, ...]]) -> list[int]:
    """Share each kind of cost over the parts that hold it, by largest remainder; sum the kinds."""
    shares = [0] * len(costs)
    for kind, amount in enumerate(total):
        weights = [cost[kind] for cost in costs]
        if amount and any(weights):
            parts = largest_remainder(amount, weights)
            shares = [share + part for share, part in zip(shares, parts, strict=True)]
    return shares
