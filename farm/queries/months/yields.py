"""What was picked, of which blocks, and how good that is: per block and per dry substrate."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from farm.models import RecipeLine, RecipeVersion, Species, Stage
from farm.moisture import Portion, biological_efficiency, mix
from farm.queries.cells import GRAM, handed_between
from farm.queries.movements import Given, Happened, Moved
from farm.weight import Weight
from ledger.amounts import largest_remainder
from ledger.models import Dimension, Edge, Flow, Role

COUNTED = (Role.MADE, Role.USED, Role.LOST)


@dataclass(frozen=True)
class Pick:
    """What one block lot gave into one picked lot; the parts of a picked lot add up to it."""

    day: date
    entry: int
    species: str
    block_pk: int
    block: str
    flush: int
    grade: str
    mass_mg: int
    cost: int


@dataclass(frozen=True)
class BlockYield:
    """A block lot that was picked in the month, with all it gave to the month's end.

    ``started``: blocks made, less those split off. ``fruited``: less those lost before the first
    pick. ``efficiency_ppm``: all fresh weight / bone-dry substrate of the blocks started.
    """

    pk: int
    code: str
    strain: str
    species: str
    started: int
    fruited: int
    picked_mg: int
    dry_mg: int
    provisional: bool
    recipe: str

    @property
    def efficiency_ppm(self) -> int | None:
        """100 blocks of 897 g dry matter each that gave 56.7 kg: 63.2 %."""
        return efficiency_ppm(self.picked_mg, self.dry_mg * self.started)


def efficiency_ppm(fresh_mg: int, dry_mg: int) -> int | None:
    """Fresh weight over dry substrate, spawn left out; None where the recipe is not known."""
    return biological_efficiency(fresh_mg, Portion(dry_mg)).rate_ppm if dry_mg else None


def picks_among(
    moved: Iterable[Moved],
    given: Iterable[Given],
    species: Species | None = None,
    *,
    money_step: int = 1,
) -> tuple[Pick, ...]:
    """List what was picked (of a species) among what moved, by what blocks gave into it.

    ``money_step``: what the parts of its cost are multiples of: whole cents, once handed out.
    """
    made = {
        one.lot: one
        for one in moved
        if one.role == Role.MADE
        and one.stage == Stage.CROP
        and (species is None or one.species_pk == species.pk)
    }
    by_lot = _by_pick(given)
    return tuple(
        pick
        for lot, one in made.items()
        if lot in by_lot
        for pick in _shared(one, by_lot[lot], money_step)
    )


def _by_pick(given: Iterable[Given]) -> dict[int, list[Given]]:
    """What block lots gave, by the lot that was picked of them."""
    by_lot: dict[int, list[Given]] = defaultdict(list)
    for one in given:
        if one.src_stage == Stage.BLOCKS and one.dst_stage == Stage.CROP:
            by_lot[one.dst].append(one)
    return by_lot


def _shared(made: Moved, given: Sequence[Given], money_step: int) -> list[Pick]:
    """Share a picked lot over the block lots by what each gave, by largest remainder."""
    weights = [one.quantity for one in given]
    masses = _masses(made.mass_mg or 0, weights)
    costs = _in_steps(made.money, weights, money_step)
    return [
        Pick(
            day=made.day,
            entry=made.entry,
            species=made.species or "",
            block_pk=one.src,
            block=one.src_code,
            flush=made.flush or 0,
            grade=made.grade,
            mass_mg=mass_mg,
            cost=cost,
        )
        for one, mass_mg, cost in zip(given, masses, costs, strict=True)
    ]


def _masses(whole_mg: int, weights: Sequence[int]) -> list[int]:
    """Share a weight in grams; what was handed out of it in pounds too, in their hundredths."""
    masses = _in_steps(whole_mg, weights, GRAM)
    if not isinstance(whole_mg, Weight):
        return masses
    pounds = largest_remainder(whole_mg.hundredths, weights)
    return [Weight(mg, hundredths) for mg, hundredths in zip(masses, pounds, strict=True)]


def _in_steps(whole: int, weights: Sequence[int], step: int) -> list[int]:
    """Share a whole in steps; what it has beyond them goes to the first part.

    1,001 g and 5 mg of two blocks that gave the same: 501 g and 5 mg, and 500 g.
    """
    steps, beyond = divmod(whole, step)
    first, *others = (part * step for part in largest_remainder(steps, weights))
    return [first + beyond, *others]


def block_yields(picks: Iterable[Pick], handed: Happened, until: date) -> tuple[BlockYield, ...]:
    """Say how the picked block lots did up to a day; four queries, two where months are at hand.

    ``handed``: whole months as handed out, with all that blocks ever gave. What was picked so far
    is what each month handed out of it, also of months before these.
    """
    given = handed.given
    pks = {pick.block_pk for pick in picks}
    by_lot = {dst: rows for dst, rows in _by_pick(given).items() if pks & {r.src for r in rows}}
    flows = Flow.objects.filter(lot__in=pks | by_lot.keys(), role__in=COUNTED).select_related(
        "entry", "lot__card__strain", "lot__card__species", "lot__card__recipe__recipe"
    )
    lots = {flow.lot_id: flow.lot for flow in flows if flow.lot_id in pks}
    days = [flow.entry.happened_on for flow in flows if flow.lot_id in by_lot]
    picked = _picked_of(pks, handed, [day for day in days if day <= until])
    counts = _counted(
        pks,
        [(one.src, one.entry) for rows in by_lot.values() for one in rows],
        [(one.lot_id, one.entry_id, one.role, one.quantity) for one in flows if one.lot_id in pks],
    )
    dry = dry_mg_of(lot.card.recipe for lot in lots.values())
    return tuple(
        BlockYield(
            pk=lot.pk,
            code=lot.code,
            strain=lot.card.strain.name if lot.card.strain else "",
            species=lot.card.species.name if lot.card.species else "",
            started=counts[lot.pk][0],
            fruited=counts[lot.pk][1],
            picked_mg=picked[lot.pk],
            dry_mg=dry.get(lot.card.recipe_id or 0, 0),
            provisional=lot.shares_open,
            recipe=str(lot.card.recipe or ""),
        )
        for lot in sorted(lots.values(), key=lambda lot: (lot.made_by_id, lot.pk))
    )


def _picked_of(blocks: Iterable[int], handed: Happened, days: Sequence[date]) -> dict[int, int]:
    """Add up what block lots gave on some days, as their months handed it out.

    Two queries, unless all these days are among what is at hand.
    """
    picked = dict.fromkeys(blocks, 0)
    if days:
        until, moved = max(days), handed.moved
        if not moved or moved[0].day > min(days):
            moved = handed_between(min(days), until)
        for pick in picks_among((one for one in moved if one.day <= until), handed.given):
            if pick.block_pk in picked:
                picked[pick.block_pk] += pick.mass_mg
    return picked


def block_counts(lots: Iterable[int]) -> dict[int, tuple[int, int]]:
    """Count the blocks started and the blocks fruited of some lots; two queries.

    Started: made, less those that went on as a lot of their own. Fruited: less those lost before
    the first pick.
    """
    wanted = list(lots)
    edges = Edge.objects.filter(src__in=wanted, dst__card__stage=Stage.CROP)
    flows = Flow.objects.filter(lot__in=wanted, role__in=COUNTED)
    numbers = flows.values_list("lot_id", "entry_id", "role", "quantity")
    return _counted(wanted, edges.values_list("src_id", "entry_id"), numbers)


def _counted(
    lots: Iterable[int],
    picks: Iterable[tuple[int, int]],
    flows: Iterable[tuple[int, int, str, int]],
) -> dict[int, tuple[int, int]]:
    """Count lots from their picks (lot, entry) and flows (lot, entry, role, quantity)."""
    first_pick: dict[int, int] = {}
    for lot, entry in picks:
        first_pick[lot] = min(entry, first_pick.get(lot, entry))
    started = dict.fromkeys(lots, 0)
    lost = dict(started)
    for lot, entry, role, quantity in flows:
        if role != Role.LOST:
            started[lot] += quantity
        elif entry < first_pick.get(lot, entry + 1):
            lost[lot] -= quantity
    return {lot: (all_of, all_of - lost[lot]) for lot, all_of in started.items()}


def dry_mg_of(recipes: Iterable[RecipeVersion | None]) -> dict[int, int]:
    """Bone-dry matter of one block by recipe; one query."""
    portions: dict[int, list[Portion]] = defaultdict(list)
    lines = RecipeLine.objects.filter(
        version__in={recipe for recipe in recipes if recipe}, supply__item__dimension=Dimension.MASS
    ).select_related("supply")
    for line in lines:
        portions[line.version_id].append(Portion(line.quantity, line.supply.moisture_ppm))
    return {version: mix(parts, 0).dry_mg for version, parts in portions.items()}
