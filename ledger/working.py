"""What is worked from the facts: flows, edges, and the figures on each lot.

``rework`` works what a new fact touches: the lots of its lines, then their descendants, stopping
where nothing changes. ``full_pass`` does the same over the whole book and is the oracle: no
figure may differ. Lots are made in the order of entries and every edge points forward, so a
lot's life can be worked whole once the lots behind it have been.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

from django.db.models import QuerySet, Sum

from ledger import errors
from ledger.amounts import in_words, split
from ledger.costing import RANK, Cost, Life, Step, work
from ledger.drafts import NUMBERS
from ledger.edges import EDGE_FIELDS, edges_at
from ledger.models import KINDS, Charge, Edge, Entry, Flow, Head, Line, Lot, Mark, Role

ZERO: Cost = (0, 0, 0, 0, 0)
_USED, _MADE = Role.USED.value, Role.MADE.value
_STEP_FIELDS = ("entry__place", "role", *NUMBERS, "returns__entry__place")


@dataclass
class Story:
    """The facts about some lots and entries, added up to effective lines.

    ``steps``: each lot's, in order. ``made_at``: lot ids and shares by place, of the lots that
    share that entry's cost. ``charged``: by place.
    """

    born_at: dict[int, int] = field(default_factory=dict)
    steps: dict[int, list[Step]] = field(default_factory=dict)
    made_at: dict[int, list[tuple[int, int]]] = field(default_factory=dict)
    charged: dict[int, Cost] = field(default_factory=dict)


def read_story(lot_ids: Iterable[int] | None = None) -> Story:
    """Read the facts about some lots (all, when None); four queries."""
    lots = Lot.objects.all()
    if lot_ids is None:
        story = _with_steps(dict(lots.values_list("pk", "made_by_id")), Line.objects.all())
        _add_shares(story, Line.objects.all())
        _add_charges(story, Charge.objects.all())
        return story
    born = lots.filter(pk__in=list(lot_ids)).values_list("pk", "made_by_id")
    story = read_steps(dict(born))
    places = add_shares(story)
    _add_charges(story, Charge.objects.filter(entry__place__in=places))
    return story


def read_steps(born_at: dict[int, int]) -> Story:
    """Read what happened to some lots, known with the entries that made them; one query."""
    return _with_steps(born_at, Line.objects.filter(lot__in=list(born_at)))


def add_shares(story: Story) -> list[int]:
    """Add who shares the cost of the entries that made the lots; give these. One query."""
    places = [s.place for steps in story.steps.values() for s in steps if s.role == _MADE]
    _add_shares(story, Line.objects.filter(entry__place__in=places))
    return places


def _with_steps(born_at: dict[int, int], lines: "QuerySet[Line]") -> Story:
    story = Story(born_at, {lot: [] for lot in born_at})
    rows = lines.values_list("lot_id", *_STEP_FIELDS).order_by("entry_id", "pk")
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


def _order(step: Step) -> tuple[int, int]:
    return (step.place, RANK[step.role])


def _add_shares(story: Story, lines: "QuerySet[Line]") -> None:
    shares: dict[int, dict[int, int]] = defaultdict(dict)
    rows = lines.filter(role=_MADE).values_list("entry__place", "lot_id", "basis")
    for place, lot, basis in rows.order_by("entry__place", "lot_id"):
        shares[place][lot] = shares[place].get(lot, 0) + basis
    story.made_at = {place: list(by_lot.items()) for place, by_lot in shares.items()}


def _add_charges(story: Story, charges: "QuerySet[Charge]") -> None:
    rows = charges.values_list("entry__place", "kind").annotate(total=Sum("amount"))
    found: dict[int, list[int]] = defaultdict(lambda: [0] * len(KINDS))
    for place, kind, total in rows.order_by():
        found[place][KINDS.index(kind)] += total
    story.charged = {place: tuple(cost) for place, cost in found.items()}


def shares_of(story: Story, place: int, pool: Cost) -> dict[int, Cost]:
    """Share an entry's cost over the lots it made, by basis; the parts add up to the pool."""
    made = [(lot, basis) for lot, basis in story.made_at.get(place, ()) if basis > 0]
    if not made:
        return {}
    if len(made) == 1:
        return {made[0][0]: pool}
    weights = [basis for _, basis in made]
    parts = zip(*(split(total, weights) for total in pool), strict=True)
    return {lot: part for (lot, _), part in zip(made, parts, strict=True)}


# --- one lot after the other -----------------------------------------------------------------


def rework(entry: Entry) -> None:
    """Bring everything worked up to date after ``entry`` was written.

    Wave by wave: the lots that the entry is about, then those whose given cost this changed. A
    lot may be worked in several waves; there are no more waves than lots in the longest line of
    descent. Raises NotEnough when some lot would fall below zero at any place: the caller's
    transaction takes the facts back as well.
    """
    _renew_edges(entry)
    _renew_marks(entry)
    lines = Line.objects.filter(entry__place=entry.place)
    stated = lines.values_list("lot_id", "role", "entry_id")
    wave = {lot for lot, role, seq in stated if seq == entry.seq or role == _MADE}
    while wave:
        changed = _work_wave(wave)
        below = Line.objects.filter(entry__place__in=changed, role=_MADE) if changed else ()
        wave = {line.lot_id for line in below}


def _work_wave(lot_ids: set[int]) -> set[int]:
    """Work some lots from the facts, keep what differs, return the places of changed use."""
    story = read_story(lot_ids)
    used = Flow.objects.filter(entry__in=list(story.made_at), role=_USED)
    inputs: dict[int, Cost] = defaultdict(lambda: ZERO)
    for place, *cost in used.values_list("entry_id", *KINDS):
        inputs[place] = tuple([a - b for a, b in zip(inputs[place], cost, strict=True)])
    for lot_id, steps in story.steps.items():
        _check_signs(lot_id, steps)
    lives = {lot_id: life_of(story, lot_id, inputs) for lot_id in story.steps}
    short = [(*life.short, lot_id) for lot_id, life in lives.items() if life.short]
    if short:
        raise_short(*min(short))
    _keep_figures(lives)
    return _keep_flows(story, lives)


def life_of(story: Story, lot_id: int, inputs: dict[int, Cost]) -> Life:
    """Work one lot from its story; ``inputs``: the cost used up by place, where it was made."""
    inflow = {}
    for step in story.steps[lot_id]:
        if step.role == _MADE:
            used = inputs.get(step.place, ZERO)
            charged = story.charged.get(step.place)
            pool = tuple([a + b for a, b in zip(used, charged, strict=True)]) if charged else used
            inflow[step.place] = shares_of(story, step.place, pool).get(lot_id, ZERO)
    return work(story.steps[lot_id], inflow, story.born_at[lot_id])


def _keep_figures(lives: dict[int, Life]) -> None:
    """Write the figures on hand of the lots that differ."""
    rows = Lot.objects.filter(pk__in=list(lives)).values_list(
        "pk", "quantity", "shares_open", *KINDS
    )
    for lot_id, quantity, shares_open, *cost in rows:
        life = lives[lot_id]
        if (life.quantity, life.shares_open, life.cost) != (quantity, shares_open, tuple(cost)):
            Lot.objects.filter(pk=lot_id).update(**figures(life))


def figures(life: Life) -> dict[str, int | bool]:
    """Name a life's outcome as the columns of its lot."""
    return {
        "quantity": life.quantity,
        "shares_open": life.shares_open,
        **dict(zip(KINDS, life.cost, strict=True)),
    }


def _keep_flows(story: Story, lives: dict[int, Life]) -> set[int]:
    """Write the flows that differ; return the places whose used cost changed."""
    known = Flow.objects.filter(lot__in=list(lives))
    columns = known.values_list("pk", "lot_id", "entry_id", "role", "quantity", *KINDS)
    old = {row[1:4]: row for row in columns}
    differ, changed = [], set()
    for lot_id, life in lives.items():
        for flow in flow_rows(lot_id, story.steps[lot_id], life):
            row = old.pop((lot_id, flow.entry_id, flow.role), None)
            if row and row[4:] == (flow.quantity, *flow.cost):
                continue
            differ.append(flow)
            if flow.role == _USED:
                changed.add(flow.entry_id)
    if old:  # what was stranded before and is no more
        Flow.objects.filter(pk__in=[row[0] for row in old.values()]).delete()
    Flow.objects.bulk_create(
        differ,
        update_conflicts=True,
        unique_fields=("lot", "entry", "role"),
        update_fields=("quantity", *KINDS),
    )
    return changed


def flow_rows(lot_id: int, steps: list[Step], life: Life) -> list[Flow]:
    """List a life's flows: one a line, and one for each cost that was stranded."""
    stated = {(step.place, step.role): step.quantity for step in steps}
    stranded = {key: 0 for key in life.moved if key not in stated}
    return [
        Flow(
            entry_id=place,
            lot_id=lot_id,
            role=role,
            quantity=quantity,
            **dict(zip(KINDS, life.moved.get((place, role), ZERO), strict=True)),
        )
        for (place, role), quantity in (stated | stranded).items()
    ]


def raise_short(place: int, by: int, lot_id: int) -> None:
    """Refuse, naming the lot, the first entry that would fail, the number and the remedy."""
    lot = Lot.objects.select_related("item").get(pk=lot_id)
    entry = Entry.objects.get(pk=place)
    what = "is empty" if by == 0 else f"falls {in_words(by, lot.item.dimension)} short"
    remedy = "Correct the quantity, or record first what made or brought in the rest."
    if place < Head.objects.get(pk=1).seq:  # not what is being recorded, which has no number yet
        what += f" at entry {place} ({entry.kind}, {entry.happened_on})"
        remedy = "Correct the quantity, or take the later entry back first."
    raise errors.NotEnough(
        f"Lot {lot.code} ({lot.item.name}) {what}. {remedy}", [lot.code], entry_seq=place
    )


def _check_signs(lot_id: int, steps: list[Step]) -> None:
    """Refuse an amendment that turns a number round: a sale may shrink to nothing, not below."""
    for step in steps:
        adds = RANK[step.role] <= RANK[Role.COUNTED]
        wrong = [name for name in NUMBERS[1:] if getattr(step, name) < 0]
        if (step.quantity < 0 if adds else step.quantity > 0) or (step.given_mg and step.quantity):
            wrong.append("quantity")
        if wrong:
            code = Lot.objects.values_list("code", flat=True).get(pk=lot_id)
            stated = ", ".join(f"{name} {getattr(step, name)}" for name in wrong)
            raise errors.Malformed(
                f"Lot {code}: the correction would make {step.role} at entry {step.place} "
                f"{stated}. Take the whole entry back instead.",
                [code],
            )


# --- edges and holds -------------------------------------------------------------------------


def _renew_edges(entry: Entry) -> None:
    place = entry.place
    lines = Line.objects.filter(entry__place=place, role__in=(_USED, _MADE))
    edges = edges_at(place, lines.values_list(*EDGE_FIELDS))
    if entry.amends_id:
        Edge.objects.filter(entry=place).delete()
    Edge.objects.bulk_create(edges)


def _renew_marks(entry: Entry) -> None:
    lots = Mark.objects.filter(entry__place=entry.place).values_list("lot_id", flat=True)
    for lot_id in set(lots):
        Lot.objects.filter(pk=lot_id).update(held=is_held(lot_id))


def is_held(lot_id: int) -> bool:
    """Say whether the last standing mark puts the lot on hold."""
    mark = standing_marks(lot_id).first()
    return mark.held if mark else False


def standing_marks(lot_id: int) -> "QuerySet[Mark]":
    """A lot's marks that were not taken back, the last first."""
    taken_back = Entry.objects.filter(takes_back=True).values("place")
    return Mark.objects.filter(lot=lot_id).exclude(entry__place__in=taken_back).order_by("-pk")
