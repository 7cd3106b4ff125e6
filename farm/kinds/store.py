"""What can happen to what is stored: weighed, dried, thrown away, packed, counted."""

from dataclasses import dataclass
from typing import Annotated

from farm.kinds.growing import FRUITING
from farm.kinds.kind import COUNTED, Kind, Step, Usual
from farm.kinds.particulars import Particulars, Said, Seen, Unit
from farm.kinds.starting import FromWorkbook
from farm.models.lots import Stage
from ledger.models import Role

PACK_AND_SELL = "Pack and sell"
NO_KILL_STEP = (
    "Drying is not a kill step: dried mushrooms are cooked before eating. Drying may need a "
    "licence: follow your local food code."
)
NO_AIRTIGHT = (
    "Never pack fresh mushrooms airtight without an approved process: the botulism poison can "
    "grow. Use open or perforated packs, kept cold. Follow your local food code and inspector."
)


@dataclass(frozen=True, kw_only=True)
class OfOldLots(Particulars):
    """Lots that were past their days when they went in, each with how many days."""

    past_days: Annotated[dict[str, int] | None, Said(unit=Unit.BY_LOT, seen=Seen.ALL)] = None


@dataclass(frozen=True, kw_only=True)
class Weighing(Particulars):
    """What the scale said, and what the book held before and might have lost as water."""

    book_mg: Annotated[int, Said("weight in the book before", Unit.MG, Seen.ALL)]
    weight_mg: Annotated[int, Said("weighs now", Unit.MG, Seen.ALL)]
    band_mg: Annotated[int, Said("water it may have lost", Unit.MG, Seen.ALL)]
    days: Annotated[int, Said("days since it was weighed", Unit.NUMBER, Seen.ALL)]


@dataclass(frozen=True, kw_only=True)
class Drying(OfOldLots):
    """What went in and came out, how warm and how long; how it was laid, where stated."""

    temperature_milli_c: Annotated[int, Said(unit=Unit.MILLI_C, seen=Seen.ALL, binder="at")]
    minutes_drying: Annotated[int, Said("drying time", Unit.MINUTES, Seen.ALL, binder="for")]
    slice_mm: Annotated[int | None, Said("slices", Unit.MM, Seen.ALL, binder="slices")] = None
    trays: Annotated[int | None, Said(unit=Unit.NUMBER, seen=Seen.ALL, binder="trays")] = None
    fresh_per_dried_ppm: Annotated[
        int, Said("fresh to dried", Unit.TO_ONE, Seen.ALL, binder="fresh to dried")
    ]
    dried_moisture_ppm: Annotated[int, Said(unit=Unit.PPM, seen=Seen.RECIPES)]
    fresh_mg: Annotated[int, Said(unit=Unit.MG, seen=Seen.ALL)]
    fresh_moisture_ppm: Annotated[int, Said(unit=Unit.PPM, seen=Seen.RECIPES)]


@dataclass(frozen=True, kw_only=True)
class Packing(OfOldLots):
    """What each pack declares, what was weighed in, and what was given away with it."""

    drawn_mg: Annotated[int, Said("weighed in", Unit.MG, Seen.ALL)]
    net_mg: Annotated[int, Said("declared on each", Unit.MG, Seen.ALL)]
    over_mg: Annotated[int, Said("over the declared weight", Unit.MG, Seen.ALL)]


@dataclass(frozen=True, kw_only=True)
class Weights(Particulars):
    """Packs on the scale, what they declare, and the water they will lose until sold."""

    declared_mg: Annotated[int, Said("declared on each", Unit.MG, Seen.ALL)]
    tare_mg: Annotated[int, Said("empty pack", Unit.MG, Seen.ALL)]
    gross_mg: Annotated[list[int], Said("packs with what is in them", Unit.MG, Seen.ALL)]
    rate_ppm: Annotated[int, Said("water that goes a day", Unit.PPM, Seen.ALL)]
    days: Annotated[int, Said("days until its last day of sale", Unit.NUMBER, Seen.ALL)]
    scale: Annotated[str, Said(seen=Seen.ALL)]


# What the balance of a drying says in its own words.
SAID_BY_BALANCE = ("fresh_mg", "fresh_moisture_ppm", "dried_moisture_ppm", "fresh_per_dried_ppm")

WEIGH_AGAIN = Kind(
    "weigh again",
    corrects=(
        Role.SHRUNK,
        Role.LOST,
    ),
    particulars=Weighing,
    words="Weigh again",
    done="Weighed again",
    group=FRUITING,
    stages=(Stage.CROP,),
    while_held=True,
    caused=True,
    seen=COUNTED,
)
DRY = Kind(
    "dry",
    corrects=(
        Role.USED,
        Role.MADE,
    ),
    particulars=Drying,
    words="Dry",
    done="Dried",
    group=FRUITING,
    stages=(Stage.CROP, Stage.PACKS),
    caution=NO_KILL_STEP,
    usual=Usual(15, 120),
)
THROW_AWAY = Kind(
    "throw away",
    corrects=(Role.LOST,),
    particulars=FromWorkbook,
    words="Throw away",
    done="Thrown away",
    group=FRUITING,
    stages=tuple(Stage),
    while_held=True,
    caused=True,
)
# Packing takes 20-40 s a punnet.
PACK = Kind(
    "pack",
    corrects=(
        Role.USED,
        Role.MADE,
    ),
    particulars=Packing,
    words="Pack",
    done="Packed",
    group=PACK_AND_SELL,
    stages=(Stage.CROP, Stage.DRIED),
    caution=NO_AIRTIGHT,
    usual=Usual(5, 30),
    made=Step("packing", "in_progress"),
)
CHECK_WEIGHTS = Kind(
    "check weights",
    particulars=Weights,
    words="Check weights of packs",
    done="Weighed",
    group=PACK_AND_SELL,
    stages=(Stage.PACKS,),
    while_held=True,
)
COUNT = Kind("count", corrects=(Role.LOST,), seen=COUNTED)

KINDS = (WEIGH_AGAIN, DRY, THROW_AWAY, PACK, CHECK_WEIGHTS, COUNT)
