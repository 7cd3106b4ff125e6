"""What can happen while growing: supplies, cultures, grain, blocks, checks, picks."""

from dataclasses import dataclass
from typing import Annotated

from farm.kinds.kind import Kind, Step, Usual
from farm.kinds.particulars import Particulars, Said, Seen, Unit
from farm.models.lots import Stage
from ledger.models import Role

SUPPLIES_AND_GRAIN, BLOCKS, FRUITING = "Supplies and grain", "Blocks", "Fruiting and fridge"
PRESSURE = (
    "A pressure vessel can burst and scald. Never run it above the maker's plate; keep the vent "
    "clear and the inspection in date. Follow your local code and licensed practice."
)
FLAME = (
    "Alcohol and flame: let alcohol dry first, keep the flame away from spray and fan, have an "
    "extinguisher at hand. Follow your local fire code."
)
SPORES = (
    "Spores and moulds harm lungs: open green bags outdoors, never in the grow room, and wear a "
    "mask. This is not medical advice; ask a doctor about symptoms, and follow your local code."
)
IN_PROGRESS = "in_progress"


@dataclass(frozen=True, kw_only=True)
class Delivery(Particulars):
    """What was paid with its tax, where a tax was stated."""

    paid_money: Annotated[int | None, Said("paid, with tax", Unit.MONEY, Seen.SALES)] = None
    purchase_tax_money: Annotated[
        int | None, Said("purchase tax in it", Unit.MONEY, Seen.SALES)
    ] = None
    purchase_tax_reclaimed: Annotated[
        bool | None, Said("purchase tax reclaimed", Unit.YES_NO, Seen.ALL)
    ] = None


@dataclass(frozen=True, kw_only=True)
class Filling(Particulars):
    """The recipe, the water poured in, and the moisture of the mix on both bases."""

    recipe: Annotated[str, Said(seen=Seen.RECIPES)]
    water_mg: Annotated[int, Said("water added", Unit.MG, Seen.RECIPES)]
    added_water_ppm: Annotated[
        int, Said("added water, of the filled weight", Unit.PPM, Seen.RECIPES)
    ]
    moisture_wet_basis_ppm: Annotated[
        int, Said("moisture, wet basis (water of the whole)", Unit.PPM, Seen.RECIPES)
    ]
    moisture_dry_basis_ppm: Annotated[
        int, Said("moisture, dry basis (water on dry matter)", Unit.PPM, Seen.RECIPES)
    ]


@dataclass(frozen=True, kw_only=True)
class Run(Particulars):
    """What the steriliser read, and for how long; the gauge or the temperature may be unread."""

    steriliser: Annotated[str, Said(seen=Seen.ALL, binder="")]
    gauge_pa: Annotated[int | None, Said("pressure, gauge", Unit.PA, Seen.ALL, binder="gauge")]
    temperature_milli_c: Annotated[int | None, Said(unit=Unit.MILLI_C, seen=Seen.ALL, binder="at")]
    minutes_at_temperature: Annotated[
        int, Said("time at temperature", Unit.MINUTES, Seen.ALL, binder="for")
    ]


@dataclass(frozen=True, kw_only=True)
class SpawnRates(Particulars):
    """The spawn of a block, and its rate on the four bases."""

    of_wet_substrate_ppm: Annotated[
        int, Said("spawn, of the wet substrate", Unit.PPM, Seen.RECIPES)
    ]
    of_finished_bag_ppm: Annotated[int, Said("spawn, of the finished block", Unit.PPM, Seen.ALL)]
    of_dry_substrate_ppm: Annotated[
        int, Said("spawn, of the dry substrate", Unit.PPM, Seen.RECIPES)
    ]
    dry_of_dry_ppm: Annotated[int, Said("dry spawn, of the dry substrate", Unit.PPM, Seen.ALL)]
    spawn_mg_per_block: Annotated[int, Said("spawn in each block", Unit.MG, Seen.ALL)]


@dataclass(frozen=True, kw_only=True)
class Checked(Particulars):
    """How many were looked at and lost, and how far they are grown through."""

    checked: Annotated[int, Said("looked at", Unit.NUMBER, Seen.ALL, binder="looked at")]
    colonised_percent: Annotated[int, Said("grown through", Unit.PERCENT, Seen.ALL)]
    lost: Annotated[int, Said(unit=Unit.NUMBER, seen=Seen.ALL, binder="lost")]


@dataclass(frozen=True, kw_only=True)
class Picked(Particulars):
    """Of which flush it was picked."""

    flush: Annotated[int, Said(unit=Unit.NUMBER, seen=Seen.ALL, binder="flush")]


@dataclass(frozen=True, kw_only=True)
class KeptSpent(Particulars):
    """What the kept blocks and a kilo of the crop are worth."""

    worth_money: Annotated[int, Said("what the blocks are worth", Unit.MONEY, Seen.SALES)]
    crop_kg_money: Annotated[int, Said("price of the crop, a kilo", Unit.MONEY, Seen.SALES)]


# Usual times: mixing and filling 3-6 min a block, steriliser 30-60 min a run, inoculating 1-3 min
# a block, moving 1 min a block, picking 3-6 min a kg of clusters.
RECEIVE_SUPPLIES = Kind(
    "receive supplies",
    corrects=(Role.BOUGHT,),
    particulars=Delivery,
    words="Receive supplies",
    done="Received",
    group=SUPPLIES_AND_GRAIN,
)
TOP_UP = Kind(
    "top up",
    corrects=(
        Role.USED,
        Role.MADE,
    ),
    words="Top up a bin",
    done="Bin topped up",
    group=SUPPLIES_AND_GRAIN,
    stages=(Stage.SUPPLY,),
)
BUY_CULTURE = Kind(
    "buy culture",
    corrects=(Role.BOUGHT,),
    particulars=Delivery,
    words="Buy a culture",
    done="Culture bought",
    group=SUPPLIES_AND_GRAIN,
)
TRANSFER_CULTURE = Kind(
    "transfer culture",
    corrects=(
        Role.USED,
        Role.MADE,
    ),
    words="Transfer a culture",
    done="Culture transferred",
    group=SUPPLIES_AND_GRAIN,
    stages=(Stage.CULTURE,),
    caution=FLAME,
    usual=Usual(10, 60),
)
CLONE_CULTURE = Kind(
    "clone culture",
    corrects=(
        Role.USED,
        Role.MADE,
    ),
    words="Clone from a pick",
    done="Culture cloned",
    group=SUPPLIES_AND_GRAIN,
    stages=(Stage.CROP,),
    caution=FLAME,
    usual=Usual(15, 60),
)
PREPARE_GRAIN = Kind(
    "prepare grain",
    corrects=(
        Role.USED,
        Role.MADE,
    ),
    particulars=Filling,
    words="Prepare grain",
    done="Grain prepared",
    group=SUPPLIES_AND_GRAIN,
    then="a steriliser run",
    usual=Usual(20, 180),
)
STERILISER_RUN = Kind(
    "steriliser run",
    particulars=Run,
    words="Steriliser run",
    done="Sterilised",
    group=SUPPLIES_AND_GRAIN,
    stages=(Stage.GRAIN, Stage.BAGS),
    caution=PRESSURE,
    then="inoculate, once it has cooled",
    usual=Usual(45, 0),
    seen=Step("sensor_reporting", IN_PROGRESS),
)
INOCULATE_GRAIN = Kind(
    "inoculate grain",
    corrects=(
        Role.USED,
        Role.MADE,
    ),
    words="Inoculate grain",
    done="Grain inoculated",
    group=SUPPLIES_AND_GRAIN,
    stages=(Stage.GRAIN,),
    caution=FLAME,
    usual=Usual(15, 60),
    then="write the code on the tape, and check how it grows",
)
FILL_BLOCKS = Kind(
    "fill blocks",
    corrects=(
        Role.USED,
        Role.MADE,
    ),
    particulars=Filling,
    words="Fill blocks",
    done="Bags filled",
    group=BLOCKS,
    then="a steriliser run",
    usual=Usual(15, 240),
)
INOCULATE_BLOCKS = Kind(
    "inoculate blocks",
    corrects=(
        Role.USED,
        Role.MADE,
    ),
    particulars=SpawnRates,
    words="Inoculate blocks",
    done="Blocks inoculated",
    group=BLOCKS,
    stages=(Stage.BAGS,),
    caution=FLAME,
    usual=Usual(15, 120),
    then="write the code on the tape, and check how they grow",
)
CHECK = Kind(
    "check",
    corrects=(
        Role.LOST,
        Role.USED,
        Role.MADE,
    ),
    particulars=Checked,
    words="Check, break and shake",
    done="Checked",
    group=BLOCKS,
    stages=(Stage.SPAWN, Stage.BLOCKS),
    caution=SPORES,
    while_held=True,
    usual=Usual(5, 10),
    seen=Step("inspecting", IN_PROGRESS),
)
MOVE_TO_FRUITING = Kind(
    "move to fruiting",
    words="Move to fruiting",
    done="Moved to fruiting",
    group=BLOCKS,
    stages=(Stage.BLOCKS,),
    while_held=True,
    then="pick",
    usual=Usual(5, 60),
    seen=Step("storing", IN_PROGRESS),
)
MOVE = Kind(
    "move",
    words="Move to another shelf",
    done="Moved",
    group=BLOCKS,
    stages=tuple(Stage),
    while_held=True,
    seen=Step("storing"),
)
PICK = Kind(
    "pick",
    corrects=(
        Role.USED,
        Role.MADE,
    ),
    particulars=Picked,
    words="Pick",
    done="Picked",
    group=FRUITING,
    stages=(Stage.BLOCKS,),
    while_held=True,
    usual=Usual(5, 270),
)
KEEP_SPENT_BLOCKS = Kind(
    "keep spent blocks",
    corrects=(
        Role.USED,
        Role.MADE,
    ),
    particulars=KeptSpent,
    words="Keep spent blocks",
    done="Kept",
    group=FRUITING,
    stages=(Stage.BLOCKS,),
    caution=SPORES,
)
SPENT = Kind(
    "spent",
    corrects=(Role.LOST,),
    words="Blocks are spent",
    done="Spent",
    called="blocks are spent",
    group=FRUITING,
    stages=(Stage.BLOCKS,),
    while_held=True,
)

KINDS = (
    RECEIVE_SUPPLIES, TOP_UP, BUY_CULTURE, TRANSFER_CULTURE, CLONE_CULTURE, PREPARE_GRAIN,
    STERILISER_RUN, INOCULATE_GRAIN, FILL_BLOCKS, INOCULATE_BLOCKS, CHECK, MOVE_TO_FRUITING, MOVE,
    PICK, KEEP_SPENT_BLOCKS, SPENT,
)  # fmt: skip
