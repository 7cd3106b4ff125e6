"""A batch of blocks: what was inoculated together, with what checks split off it.

What it used is read from the book: the cost that came into its lots, down to each supply, the
spawn, the hours, energy and room; each with its quantity. The parts add up to that cost.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
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


# By the place that made what shares it; under None what falls on the batch's own lots.
Charges = Mapping[int | None, Sequence[_Charge]]


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

    Five queries for five generations of what was split off, and one more where it is such a part.
    """
    lots = family(lot)
    if not lots or lots[0].made_by.kind != INOCULATE_BLOCKS:
        return None
    story = read_steps(one.pk for one in lots)
    steps = [step for own in story.steps.values() for step in own]
    started = sum(step.quantity for step in steps if step.role in (Role.MADE, Role.USED))
    if not started:
        return None
    root = lots[0]
    parts = _Parts(root)
    parts.read(story)
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


def finished_in(first: date, last: date) -> list[Lot]:
    """The first lots of the batches whose last block went on some days, in their order."""
    flows = Flow.objects.filter(
        role=Role.LOST,
        lot__card__stage=Stage.BLOCKS,
        lot__quantity=0,
        entry__happened_on__range=(first, last),
    )
    roots: dict[int, Lot] = {}
    for lot in Lot.objects.filter(pk__in=flows.values("lot")).select_related("made_by", "card"):
        lots = family(lot)
        if lots and not any(one.quantity for one in lots) and _last_day(lots) <= last:
            roots[lots[0].pk] = lots[0]
    return [roots[key] for key in sorted(roots)]


def family(lot: Lot) -> tuple[Lot, ...]:
    """The lot first inoculated and all that checks split off it.

    A query up from a part and one down, for five generations each.
    """
    if lot.card.stage != Stage.BLOCKS:
        return ()
    root = _root_of(lot.pk) if lot.part_of_id else lot.pk
    if root is None:  # the check was taken back
        return ()
    found = _with_cards(Q(pk=root) | _split_off([root]))
    last = _last_of(found, [root])
    while last:
        found |= _with_cards(_split_off(last))
        last = _last_of(found, last)
    return tuple(found[pk] for pk in sorted(found))


def _root_of(part: int) -> int | None:
    """The lot that a part, and each lot between, was split off."""
    standing = Lot.objects.filter(pk=part, edges_in__src=F("part_of"))
    for wholes in standing.values_list(*BEHIND):
        *known, last = wholes
        return _root_of(known[-1]) if last else [pk for pk in known if pk][-1]
    return None


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


def _last_day(lots: Sequence[Lot]) -> date:
    flows = Flow.objects.filter(lot__in=lots, role=Role.LOST)
    day: date | None = flows.aggregate(day=Max("entry__happened_on"))["day"]
    return day or date.max


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

    def read(self, story: Story) -> None:
        """Gather everything; two queries."""
        drawn, came = self._read_inoculation()
        steps = [step for own in story.steps.values() for step in own]
        made = {step.place for step in steps if step.role == Role.MADE}
        picks: dict[int, int] = defaultdict(int)
        for step in steps:
            picks[step.place] += step.given_mg
        standing = {place: given_mg for place, given_mg in picks.items() if given_mg}
        charges = _charges([*made, *standing, *(flow.entry_id for flow in came)], story.steps)
        for flow in drawn:
            self._read_bags(flow, came, charges)
        for place in sorted(made):
            for one in charges.get(place, ()):
                self._add(CHARGED[one.kind], Fraction(one.quantity), one.amount)
        self._read_picks(standing, charges)
        for one in charges.get(None, ()):
            self._add(CHARGED[one.kind], Fraction(one.quantity), one.amount)

    def _read_inoculation(self) -> tuple[list[Flow], list[Flow]]:
        """Take the spawn that was used; give what was drawn of the bags, and how these were made.

        That is all that was made and used in every entry that made bags. One query.
        """
        here = self.root.made_by_id
        bags = Flow.objects.filter(entry=here, role=Role.USED, lot__card__stage=Stage.BAGS)
        entries = Flow.objects.filter(lot__in=bags.values("lot"), role=Role.MADE).values("entry")
        flows = Flow.objects.filter(
            Q(entry=here, role=Role.USED) | Q(entry__in=entries, role__in=(Role.MADE, Role.USED))
        ).select_related("entry", "lot__item", "lot__card", "lot__made_by")
        drawn, came = [], []
        for flow in flows.order_by("entry_id", "pk"):
            if flow.entry_id != here:
                came.append(flow)
            elif flow.lot.card.stage == Stage.SPAWN:
                self.spawn.append(flow.lot)
                self._add(SPAWN, Fraction(-flow.quantity), -sum(flow.cost))
            else:
                drawn.append(flow)
        return drawn, came

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


def _charges(places: Iterable[int], lots: Iterable[int]) -> Charges:
    """What is shared by what was made, by place, and what falls on some lots alone; one query."""
    shared, own = stands_at(list(places)) & Q(lot=None), Q(lot__in=list(lots))
    weights = Line.objects.standing_at(OuterRef("entry__place")).filter(role=Role.USED)
    picked = weights.order_by().values("entry__place").annotate(mg=Sum("given_mg")).values("mg")
    rows = (
        Charge.objects.filter(shared | own)
        .annotate(picked_mg=Subquery(picked))
        .values_list("lot", "entry__place", "kind", "picked_mg")
        .annotate(Sum("quantity_milli"), Sum("amount"))
        .order_by("entry__place", "kind", "lot")
    )
    found: dict[int | None, list[_Charge]] = defaultdict(list)
    for lot, place, kind, picked_mg, quantity, amount in rows:
        if quantity or amount:
            said = _Charge(CostKind(kind), quantity, amount, picked_mg or 0)
            found[None if lot else place].append(said)
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
