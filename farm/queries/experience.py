"""What the farm's own records say of a strain: yields, losses, trim, fridge, what stayed unsold.

Ratios are sums over sums (all kilos / all blocks), never averages of ratios; the records by lot
beside them say how far single lots stray. Only lots that are finished count: blocks still on the
shelf are the slow ones.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from django.db.models import BigIntegerField, Case, F, Q, Sum, When
from django.db.models.functions import Coalesce

from farm.models import Grade, LotCard, SellingPlace, Species, Stage, Strain
from farm.models import SaleLine as SaleRow
from farm.queries.yields import block_counts
from ledger.models import Dimension, Entry, Flow, Line, Role

FLUSHES = 3
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

    grade: str
    left: int
    made: int
    shrunk: int
    lost: int
    missing: int


class BlockLot(NamedTuple):
    """A finished block lot: blocks started, lost before the first pick, mg given by flush."""

    started: int
    lost: int
    given_mg: dict[int, int]

    @property
    def fruited(self) -> int:
        return self.started - self.lost


@dataclass(frozen=True)
class Experience:
    """``flushes_mg``: per block fruited, rounded half to even; later flushes stand in the last."""

    blocks: int
    lots: int
    flushes_mg: tuple[int, ...]
    yields_kg: tuple[float, ...]
    loss: Share
    trim: Share
    fridge: Share
    unsold: Share

    @property
    def is_enough(self) -> bool:
        return self.blocks >= ENOUGH_BLOCKS


def experience_of(strain: Strain) -> Experience:
    """Read what the finished lots of a strain came to, in the same few queries however many."""
    lots = _block_lots(strain)
    fruited = sum(lot.fruited for lot in lots)
    given = [_sum_of_flush(lots, flush) for flush in range(1, FLUSHES + 1)]
    grown = [lot for lot in lots if lot.fruited]
    crop = _made(stage=Stage.CROP, strain=strain)
    packs = _made(stage=Stage.PACKS, product__species=strain.species, lot__quantity=0)
    return Experience(
        blocks=sum(lot.started for lot in lots),
        lots=len(lots),
        flushes_mg=tuple(round(mg / fruited) if fruited else 0 for mg in given),
        yields_kg=tuple(sum(lot.given_mg.values()) / 1e6 / lot.fruited for lot in grown),
        loss=_share((lot.lost, lot.started) for lot in lots),
        trim=_trim(crop),
        fridge=_fridge(crop),
        unsold=_unsold(packs),
    )


def weights_a_block_mg(species: Species, flush: int, most: int = 30) -> list[int]:
    """What a block gave in a flush, lot by lot, of the newest finished lots of a species.

    Lots that gave nothing in that flush are left out. Rounded down; four queries.
    """
    cards = LotCard.objects.filter(stage=Stage.BLOCKS, species=species, lot__quantity=0)
    lots = _worked(list(cards.order_by("-lot_id").values_list("lot_id", flat=True)[:most]))
    flush = min(flush, FLUSHES)
    given = [(lot.given_mg.get(flush, 0), lot.fruited) for lot in lots]
    return [mg // fruited for mg, fruited in given if mg and fruited]


def usual_day_mg(place: SellingPlace) -> tuple[int, int]:
    """Weight sold there on a day that sold something, rounded down, and the number of days."""
    mass_mg = Case(
        When(line__lot__item__dimension=Dimension.MASS, then=F("line__quantity")),
        default=F("line__quantity") * Coalesce(F("line__lot__unit_mass_mg"), 0),
        output_field=BigIntegerField(),
    )
    days = SaleRow.objects.filter(sale__place=place).values_list("line__entry__happened_on")
    sums = days.annotate(mg=Sum(mass_mg)).order_by()
    sold = [-mg for _, mg in sums if mg < 0]
    return (sum(sold) // len(sold) if sold else 0), len(sold)


def _block_lots(strain: Strain) -> list[BlockLot]:
    cards = LotCard.objects.filter(stage=Stage.BLOCKS, strain=strain, lot__quantity=0)
    return _worked(list(cards.values_list("lot_id", flat=True)))


def _worked(lots: list[int]) -> list[BlockLot]:
    given = _given(lots)
    flush_of = _flushes(place for picks in given.values() for place in picks)
    return [
        BlockLot(started, started - fruited, _by_flush(given.get(lot, {}), flush_of))
        for lot, (started, fruited) in block_counts(lots).items()
        if started > 0
    ]


def _given(lots: Iterable[int]) -> dict[int, dict[int, int]]:
    """Weight each lot gave, by the place of the pick, with its corrections added up."""
    lines = Line.objects.filter(lot__in=list(lots), role=Role.USED)
    sums = lines.values_list("lot_id", "entry__place").annotate(Sum("given_mg")).order_by()
    given: dict[int, dict[int, int]] = defaultdict(dict)
    for lot, place, mg in sums:
        if mg:
            given[lot][place] = mg
    return given


def _flushes(places: Iterable[int]) -> dict[int, int]:
    cards = LotCard.objects.filter(stage=Stage.CROP, lot__made_by__in=set(places))
    return {place: flush or 1 for place, flush in cards.values_list("lot__made_by_id", "flush")}


def flush_weights(lots: Iterable[int]) -> dict[int, list[tuple[int, date, int]]]:
    """Flush, day and weight of each pick that each lot gave to; three queries for all of them."""
    given = _given(lots)
    places = {place for picks in given.values() for place in picks}
    flush_of = _flushes(places)
    days = dict(Entry.objects.filter(pk__in=places).values_list("seq", "happened_on"))
    return {
        lot: [(flush_of.get(place, 1), days[place], mg) for place, mg in picks.items()]
        for lot, picks in given.items()
    }


def _by_flush(given: dict[int, int], flush_of: dict[int, int]) -> dict[int, int]:
    by_flush: dict[int, int] = defaultdict(int)
    for place, mg in given.items():
        by_flush[min(flush_of.get(place, 1), FLUSHES)] += mg
    return dict(by_flush)


def _sum_of_flush(lots: Iterable[BlockLot], flush: int) -> int:
    return sum(lot.given_mg.get(flush, 0) for lot in lots)


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


def _made(**facts: object) -> list[Made]:
    """Add up what happened to all lots of such cards, lot by lot; one query."""
    cards = LotCard.objects.filter(**facts)
    flows = Flow.objects.filter(lot__in=cards.values("lot_id"))
    sums = flows.values_list("lot_id", "lot__card__grade", "lot__quantity").annotate(
        made=_sum(role=Role.MADE),
        shrunk=_sum(role=Role.SHRUNK),
        lost=_sum(role=Role.LOST),
        missing=_sum(role=Role.LOST, entry__kind="weigh again"),
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
