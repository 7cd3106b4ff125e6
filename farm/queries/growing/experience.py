"""What the farm's own records say of a strain: yields, losses, trim, fridge, what stayed unsold.

Ratios are sums over sums (all kilos / all blocks), never averages of ratios; the records by lot
beside them say how far single lots stray. Only lots that are finished count: blocks still on the
shelf are the slow ones.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import NamedTuple

from django.db.models import (
    BigIntegerField,
    Case,
    F,
    Max,
    Q,
    Sum,
    When,
)
from django.db.models.functions import Coalesce

from farm.kinds.store import WEIGH_AGAIN
from farm.models import Grade, LotCard, Sale, Species, Stage, Strain
from farm.planning.grown import Grown
from farm.queries.growing.block_lots import FLUSHES, BlockLot, block_lots
from ledger.models import Dimension, Flow, Role, taken_back

ENOUGH_BLOCKS = 20


@dataclass(frozen=True)
class Share:
    """A part of a whole, in the same unit, and the same by lot."""

    part: int
    whole: int
    by_lot: tuple[float, ...] = ()

    @property
    def ppm(self) -> int:
        """Parts per million, rounded half to even; of nothing, none."""
        return round(self.part * 1_000_000 / self.whole) if self.whole else 0


class Made(NamedTuple):
    """A crop or pack lot: what is left of it, and the sum of its flows by what moved them.

    ``missing``: what of ``lost`` was found at a weighing.
    """

    stage: int
    grade: str
    left: int
    made: int
    shrunk: int
    lost: int
    missing: int


@dataclass(frozen=True)
class Experience:
    """``flushes_mg``: per block fruited, rounded half to even; later flushes stand in the last.

    ``grown``: the finished block lots it is read from, oldest first. ``batches``: the same by
    batch, what checks split off it together, once all of it is finished.
    """

    grown: tuple[BlockLot, ...]
    batches: tuple[Grown, ...]
    blocks: int
    lots: int
    flushes_mg: tuple[int, ...]
    loss: Share
    trim: Share
    fridge: Share
    unsold: Share

    @property
    def is_enough(self) -> bool:
        return self.blocks >= ENOUGH_BLOCKS

    @property
    def wait_days(self) -> tuple[int, int] | None:
        """Days from the last pick of a first flush to that of the second, and of how many lots."""
        return _usual_days((lot.day_of(1), lot.day_of(2)) for lot in self.grown)

    @property
    def stand_days(self) -> tuple[int, int] | None:
        """Days from the move to fruiting to the first pick, and of how many lots."""
        return _usual_days((lot.moved_on, lot.first_pick_on) for lot in self.grown)


def experience_of(strain: Strain) -> Experience:
    """Read what the finished lots of a strain came to, in two queries however many."""
    cards = LotCard.objects.filter(stage=Stage.BLOCKS, strain=strain)
    every = block_lots(cards.values("lot"))
    found = {pk: lot for pk, lot in every.items() if not lot.left}
    lots = tuple(lot for lot in found.values() if lot.started > 0)
    fruited = sum(lot.fruited for lot in lots)
    given = [sum(lot.given_mg(flush) for lot in lots) for flush in range(1, FLUSHES + 1)]
    made = _made(strain)
    crop = [lot for lot in made if lot.stage == Stage.CROP]
    return Experience(
        grown=lots,
        batches=_batches(found),
        blocks=sum(lot.started for lot in lots),
        lots=len(lots),
        flushes_mg=tuple(round(mg / fruited) if fruited else 0 for mg in given),
        loss=_share((lot.lost, lot.started) for lot in lots),
        trim=_trim(crop),
        fridge=_fridge(crop),
        unsold=_unsold([lot for lot in made if lot.stage == Stage.PACKS]),
    )


def weights_a_block_mg(
    species: Species, flush: int, most: int = 30, *, besides: Collection[int] = ()
) -> list[int]:
    """What a block gave in a flush, lot by lot, of the newest finished lots of a species.

    Lots ``besides``, and those that gave nothing in that flush, are left out. Rounded down; two
    queries.
    """
    cards = LotCard.objects.filter(stage=Stage.BLOCKS, species=species, lot__quantity=0)
    cards = cards.exclude(lot__in=besides)
    lots = block_lots(list(cards.order_by("-lot_id").values_list("lot_id", flat=True)[:most]))
    given = [(lot.given_mg(min(flush, FLUSHES)), lot.fruited) for lot in lots.values()]
    return [mg // fruited for mg, fruited in given if mg and fruited]


def usual_days_mg() -> dict[int, tuple[int, int]]:
    """By selling place: weight sold on a day, rounded down, and the days.

    A market day on which nothing was sold is one of them: it had its fee and its hours. One query;
    a place that never sold anything has none.
    """
    mass_mg = Case(
        When(lines__line__lot__item__dimension=Dimension.MASS, then=F("lines__line__quantity")),
        default=F("lines__line__quantity") * Coalesce(F("lines__line__lot__unit_mass_mg"), 0),
        output_field=BigIntegerField(),
    )
    undone = taken_back("entry")
    sales = Sale.objects.exclude(undone).values_list("place", "entry__happened_on")
    sums = sales.annotate(mg=Sum(mass_mg, default=0), is_stall=Max("stall_day")).order_by()
    days: dict[int, list[int]] = defaultdict(list)
    for place, _, mg, stall in sums:
        if mg < 0 or stall:
            days[place].append(max(-mg, 0))
    return {place: (sum(each) // len(each), len(each)) for place, each in days.items() if any(each)}


def _batches(lots: Mapping[int, BlockLot]) -> tuple[Grown, ...]:
    """Put together what was inoculated together, once no block of it is left."""
    found = []
    for lot in lots.values():
        if lot.is_part:
            continue
        family, near = [lot], list(lot.parts)
        while near:
            family += [lots[pk] for pk in near if pk in lots]
            if not all(pk in lots for pk in near):
                break
            near = [part for pk in near for part in lots[pk].parts]
        else:
            found.append(_grown(family))
    return tuple(one for one in found if one.started > 0)


def _grown(family: Sequence[BlockLot]) -> Grown:
    started, lost = sum(lot.started for lot in family), sum(lot.lost for lot in family)
    picks = [pick for lot in family for pick in lot.picks]
    picked_mg, fruited = sum(pick.mass_mg for pick in picks), started - lost
    trim_mg = sum(pick.trim_mg for pick in picks)
    return Grown(
        started=started,
        fruited=fruited,
        loss=lost / started if started else 0.0,
        kilos=picked_mg / 1e6 / fruited if fruited else 0.0,
        trim=trim_mg / picked_mg if picked_mg else 0.0,
    )


def _usual_days(spans: Iterable[tuple[date | None, date | None]]) -> tuple[int, int] | None:
    """The mean of some spans in whole days, one at least, and how many there were."""
    days = [(last - first).days for first, last in spans if first and last and last >= first]
    return (max(round(Fraction(sum(days), len(days))), 1), len(days)) if days else None


def _trim(crop: Sequence[Made]) -> Share:
    trim = sum(lot.made for lot in crop if lot.grade == Grade.TRIM)
    return Share(trim, sum(lot.made for lot in crop))


def _fridge(crop: Sequence[Made]) -> Share:
    """Water and what was missing at a weighing, of crop lots that are gone."""
    gone = [lot for lot in crop if not lot.left and lot.grade != Grade.TRIM]
    return _share((-lot.shrunk - lot.missing, lot.made) for lot in gone)


def _unsold(packs: Sequence[Made]) -> Share:
    """Packs that were binned, of packs that are gone."""
    return _share((-lot.lost, lot.made) for lot in packs)


def _made(strain: Strain) -> list[Made]:
    """Add up what happened to each lot picked of a strain, and to packs of its species that are
    gone; one query.
    """
    packs = Q(stage=Stage.PACKS, product__species=strain.species_id, lot__quantity=0)
    cards = LotCard.objects.filter(Q(stage=Stage.CROP, strain=strain) | packs)
    flows = Flow.objects.filter(lot__in=cards.values("lot"))
    lots = flows.values_list("lot_id", "lot__card__stage", "lot__card__grade", "lot__quantity")
    sums = lots.annotate(
        made=_sum(role=Role.MADE),
        shrunk=_sum(role=Role.SHRUNK),
        lost=_sum(role=Role.LOST),
        missing=_sum(role=Role.LOST, entry__kind=WEIGH_AGAIN),
    )
    return [Made(*row[1:]) for row in sums.order_by("lot_id")]


def _sum(**flows: str) -> Sum:
    return Sum("quantity", filter=Q(**flows), default=0)


def _share(pairs: Iterable[tuple[int, int]]) -> Share:
    known = [(part, whole) for part, whole in pairs if whole > 0]
    return Share(
        sum(part for part, _ in known),
        sum(whole for _, whole in known),
        tuple(part / whole for part, whole in known),
    )
