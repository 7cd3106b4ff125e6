"""What is worked from the facts: flows, edges, and the figures on each lot.

``rework`` works what a new fact touches: the lots of its lines, then their descendants, stopping
where nothing changes. ``full_pass`` does the same over the whole book and is the oracle: no
figure may differ. Lots are made in the order of entries and every edge points forward, so a
lot's life can be worked whole once the lots behind it have been.
"""

from collections import defaultdict
from datetime import datetime

from django.db import connection
from django.db.models import QuerySet

from ledger import errors
from ledger.amounts import in_words, part_worth, split
from ledger.asked_often import AskedOften
from ledger.costing import RANK, Cost, Life, Step, work
from ledger.drafts import NUMBERS
from ledger.edges import EDGE_FIELDS, edges_at
from ledger.models import KINDS, Charge, Edge, Entry, Flow, Head, Line, Lot, Mark, Role
from ledger.standing import stands_at
from ledger.story import Story, read_story

ZERO: Cost = (0, 0, 0, 0, 0)
_USED, _MADE = Role.USED.value, Role.MADE.value


def shares_of(story: Story, place: int, pool: Cost) -> dict[int, Cost]:
    """Share an entry's cost over the lots it made; the parts add up to the pool.

    By-products take their worth first, in the order of making; the others share the rest by basis.
    """
    shares: dict[int, Cost] = {}
    for lot, _, worth in story.made_at.get(place, ()):
        if worth > 0:
            shares[lot] = part_worth(worth, pool)
            pool = tuple([a - b for a, b in zip(pool, shares[lot], strict=True)])
    made = [(lot, basis) for lot, basis, _ in story.made_at.get(place, ()) if basis > 0]
    if len(made) == 1:
        shares[made[0][0]] = pool
    elif made:
        weights = [basis for _, basis in made]
        parts = zip(*(split(total, weights) for total in pool), strict=True)
        shares |= {lot: part for (lot, _), part in zip(made, parts, strict=True)}
    return shares


# --- what is asked for each entry ------------------------------------------------------------

_stated_at = AskedOften(
    lambda places: Line.objects.standing_at(places).values_list("lot_id", "role", "entry_id")
)
_charged_by = AskedOften(
    lambda entries: Charge.objects.filter(entry__in=entries, lot__isnull=False).values_list(
        "lot_id"
    )
)
_made_at = AskedOften(
    lambda places: Line.objects.standing_at(places).filter(role=_MADE).values_list("lot_id")
)
_used_at = AskedOften(
    lambda places: Flow.objects.filter(entry__in=places, role=_USED).values_list("entry_id", *KINDS)
)
_figures_of = AskedOften(
    lambda lots: Lot.objects.filter(pk__in=lots).values_list(
        "pk", "quantity", "shares_open", *KINDS
    )
)
_flows_of = AskedOften(
    lambda lots: Flow.objects.filter(lot__in=lots).values_list(
        "pk", "lot_id", "entry_id", "role", "quantity", *KINDS
    )
)
_went_at = AskedOften(
    lambda places: (
        Line.objects.standing_at(places).filter(role__in=(_USED, _MADE)).values_list(*EDGE_FIELDS)
    )
)
_marked_at = AskedOften(lambda places: Mark.objects.standing_at(places).values_list("lot_id"))

_KEEP = (
    f"UPDATE {Lot._meta.db_table} SET quantity = %s, shares_open = %s, "
    f"{', '.join(f'{kind} = %s' for kind in KINDS)} WHERE id = %s"
)


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
    stated = _stated_at([entry.place])
    wave = {lot for lot, role, seq in stated if seq == entry.seq or role == _MADE}
    wave.update(lot for (lot,) in _charged_by([entry.seq]))
    if entry.amends_id:  # what is picked of a part counts what was picked of the whole
        wave |= _parts_of(wave)
    while wave:
        changed = _work_wave(wave)
        wave = {lot for (lot,) in _made_at(changed)}


def _parts_of(lot_ids: set[int]) -> set[int]:
    """Find what was split off some lots, and off that; a query a generation."""
    found: set[int] = set()
    while lot_ids:
        parts = Lot.objects.filter(part_of__in=lot_ids).values_list("pk", flat=True)
        lot_ids = set(parts)
        found |= lot_ids
    return found


def _work_wave(lot_ids: set[int]) -> set[int]:
    """Work some lots from the facts, keep what differs, return the places of changed use."""
    story = read_story(lot_ids)
    inputs: dict[int, Cost] = defaultdict(lambda: ZERO)
    for place, *cost in _used_at(story.made_at):
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
            pool = _sum(used, charged) if charged else used
            given = shares_of(story, step.place, pool).get(lot_id, ZERO)
            falls = story.falls.get((lot_id, step.place))
            inflow[step.place] = _sum(given, falls) if falls else given
    earlier = story.earlier.get(lot_id, ())
    return work(story.steps[lot_id], inflow, story.born_at[lot_id], earlier=earlier)


def _sum(one: Cost, other: Cost) -> Cost:
    return tuple([a + b for a, b in zip(one, other, strict=True)])


def _keep_figures(lives: dict[int, Life]) -> None:
    """Write the figures on hand of the lots that differ."""
    for lot_id, quantity, shares_open, *cost in _figures_of(lives):
        life = lives[lot_id]
        if (life.quantity, life.shares_open, life.cost) != (quantity, shares_open, tuple(cost)):
            with connection.cursor() as cursor:
                cursor.execute(_KEEP, (life.quantity, life.shares_open, *life.cost, lot_id))


def figures(life: Life) -> dict[str, int | bool]:
    """Name a life's outcome as the columns of its lot."""
    return {
        "quantity": life.quantity,
        "shares_open": life.shares_open,
        **dict(zip(KINDS, life.cost, strict=True)),
    }


def _keep_flows(story: Story, lives: dict[int, Life]) -> set[int]:
    """Write the flows that differ; return the places whose used cost changed."""
    old = {row[1:4]: row for row in _flows_of(lives)}
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
        if bool(step.turn) != bool(step.pieces):
            wrong.append("pieces")
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
    edges = edges_at(place, _went_at([place]))
    if entry.amends_id:
        Edge.objects.filter(entry=place).delete()
    Edge.objects.bulk_create(edges)


def _renew_marks(entry: Entry) -> None:
    for lot_id in {lot for (lot,) in _marked_at([entry.place])}:
        Lot.objects.filter(pk=lot_id).update(held=is_held(lot_id))


def is_held(lot_id: int) -> bool:
    """Say whether the last standing mark puts the lot on hold."""
    mark = standing_marks(lot_id).first()
    return mark.held if mark else False


def standing_marks(lot_id: int) -> "QuerySet[Mark]":
    """A lot's marks that were not taken back, the last first."""
    taken_back = Entry.objects.filter(takes_back=True).values("place")
    return Mark.objects.filter(lot=lot_id).exclude(stands_at(taken_back)).order_by("-pk")


def held_since(lot_id: int, before: int | None = None) -> datetime | None:
    """Say since when a lot is on hold: the first hold that stands since the last release.

    What was born of a lot on hold is held since that one was. ``before``: as the book stood then.
    """
    marks = standing_marks(lot_id).select_related("entry")
    found: list[datetime] = []
    for mark in marks if before is None else marks.filter(entry__lt=before):
        if not mark.held:
            break
        if not mark.entry.lines.filter(role=_USED).exists():
            found.append(mark.entry.happened_at)
            continue
        sources = Edge.objects.filter(dst=lot_id).values_list("src_id", flat=True)
        since = [held_since(source, mark.entry_id) for source in set(sources)]
        found += [at for at in since if at]
    return min(found, default=None)
