"""The facts about some lots, added up to effective lines: the original and its amendments."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from django.db.models import Q, QuerySet, Sum

from ledger.asked_often import AskedOften, Row
from ledger.costing import RANK, Cost, Step, still_expected
from ledger.drafts import NUMBERS
from ledger.models import KINDS, Charge, Line, Lot, Role
from ledger.standing import stands_at

_MADE = Role.MADE.value
_STEP_FIELDS = ("entry__place", "role", *NUMBERS, "returns__entry__place")


@dataclass
class Story:
    """The facts about some lots and entries, added up to effective lines.

    ``steps``: each lot's, in order. ``earlier``: of a part, what was picked of the whole before.
    ``made_at``: lot ids, shares and worths by place, of the lots that share that entry's cost.
    ``charged``: by place. ``falls``: what is charged to one lot, by lot and place.
    """

    born_at: dict[int, int] = field(default_factory=dict)
    steps: dict[int, list[Step]] = field(default_factory=dict)
    earlier: dict[int, list[Step]] = field(default_factory=dict)
    made_at: dict[int, list[tuple[int, int, int]]] = field(default_factory=dict)
    charged: dict[int, Cost] = field(default_factory=dict)
    falls: dict[tuple[int, int], Cost] = field(default_factory=dict)


def read_story(lot_ids: Iterable[int] | None = None) -> Story:
    """Read the facts about some lots (all, when None); four queries, and two where some are parts
    of others.
    """
    story = read_steps(lot_ids)
    if lot_ids is None:
        _add_shares(story, _shares(Line.objects.all()))
        _add_charges(story, _charges(Charge.objects.all()))
        return story
    places = add_shares(story)
    _add_charges(story, _charges_about(places, story.steps))
    return story


def read_steps(lot_ids: Iterable[int] | None = None) -> Story:
    """Read what happened to some lots (all, when None), in the order of making; two queries, and
    two a generation of the wholes that parts were split off.
    """
    lots: Iterable[Row]
    lines: Iterable[Row]
    if lot_ids is None:
        lots, lines = _births(Lot.objects.all()), _stated(Line.objects.all())
    else:
        ids = set(lot_ids)
        lots, lines = _births_of(ids), _stated_of(ids)
    born_at, wholes = {}, {}
    for lot, made_by, whole in lots:
        born_at[lot] = made_by
        if whole:
            wholes[lot] = whole
    story = _with_steps(born_at, lines)
    _add_earlier(story, wholes)
    return story


def add_shares(story: Story) -> list[int]:
    """Add who shares the cost of the entries that made the lots; give these. One query."""
    places = {s.place for steps in story.steps.values() for s in steps if s.role == _MADE}
    _add_shares(story, _shares_at(places))
    return list(places)


def _births(lots: "QuerySet[Lot]") -> "QuerySet[Lot, Row]":
    return lots.order_by("made_by_id", "pk").values_list("pk", "made_by_id", "part_of_id")


def _stated(lines: "QuerySet[Line]") -> "QuerySet[Line, Row]":
    return lines.order_by("entry_id", "pk").values_list("lot_id", *_STEP_FIELDS)


def _shares(lines: "QuerySet[Line]") -> "QuerySet[Line, Row]":
    rows = lines.filter(role=_MADE).values_list("entry__place", "lot_id")
    return rows.annotate(Sum("basis"), Sum("worth")).order_by("entry__place", "lot_id")


def _charges(charges: "QuerySet[Charge]") -> "QuerySet[Charge, Row]":
    rows = charges.values_list("lot_id", "entry__place", "kind")
    return rows.annotate(total=Sum("amount")).order_by()


_births_of = AskedOften(lambda lots: _births(Lot.objects.filter(pk__in=lots)))
_stated_of = AskedOften(lambda lots: _stated(Line.objects.filter(lot__in=lots)))
_shares_at = AskedOften(lambda places: _shares(Line.objects.standing_at(places)))
_charges_about = AskedOften(
    lambda places, lots: _charges(
        Charge.objects.filter(stands_at(places) & Q(lot=None) | Q(lot__in=lots))
    )
)


def _with_steps(born_at: dict[int, int], rows: Iterable[Row]) -> Story:
    story = Story(born_at, {lot: [] for lot in born_at})
    known: dict[tuple[int, int, str], Step] = {}
    for lot, place, role, *numbers, returns_place in rows:
        key = (lot, place, str(role))
        step = known.get(key)
        if step is None:
            step = Step(place, str(role), *[*numbers, returns_place or 0])
            known[key] = step
            story.steps[lot].append(step)
            continue
        for name, number in zip(NUMBERS, numbers, strict=True):
            if number:
                setattr(step, name, getattr(step, name) + number)
    for steps in story.steps.values():
        steps.sort(key=_order)
    return story


def picks_before_now(story: Story, lot: int) -> list[Step]:
    """List the picks of a lot, and before them those of the whole that it was split off."""
    own = (step for step in story.steps[lot] if step.given_mg or step.picked_mg)
    return [*story.earlier.get(lot, ()), *own]


def expected_now(story: Story) -> dict[int, int]:
    """Work out what lots that were picked still give, by their last pick and the pieces on hand.

    In parts of the pieces then and now, rounded down; 0 once spent. Lots that were never picked,
    themselves or before they were split off, are left out.
    """
    found = {}
    for lot, steps in story.steps.items():
        picks = picks_before_now(story, lot)
        if picks:
            closed = any(step.closes for step in steps)
            now = _in_parts(picks[-1], sum(step.quantity for step in steps))
            found[lot] = 0 if closed else still_expected(now, picks)
    return found


def _in_parts(pick: Step, pieces: int) -> Step:
    """State what a pick states for so many of its pieces."""
    if not pick.pieces:
        return pick
    turn_mg, later_mg = (mg * pieces // pick.pieces for mg in (pick.turn_mg, pick.later_mg))
    return replace(pick, pieces=pieces, turn_mg=turn_mg, later_mg=later_mg)


def _add_earlier(story: Story, wholes: dict[int, int]) -> None:
    """Add what was picked of the wholes before parts were split off; a whole is made before."""
    beyond = set(wholes.values()) - story.steps.keys()
    behind = read_steps(beyond) if beyond else story
    for part, whole in wholes.items():
        source = behind if whole in beyond else story
        before = (*source.earlier.get(whole, ()), *source.steps[whole])
        story.earlier[part] = [
            step for step in before if step.given_mg and step.place < story.born_at[part]
        ]


def _order(step: Step) -> tuple[int, int]:
    return (step.place, RANK[step.role])


def _add_shares(story: Story, rows: Iterable[Row]) -> None:
    found: dict[int, list[tuple[int, int, int]]] = defaultdict(list)
    for place, lot, basis, worth in rows:
        found[place].append((lot, basis, worth))
    story.made_at = dict(found)


def _add_charges(story: Story, rows: Iterable[Row]) -> None:
    """Add what was charged; what falls on one lot comes into it by a step of its own."""
    found: dict[tuple[int | None, int], list[int]] = defaultdict(lambda: [0] * len(KINDS))
    for lot, place, kind, total in rows:
        found[lot, place][KINDS.index(kind)] += total
    for (lot, place), cost in found.items():
        if lot is None:
            story.charged[place] = tuple(cost)
        elif lot in story.steps:
            story.falls[lot, place] = tuple(cost)
            steps = story.steps[lot]
            if not any((step.place, step.role) == (place, _MADE) for step in steps):
                steps.append(Step(place, _MADE))
                steps.sort(key=_order)
