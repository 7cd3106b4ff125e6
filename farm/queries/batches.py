"""A batch of blocks: what was inoculated together, with what checks split off it.

What it used is read from the book: the cost that came into its lots, down to each supply, the
spawn, the hours, energy and room; each with its quantity. The parts add up to that cost.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from django.db.models import Max, Sum

from farm.models import Stage
from farm.planning.variance import Used
from farm.queries.months import Month
from farm.queries.yields import block_counts
from ledger.amounts import largest_remainder
from ledger.models import KINDS, Charge, CostKind, Dimension, Edge, Entry, Flow, Line, Lot, Role

PICK, SPLIT = "pick", "check"
SPAWN, ENERGY, ROOM = "Grain spawn", "Steriliser energy", "Shelf"
HOURS, PICKING = "Hours until picking", "Hours of picking"
UNITS = {SPAWN: "kg", ENERGY: "kWh", ROOM: "block-days", HOURS: "h", PICKING: "h"}
CHARGED = {CostKind.PAID: HOURS, CostKind.OWN: HOURS, CostKind.ENERGY: ENERGY, CostKind.ROOM: ROOM}


@dataclass(frozen=True)
class Batch:
    """``lots``: the lot inoculated first, then those split off it. ``supplies``: oldest first."""

    lots: tuple[Lot, ...]
    started: int
    good: int
    on_hand: int
    picked_mg: int
    expected_mg: int
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
    """Read the batch that a lot of blocks belongs to; None for other lots and what was undone."""
    lots = family(lot)
    if not lots or lots[0].made_by.kind != "inoculate blocks":
        return None
    keys = [one.pk for one in lots]
    counts = block_counts(keys)
    started = sum(made for made, _ in counts.values())
    if not started:
        return None
    given, expected_mg = _given(keys)
    parts = _Parts(lots[0])
    parts.read(keys)
    return Batch(
        lots=lots,
        started=started,
        good=sum(fruited for _, fruited in counts.values()),
        on_hand=sum(one.quantity for one in lots),
        picked_mg=given,
        expected_mg=expected_mg,
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
    """The lot first inoculated and all that checks split off it; some queries a split."""
    if lot.card.stage != Stage.BLOCKS:
        return ()
    root = lot
    while root.made_by.kind == SPLIT:
        edge = root.edges_in.select_related("src__made_by").first()
        if edge is None:  # the check was taken back
            return ()
        root = edge.src
    found, near = {root.pk}, {root.pk}
    while near:
        edges = Edge.objects.filter(src__in=near, dst__card__stage=Stage.BLOCKS)
        near = set(edges.values_list("dst_id", flat=True)) - found
        found |= near
    return tuple(
        Lot.objects.filter(pk__in=found).select_related("made_by", "card__strain__species",
                                                         "card__recipe__recipe").order_by("pk")
    )  # fmt: skip


def _last_day(lots: Sequence[Lot]) -> date:
    flows = Flow.objects.filter(lot__in=lots, role=Role.LOST)
    day: date | None = flows.aggregate(day=Max("entry__happened_on"))["day"]
    return day or date.max


def _given(keys: Iterable[int]) -> tuple[int, int]:
    """Weight the lots gave, and what is still expected of the blocks on hand.

    Before the first pick it is the strain's planning figure, after it what the last pick kept,
    in parts of the blocks on hand then and now.
    """
    given_mg, expected_mg = 0, 0
    for lot in Lot.objects.filter(pk__in=list(keys)).select_related("card__strain"):
        picks = lot.lines.filter(role=Role.USED, entry__kind=PICK)
        sums = Line.objects.filter(lot=lot, role=Role.USED).aggregate(Sum("given_mg"))
        given_mg += sums["given_mg__sum"] or 0
        last = picks.exclude(entry__amendments__takes_back=True).order_by("-entry_id").first()
        strain = lot.card.strain
        if not lot.quantity or strain is None:
            continue
        expected_mg += last.expected_mg if last else sum(strain.flushes_mg) * lot.quantity
    return given_mg, expected_mg


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

    def read(self, keys: Sequence[int]) -> None:
        self._read_inoculation()
        places = set(
            Flow.objects.filter(lot__in=keys, role=Role.MADE).values_list("entry_id", flat=True)
        )
        for _, kind, quantity, amount in _charges(places):
            self._add(CHARGED[CostKind(kind)], Fraction(quantity), amount)
        self._read_picks(keys)

    def _read_inoculation(self) -> None:
        flows = Flow.objects.filter(entry=self.root.made_by_id, role=Role.USED)
        for flow in flows.select_related("lot__item", "lot__card", "lot__made_by").order_by("pk"):
            if flow.lot.card.stage == Stage.SPAWN:
                self.spawn.append(flow.lot)
                self._add(SPAWN, Fraction(-flow.quantity), -sum(flow.cost))
            else:
                self._read_bags(flow)

    def _read_bags(self, drawn: Flow) -> None:
        """Share what the bags cost over what is in them, in parts of the bags that were drawn."""
        bags = drawn.lot
        self.filled_on = bags.made_by.happened_on
        came = list(Flow.objects.filter(lot=bags, role=Role.MADE).select_related("entry"))
        whole = sum(sum(flow.cost) for flow in came)
        # What left without cost makes the rest dearer, so the part of the cost is the part used.
        part = Fraction(-sum(drawn.cost), whole) if whole else Fraction(0)
        part = part.limit_denominator(max(sum(flow.quantity for flow in came), 1))
        leaves = [leaf for flow in came for leaf in self._leaves(flow)]
        money = _shared(tuple(-c for c in drawn.cost), [cost for *_, cost in leaves])
        for (name, quantity, _), amount in zip(leaves, money, strict=True):
            self._add(name, quantity * part, amount)

    def _leaves(self, flow: Flow) -> list[tuple[str, Fraction, tuple[int, ...]]]:
        """What one entry put into the bags: supplies, and their part of hours and energy."""
        if flow.entry.kind == "steriliser run":
            self.run = flow.entry
        leaves = []
        inputs = Flow.objects.filter(entry=flow.entry_id, role=Role.USED)
        for drawn in inputs.select_related("lot__item").order_by("pk"):
            item = drawn.lot.item
            self.units[item.name] = "kg" if item.dimension == Dimension.MASS else "pieces"
            leaves.append((item.name, Fraction(-drawn.quantity), tuple(-c for c in drawn.cost)))
        for _, kind, quantity, amount in _charges([flow.entry_id]):
            at = KINDS.index(kind)
            ours = flow.cost[at] if amount else 0
            cost = tuple(ours if k == at else 0 for k in range(len(KINDS)))
            part = Fraction(ours, amount) if amount else Fraction(0)
            leaves.append((CHARGED[CostKind(kind)], quantity * part, cost))
        return leaves

    def _read_picks(self, keys: Sequence[int]) -> None:
        """Take the batch's part of each pick's hours by the weight it gave; its room is its own."""
        lines = Line.objects.filter(lot__in=keys, role=Role.USED, given_mg__gt=0)
        places = set(lines.values_list("entry__place", flat=True))
        given: dict[int, list[int]] = defaultdict(lambda: [0, 0])
        rows = Line.objects.filter(entry__place__in=places, role=Role.USED)
        for place, lot, mg in rows.values_list("entry__place", "lot_id", "given_mg"):
            given[place][lot not in keys] += mg
        for place, kind, quantity, amount in _charges(places):
            ours, others = given[place]
            if not ours:  # taken back, or corrected to nothing
                continue
            name = ROOM if kind == CostKind.ROOM else PICKING
            part = largest_remainder(amount, [ours, others])[0]
            self._add(name, Fraction(quantity * ours, ours + others), part)

    def _add(self, name: str, quantity: Fraction, money: int) -> None:
        self.quantities[name] += quantity
        self.money[name] += money


def _charges(places: Iterable[int]) -> list[tuple[int, str, int, int]]:
    """Place, kind, thousandths of a unit and money of the charges that stand at some places."""
    rows = (
        Charge.objects.filter(entry__place__in=list(places))
        .values_list("entry__place", "kind")
        .annotate(Sum("quantity_milli"), Sum("amount"))
        .order_by("entry__place", "kind")
    )
    return [
        (place, kind, quantity, amount)
        for place, kind, quantity, amount in rows
        if quantity or amount
    ]


def _shared(total: tuple[int, ...], costs: Sequence[tuple[int, ...]]) -> list[int]:
    """Share each kind of cost over the parts that hold it, by largest remainder; sum the kinds."""
    shares = [0] * len(costs)
    for kind, amount in enumerate(total):
        weights = [cost[kind] for cost in costs]
        if amount and any(weights):
            parts = largest_remainder(amount, weights)
            shares = [share + part for share, part in zip(shares, parts, strict=True)]
    return shares
