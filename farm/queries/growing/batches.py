"""A batch of blocks: what was inoculated together, with what checks split off it.

What it used is read from the book: the cost that came into its lots, down to each supply, the
spawn, the hours, energy and room; each with its quantity. The parts add up to that cost.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction
from functools import reduce
from operator import or_
from typing import NamedTuple

from django.db.models import Exists, F, Max, OuterRef, Q, Subquery, Sum

from farm.kinds.growing import INOCULATE_BLOCKS, STERILISER_RUN
from farm.models import Stage
from farm.planning.variance import Used
from ledger.amounts import largest_remainder
from ledger.models import KINDS, Charge, CostKind, Dimension, Edge, Entry, Flow, Line, Lot, Role
from ledger.standing import stands_at
from ledger.story import Story, expected_now, picks_before_now, read_steps

# The whole that a part was split off, the whole of that, and so on.
BEHIND = tuple("__".join(["part_of"] * generations) for generations in range(1, 6))
SPAWN, ENERGY, ROOM = "Grain spawn", "Steriliser energy", "Shelf"
HOURS, PICKING = "Hours until picking", "Hours of picking"
UNITS = {SPAWN: "kg", ENERGY: "kWh", ROOM: "block-days", HOURS: "h", PICKING: "h"}
CHARGED = {CostKind.PAID: HOURS, CostKind.OWN: HOURS, CostKind.ENERGY: ENERGY, CostKind.ROOM: ROOM}


class _Charge(NamedTuple):
    """Thousandths of a unit and money charged at a place; ``picked_mg``: all that it picked."""

    kind: CostKind
    quantity: int
    amount: int
    picked_mg: int


# By the place that made what shares it.
Charges = Mapping[int, Sequence[_Charge]]


class _Charged(NamedTuple):
    """``own``: by lot, what falls on it alone."""

    shared: dict[int, list[_Charge]]
    own: dict[int, list[_Charge]]


Family = tuple[Lot, ...]


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
    """Read the batch that a lot of blocks belongs to; None for other lots and what was undone."""
    return next(iter(batches_of(families([lot]).values()).values()), None)


def batches_of(found: Iterable[Family]) -> dict[int, Batch]:
    """Read batches by their first lot, leaving out what was undone; as many queries as for one.

    Four, and two more for each generation of what was split off.
    """
    own = {lots[0]: lots for lots in found if lots[0].made_by.kind == INOCULATE_BLOCKS}
    if not own:
        return {}
    whole = read_steps(lot.pk for lots in own.values() for lot in lots)
    stories = {
        root: replace(whole, steps={lot.pk: whole.steps[lot.pk] for lot in lots})
        for root, lots in own.items()
    }
    flows = _flows_behind([root.made_by_id for root in own])
    charges = _charges(whole, flows)
    read = {root: _batch(lots, stories[root], flows, charges=charges) for root, lots in own.items()}
    return {root.pk: batch for root, batch in read.items() if batch}


def _batch(lots: Family, story: Story, flows: Sequence[Flow], *, charges: _Charged) -> Batch | None:
    root, steps = lots[0], [step for own in story.steps.values() for step in own]
    started = sum(step.quantity for step in steps if step.role in (Role.MADE, Role.USED))
    if not started:
        return None
    parts = _Parts(root)
    parts.read(story, flows, charges)
    return Batch(
        lots=lots,
        started=started,
        good=started - sum(_lost_before_picking(story, one.pk) for one in lots),
        on_hand=sum(one.quantity for one in lots),
        picked_mg=sum(step.given_mg for step in steps if step.role == Role.USED),
        expected_mg=_expected_mg(lots, story),
        planned_loss_ppm=sum(
            step.planned_loss_ppm
            for step in story.steps[root.pk]
            if step.role == Role.MADE and step.place == root.made_by_id
        ),
        used=parts.used(),
        spawn=tuple(parts.spawn),
        filled_on=parts.filled_on,
        run=parts.run,
    )


def finished_in(first: date, last: date) -> list[Family]:
    """The lots of the batches whose last block went on some days, in the order of their first."""
    flows = Flow.objects.filter(
        role=Role.LOST,
        lot__card__stage=Stage.BLOCKS,
        lot__quantity=0,
        entry__happened_on__range=(first, last),
    )
    lots = Lot.objects.filter(pk__in=flows.values("lot")).select_related("made_by", "card")
    found = [own for own in families(lots).values() if not any(one.quantity for one in own)]
    lost = Flow.objects.filter(lot__in=[lot for own in found for lot in own], role=Role.LOST)
    days = dict(lost.values_list("lot").annotate(Max("entry__happened_on")).order_by())
    return [
        own
        for own in found
        if max((days[lot.pk] for lot in own if lot.pk in days), default=date.max) <= last
    ]


def families(lots: Iterable[Lot]) -> dict[int, Family]:
    """The lots first inoculated, each with all that checks split off it, by the first.

    A query up from parts and one down, for five generations each.
    """
    blocks = [lot for lot in lots if lot.card.stage == Stage.BLOCKS]
    roots = {lot.pk for lot in blocks if not lot.part_of_id}
    roots |= _roots_of({lot.pk for lot in blocks if lot.part_of_id})
    if not roots:
        return {}
    found = _with_cards(Q(pk__in=roots) | _split_off(roots))
    last = _last_of(found, roots)
    while last:
        found |= _with_cards(_split_off(last))
        last = _last_of(found, last)
    root_of: dict[int, int] = {}
    own: dict[int, list[Lot]] = {root: [] for root in sorted(roots & found.keys())}
    for pk in sorted(found):  # a part is made after its whole
        root_of[pk] = pk if pk in roots else root_of[found[pk].part_of_id or pk]
        own[root_of[pk]].append(found[pk])
    return {root: tuple(lots) for root, lots in own.items()}


def _roots_of(parts: Collection[int]) -> set[int]:
    """The lots that parts, and each lot between, were split off; none where that was taken back."""
    if not parts:
        return set()
    found: set[int] = set()
    beyond: set[int] = set()
    standing = Lot.objects.filter(pk__in=parts, edges_in__src=F("part_of"))
    for *known, last in standing.values_list(*BEHIND):
        (beyond if last else found).add([pk for pk in known if pk][-1])
    return found | _roots_of(beyond)


def _split_off(lots: Collection[int]) -> Q:
    """What was split off some lots, off that, and so on, as it stands."""
    standing = Q(Exists(Edge.objects.filter(dst=OuterRef("pk"), src=OuterRef("part_of"))))
    return standing & reduce(or_, (Q(**{f"{behind}__in": lots}) for behind in BEHIND))


def _last_of(found: Mapping[int, Lot], lots: Collection[int]) -> list[int]:
    """The last generation of what was asked for of some lots."""
    near = set(lots)
    for _ in BEHIND:
        near = {pk for pk, one in found.items() if one.part_of_id in near}
    return sorted(near)


def _with_cards(which: Q) -> dict[int, Lot]:
    cards = ("made_by", "card__strain__species", "card__recipe__recipe")
    return {lot.pk: lot for lot in Lot.objects.filter(which).select_related(*cards)}


def _lost_before_picking(story: Story, lot: int) -> int:
    """Count what was binned before the first pick: of the lot, or of its whole before the split."""
    first = min((pick.place for pick in picks_before_now(story, lot)), default=None)
    lost = (step for step in story.steps[lot] if step.role == Role.LOST)
    return -sum(step.quantity for step in lost if first is None or step.place < first)


def _expected_mg(lots: Sequence[Lot], story: Story) -> int:
    """What is still expected of the blocks on hand.

    Before the first pick it is the strain's planning figure, after it what the picks kept of it.
    """
    planned = {
        lot.pk: sum(lot.card.strain.flushes_mg) * lot.quantity for lot in lots if lot.card.strain
    }
    return sum((planned | expected_now(story)).values())


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

    def read(self, story: Story, flows: Sequence[Flow], charged: _Charged) -> None:
        """Gather everything. ``flows``: of this batch and of others."""
        for flow in [one for one in flows if one.entry_id == self.root.made_by_id]:
            if flow.lot.card.stage == Stage.SPAWN:
                self.spawn.append(flow.lot)
                self._add(SPAWN, Fraction(-flow.quantity), -sum(flow.cost))
            else:
                self._read_bags(flow, flows, charged.shared)
        made, picked = _made_and_picked(story)
        for place in sorted(made):
            for one in charged.shared.get(place, ()):
                self._add(CHARGED[one.kind], Fraction(one.quantity), one.amount)
        self._read_picks(picked, charged.shared)
        for one in (charge for lot in story.steps for charge in charged.own.get(lot, ())):
            self._add(CHARGED[one.kind], Fraction(one.quantity), one.amount)

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
        if flow.entry.kind == STERILISER_RUN:
            self.run = flow.entry
        leaves = []
        for drawn in flows:
            if drawn.entry_id == flow.entry_id and drawn.role == Role.USED:
                item = drawn.lot.item
                self.units[item.name] = "kg" if item.dimension == Dimension.MASS else "pieces"
                leaves.append((item.name, Fraction(-drawn.quantity), tuple(-c for c in drawn.cost)))
        for one in charges.get(flow.entry_id, ()):
            at = KINDS.index(one.kind)
            ours = flow.cost[at] if one.amount else 0
            cost = tuple(ours if k == at else 0 for k in range(len(KINDS)))
            part = Fraction(ours, one.amount) if one.amount else Fraction(0)
            leaves.append((CHARGED[one.kind], one.quantity * part, cost))
        return leaves

    def _read_picks(self, ours: Mapping[int, int], charges: Charges) -> None:
        """Take the batch's part of each pick's hours by the weight it gave."""
        for place, given_mg in sorted(ours.items()):
            for one in charges.get(place, ()):
                rest_mg = one.picked_mg - given_mg
                part = largest_remainder(one.amount, [given_mg, rest_mg])[0]
                self._add(PICKING, Fraction(one.quantity * given_mg, one.picked_mg), part)

    def _add(self, name: str, quantity: Fraction, money: int) -> None:
        self.quantities[name] += quantity
        self.money[name] += money


def _flows_behind(entries: Collection[int]) -> list[Flow]:
    """What some inoculations used, and all that was made and used in entries that made the bags.

    One query.
    """
    bags = Flow.objects.filter(entry__in=entries, role=Role.USED, lot__card__stage=Stage.BAGS)
    made = Flow.objects.filter(lot__in=bags.values("lot"), role=Role.MADE).values("entry")
    flows = Flow.objects.filter(
        Q(entry__in=entries, role=Role.USED) | Q(entry__in=made, role__in=(Role.MADE, Role.USED))
    ).select_related("entry", "lot__item", "lot__card", "lot__made_by")
    return list(flows.order_by("entry_id", "pk"))


def _made_and_picked(story: Story) -> tuple[set[int], dict[int, int]]:
    """The places that made the lots, and what each place picked of them."""
    steps = [step for own in story.steps.values() for step in own]
    picks: dict[int, int] = defaultdict(int)
    for step in steps:
        picks[step.place] += step.given_mg
    made = {step.place for step in steps if step.role == Role.MADE}
    return made, {place: given_mg for place, given_mg in picks.items() if given_mg}


def _charges(story: Story, flows: Iterable[Flow]) -> _Charged:
    """What is shared by what was made, by place, and what falls on lots alone; one query."""
    made, picked = _made_and_picked(story)
    places = {*made, *picked, *(flow.entry_id for flow in flows)}
    shared, own = stands_at(places) & Q(lot=None), Q(lot__in=list(story.steps))
    weights = Line.objects.standing_at(OuterRef("entry__place")).filter(role=Role.USED)
    in_all = weights.order_by().values("entry__place").annotate(mg=Sum("given_mg")).values("mg")
    rows = (
        Charge.objects.filter(shared | own)
        .annotate(picked_mg=Subquery(in_all))
        .values_list("lot", "entry__place", "kind", "picked_mg")
        .annotate(Sum("quantity_milli"), Sum("amount"))
        .order_by("entry__place", "kind", "lot")
    )
    found = _Charged(defaultdict(list), defaultdict(list))
    for lot, place, kind, picked_mg, quantity, amount in rows:
        if quantity or amount:
            said = _Charge(CostKind(kind), quantity, amount, picked_mg or 0)
            (found.own[lot] if lot else found.shared[place]).append(said)
    return found


def _shared(total: tuple[int, ...], costs: Sequence[tuple[int, ...]]) -> list[int]:
    """Share each kind of cost over the parts that hold it, by largest remainder; sum the kinds."""
    shares = [0] * len(costs)
    for kind, amount in enumerate(total):
        weights = [cost[kind] for cost in costs]
        if amount and any(weights):
            parts = largest_remainder(amount, weights)
            shares = [share + part for share, part in zip(shares, parts, strict=True)]
    return shares
