"""Where the crop went: all that was picked or in stock, and every milligram of it accounted for.

What came in (stock at the start, picked, brought in, found) is what was sold, given away, used,
dried, thrown away, lost as water, is still here, and is unexplained. Everything is a weight as it
was recorded: packs count at their declared weight, and what was filled beyond it is a step of
its own. It is read from the book's flows alone, so that it adds up to the milligram.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from enum import Enum

from django.db.models import Max, Min, Q, QuerySet

from farm.kinds.store import COUNT, WEIGH_AGAIN
from farm.models import Form, Given, Grade, SaleLine, Species, Stage
from farm.queries.cells import handed_between
from farm.queries.finding import amount_of
from farm.queries.months.stock_levels import Held, held_around
from farm.queries.movements import (
    NO_MONEY,
    Happened,
    Moved,
    moved,
    sale_lines,
    whole_months,
)
from farm.weight import Weight, hundredths_of
from ledger.models import Flow, Lot, Role

# Own rule: a kitchen scale shows steps of 5 g, so that each weighing may be that far off.
SCALE_STEP_MG = 5_000
ONE_DAY = timedelta(days=1)


class Step(Enum):
    """The steps in the order in which they are told; those up to FOUND bring something in."""

    START = "In stock at the start"
    PICKED = "Picked"
    MADE = "Came out of the dryer"
    PACKED = "Packed"
    BROUGHT = "In stock before the book began"
    FOUND = "Found: counted or sold beyond the book"
    LOADED = "Loaded"
    DELIVERED = "Delivered"
    SOLD = "Sold"
    SHARES = "Given out in share boxes"
    SAMPLES = "Samples"
    GIFTS = "Gifts"
    OWN = "Own use"
    TRIM = "Seconds and trim, thrown away"
    OVER = "Filled beyond the declared weight"
    DRIED = "Went into the dryer"
    USED = "Used for cultures and other lots"
    BACK = "Brought back"
    OUT = "Loaded and not settled yet"
    THROWN = "Thrown away"
    WATER = "Water, inside the band"
    END = "Still in stock"
    UNEXPLAINED = "Unexplained"
    ROUNDING = "Rounding to whole grams"


CAME_IN = (
    Step.START, Step.PICKED, Step.MADE, Step.PACKED, Step.BROUGHT, Step.FOUND,
    Step.LOADED, Step.DELIVERED,
)  # fmt: skip
GOODS = (Stage.CROP, Stage.DRIED, Stage.PACKS)
# Packs are goods already: what is made of them is set against what was drawn (OVER).
MADE_OF = {Stage.CROP: Step.PICKED, Stage.DRIED: Step.MADE}
STEP_OF = {Role.BOUGHT: Step.BROUGHT, Role.COUNTED: Step.FOUND, Role.SHRUNK: Step.WATER}
# The word that the reason of what was given away begins with.
GIVEN_AWAY = {Given.SAMPLE: Step.SAMPLES, Given.GIFT: Step.GIFTS, Given.OWN: Step.OWN}
# What was handed out of flows, by entry, lot and role.
Handed = Mapping[tuple[int, int, str], Moved]
# What was found missing: on the scale, or at a count.
FOUND_MISSING = (WEIGH_AGAIN, COUNT)


@dataclass(frozen=True)
class Move:
    """What one entry did to one lot; ``mass_mg`` and ``pieces`` are above zero where it came in."""

    step: Step
    day: date
    entry: int
    lot_code: str
    what: str
    species: str
    pieces: int
    mass_mg: int


@dataclass(frozen=True)
class Reconciliation:
    """``weighings``: how often something of it was put on a scale.

    ``rounding_mg``: what the whole grams that were handed out come to beyond what is still here,
    where something was weighed in pounds or in parts of a gram.
    """

    form: Form
    start_mg: int
    moves: tuple[Move, ...]
    end_mg: int
    weighings: int
    rounding_mg: int = 0

    @property
    def amounts(self) -> dict[Step, int]:
        """Each step's weight, above zero on its own side; steps that come to nothing are left out.

        What would be below zero on its side (more came back than was sold) stands as it is.
        """
        sums = _summed(self.moves) | {
            Step.START: self.start_mg,
            Step.END: self.end_mg,
            Step.ROUNDING: self.rounding_mg,
        }
        return {step: sums[step] for step in Step if sums.get(step)}

    @property
    def whole_mg(self) -> int:
        """All that came in, with what was there at the start."""
        amounts = self.amounts
        return sum(mg for step, mg in amounts.items() if (mg > 0) is (step in CAME_IN))

    @property
    def difference_mg(self) -> int:
        """What does not add up; the book is right when it is 0."""
        moved_mg = sum(move.mass_mg for move in self.moves)
        return self.start_mg + moved_mg - self.end_mg - self.rounding_mg

    @property
    def scale_error_mg(self) -> int:
        """How far off the scale may be over all weighings: 4 of them, 5 g each, 20 g."""
        return self.weighings * SCALE_STEP_MG

    @property
    def unexplained_mg(self) -> int:
        return self.amounts.get(Step.UNEXPLAINED, 0)

    @property
    def is_flagged(self) -> bool:
        """More is missing than water inside its band and the scale can explain."""
        return self.unexplained_mg > self.scale_error_mg


def reconcile(
    first: date, last: date, *, form: Form = Form.FRESH, species: Species | None = None
) -> Reconciliation:
    """Reconcile all fresh or all dried goods (of a species) over some days; four queries."""
    lines = sale_lines(*whole_months(first, last))
    found = Happened(handed_between(first, last), lines, (), NO_MONEY).within(first, last)
    start, end = held_around(first, last, species)
    return goods_between(found, form, start=start, end=end, species=species)


def goods_between(
    found: Happened,
    form: Form,
    *,
    start: Iterable[Held],
    end: Iterable[Held],
    species: Species | None = None,
) -> Reconciliation:
    """Reconcile goods over some days between two evenings, in the grams that were handed out."""
    moves = goods_moves(found, form, species)
    before, after = (
        [one for one in held if is_of_form(form, one.stage, one.form)] for held in (start, end)
    )
    start_mg, end_mg = (sum(one.handed_mg for one in held) for held in (before, after))
    beyond = (
        sum(one.handed_mg - one.exact_mg for one in before),
        sum((one.mass_mg or 0) - one.exact_mg for one in _goods_among(found, form, species)),
        sum(one.exact_mg - one.handed_mg for one in after),
    )
    pounds = hundredths_of(start_mg + sum(move.mass_mg for move in moves) - end_mg)
    rounding_mg = Weight(sum(beyond), pounds or 0)
    return Reconciliation(form, start_mg, tuple(moves), end_mg, weighings_of(moves), rounding_mg)


def goods_moves(found: Happened, form: Form, species: Species | None = None) -> list[Move]:
    """Say of all fresh or all dried goods (of a species) which step each flow belongs to."""
    into: dict[int, set[int]] = defaultdict(set)
    for one in found.moved:
        if one.role == Role.MADE:
            into[one.entry].add(one.stage)
    boxes = {
        entry
        for (entry, *_), lines in found.lines.items()
        if any(line.sale.is_box for line in lines)
    }
    return _moves_among(_goods_among(found, form, species), into, boxes)


def _goods_among(found: Happened, form: Form, species: Species | None) -> Iterator[Moved]:
    goods = (one for one in found.moved if is_of_form(form, one.stage, one.form))
    return (one for one in goods if species is None or one.species_pk == species.pk)


def steps_taken(found: Happened, form: Form) -> dict[Step, int]:
    """What each step of some days did, without what was there before and after."""
    return _summed(goods_moves(found, form))


def _summed(moves: Iterable[Move]) -> dict[Step, int]:
    sums: dict[Step, int] = defaultdict(int)
    for move in moves:
        sums[move.step] += move.mass_mg if move.step in CAME_IN else -move.mass_mg
    return sums


def handed_among(flows: QuerySet[Flow]) -> Handed:
    """What the months of some flows handed out of each of their flows; three queries."""
    days = flows.aggregate(first=Min("entry__happened_on"), last=Max("entry__happened_on"))
    if days["first"] is None:
        return {}
    whole = handed_between(days["first"], days["last"])
    return {(one.entry, one.lot, one.role): one for one in whole}


def goods_flows(form: Form, species: Species | None) -> QuerySet[Flow]:
    """Whatever moved fresh goods (picks, and packs of them), or dried ones."""
    flows = Flow.objects.filter(of_form(form))
    return flows.filter(lot__card__species=species) if species else flows


def of_form(form: Form) -> Q:
    stage = Stage.CROP if form == Form.FRESH else Stage.DRIED
    return Q(lot__card__stage=stage) | Q(
        lot__card__stage=Stage.PACKS, lot__card__product__form=form
    )


def is_of_form(form: Form, stage: int, packed: str | None) -> bool:
    """Say the same of a row; ``packed``: the form of its product, if it has one."""
    return stage == (Stage.CROP if form == Form.FRESH else Stage.DRIED) or (
        stage == Stage.PACKS and packed == form
    )


# --- from flows to moves ---------------------------------------------------------------------


def moves_of(flows: QuerySet[Flow], handed: Handed | None = None) -> list[Move]:
    """Say of each flow which step it belongs to, in the order of the days; three queries.

    ``handed``: what was handed out of each, by entry, lot and role.
    """
    into: dict[int, set[int]] = defaultdict(set)
    made = Lot.objects.filter(made_by__in=flows.filter(role=Role.USED).values("entry"))
    for entry, stage in made.values_list("made_by_id", "card__stage"):
        into[entry].add(stage)
    boxes = _box_entries(flows.filter(role__in=(Role.SOLD, Role.BACK)))
    rows = moved(flows)
    if handed is not None:
        rows = tuple(handed[one.entry, one.lot, one.role] for one in rows)
    return _moves_among(rows, into, boxes)


def _moves_among(
    rows: Iterable[Moved], into: Mapping[int, set[int]], boxes: Collection[int]
) -> list[Move]:
    """``into``: the stages of what entries made. ``boxes``: entries that sold in share boxes."""
    return [
        Move(
            step=_step(one, into.get(one.entry, set()), one.entry in boxes),
            day=one.day,
            entry=one.entry,
            lot_code=one.lot_code,
            what=one.item,
            species=one.species or "",
            pieces=one.amount.pieces or 0,
            mass_mg=one.amount.mass_mg or 0,
        )
        for one in rows
        if one.quantity
    ]


def _box_entries(flows: QuerySet[Flow]) -> set[int]:
    """The entries whose sale, or whose return, is a box of a share; one query."""
    lines = SaleLine.objects.standing_at(flows.values("entry"), "line__entry")
    boxed = lines.filter(sale__note__box__isnull=False)
    return set(boxed.values_list("line__entry__place", flat=True))


def move_of(lot: Lot, quantity: int, *, step: Step, day: date, entry: int) -> Move:
    amount = amount_of(quantity, lot.item.dimension, lot.unit_mass_mg)
    return Move(
        step=step,
        day=day,
        entry=entry,
        lot_code=lot.code,
        what=lot.item.name,
        species=lot.card.species.name if lot.card.species else "",
        pieces=amount.pieces or 0,
        mass_mg=amount.mass_mg or 0,
    )


def _step(one: Moved, into: set[int], boxed: bool) -> Step:
    """``into``: the stages of what the entry made; ``boxed``: it was sold in share boxes."""
    if one.role in (Role.SOLD, Role.BACK):
        return Step.SHARES if boxed else Step.SOLD
    if one.role == Role.MADE:
        return MADE_OF.get(Stage(one.stage), Step.OVER)
    if one.role == Role.USED:
        return _used(into)
    return STEP_OF.get(Role(one.role)) or _lost(one)


def _used(into: set[int]) -> Step:
    if Stage.PACKS in into:
        return Step.OVER
    return Step.DRIED if Stage.DRIED in into else Step.USED


def _lost(one: Moved) -> Step:
    word = one.reason.partition(":")[0].strip()
    if word in Given.values:
        return GIVEN_AWAY[Given(word)]
    if one.kind in FOUND_MISSING:
        return Step.UNEXPLAINED
    graded = one.grade in (Grade.SECONDS, Grade.TRIM)
    return Step.TRIM if graded else Step.THROWN


def weighings_of(moves: Iterable[Move]) -> int:
    """How often a scale was read: once an entry and lot that states a weight."""
    weighed = (Step.PICKED, Step.MADE, Step.WATER, Step.UNEXPLAINED, Step.DRIED, Step.SOLD)
    return len(
        {(move.entry, move.lot_code) for move in moves if move.step in weighed and not move.pieces}
    )
