"""What was picked, of which blocks, and how good that is: per block and per dry substrate."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from farm.models import LotCard, RecipeLine, RecipeVersion, Species, Stage
from farm.moisture import Portion, biological_efficiency, mix
from ledger.amounts import largest_remainder
from ledger.models import Dimension, Edge, Flow, Role


@dataclass(frozen=True)
class Pick:
    """What one block lot gave into one picked lot; the parts of a picked lot add up to it."""

    day: date
    entry: int
    species: str
    block_pk: int
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


def picks_of(
    first: date,
    last: date,
    *,
    blocks: Collection[int] | None = None,
    species: Species | None = None,
) -> tuple[Pick, ...]:
    """List what was picked in some days (of some block lots, of a species); two queries."""
    flows = Flow.objects.filter(
        role=Role.MADE, lot__card__stage=Stage.CROP, entry__happened_on__range=(first, last)
    ).select_related("lot__card__species", "entry")
    if blocks is not None:
        flows = flows.filter(lot__in=Edge.objects.filter(src__in=blocks).values("dst"))
    if species is not None:
        flows = flows.filter(lot__card__species=species)
    made = {flow.lot_id: flow for flow in flows.order_by("entry_id", "pk")}
    given: dict[int, list[tuple[int, int]]] = defaultdict(list)
    # The stage is looked at here: asked of the database, SQLite starts from all block lots and
    # looks up every pick for each, which grows with their product.
    edges = Edge.objects.filter(dst__in=made).order_by("pk")
    found = edges.values_list("dst_id", "src_id", "quantity", "src__card__stage")
    for dst, src, quantity, stage in found:
        if stage == Stage.BLOCKS:
            given[dst].append((src, quantity))
    return tuple(
        pick
        for lot, flow in made.items()
        if given[lot]
        for pick in _shared(flow, given[lot])
        if blocks is None or pick.block_pk in blocks
    )


def _shared(flow: Flow, given: Sequence[tuple[int, int]]) -> list[Pick]:
    """Share a picked lot over the block lots by what each gave, by largest remainder."""
    weights = [quantity for _, quantity in given]
    masses = largest_remainder(flow.quantity, weights)
    costs = largest_remainder(sum(flow.cost), weights)
    card = flow.lot.card
    return [
        Pick(
            day=flow.entry.happened_on,
            entry=flow.entry_id,
            species=card.species.name if card.species else "",
            block_pk=block,
            flush=card.flush or 0,
            grade=card.grade,
            mass_mg=mass_mg,
            cost=cost,
        )
        for (block, _), mass_mg, cost in zip(given, masses, costs, strict=True)
    ]


def block_yields(picks: Iterable[Pick], until: date) -> tuple[BlockYield, ...]:
    """Say how the picked block lots did up to a day; six queries."""
    lots = {pick.block_pk for pick in picks}
    picked: dict[int, int] = defaultdict(int)
    for pick in picks_of(date.min, until, blocks=lots):
        picked[pick.block_pk] += pick.mass_mg
    counts = block_counts(lots)
    cards = LotCard.objects.filter(lot__in=lots).select_related(
        "lot", "strain__species", "species", "recipe__recipe"
    ).order_by("lot__made_by_id", "pk")  # fmt: skip
    dry = _dry_mg({card.recipe for card in cards if card.recipe})
    return tuple(
        BlockYield(
            pk=card.pk,
            code=card.lot.code,
            strain=card.strain.name if card.strain else "",
            species=card.species.name if card.species else "",
            started=counts[card.pk][0],
            fruited=counts[card.pk][1],
            picked_mg=picked[card.pk],
            dry_mg=dry.get(card.recipe_id or 0, 0),
            provisional=card.lot.shares_open,
            recipe=str(card.recipe or ""),
        )
        for card in cards
    )


def block_counts(lots: Iterable[int]) -> dict[int, tuple[int, int]]:
    """Count the blocks started and the blocks fruited of some lots; two queries.

    Started: made, less those that went on as a lot of their own. Fruited: less those lost before
    the first pick.
    """
    wanted = list(lots)
    first_pick: dict[int, int] = {}
    edges = Edge.objects.filter(src__in=wanted, dst__card__stage=Stage.CROP)
    for src, entry in edges.order_by("-entry_id").values_list("src_id", "entry_id"):
        first_pick[src] = entry
    started: dict[int, int] = dict.fromkeys(wanted, 0)
    lost: dict[int, int] = dict.fromkeys(wanted, 0)
    flows = Flow.objects.filter(lot__in=wanted, role__in=(Role.MADE, Role.USED, Role.LOST))
    for lot, entry, role, quantity in flows.values_list("lot_id", "entry_id", "role", "quantity"):
        if role != Role.LOST:
            started[lot] += quantity
        elif entry < first_pick.get(lot, entry + 1):
            lost[lot] -= quantity
    return {lot: (started[lot], started[lot] - lost[lot]) for lot in wanted}


def _dry_mg(recipes: Iterable[RecipeVersion]) -> dict[int, int]:
    """Bone-dry matter of one block by recipe; one query."""
    portions: dict[int, list[Portion]] = defaultdict(list)
    lines = RecipeLine.objects.filter(
        version__in=list(recipes), supply__item__dimension=Dimension.MASS
    ).select_related("supply")
    for line in lines:
        portions[line.version_id].append(Portion(line.quantity, line.supply.moisture_ppm))
    return {version: mix(parts, 0).dry_mg for version, parts in portions.items()}
