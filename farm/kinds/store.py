"""What can happen to what is stored: weighed, dried, thrown away, packed, counted."""

from farm.kinds.growing import FRUITING
from farm.kinds.kind import COUNTED, Kind, Step, Usual
from farm.models.lots import Stage

PACK_AND_SELL = "Pack and sell"
NO_KILL_STEP = (
    "Drying is not a kill step: dried mushrooms are cooked before eating. Drying may need a "
    "licence: follow your local food code."
)
NO_AIRTIGHT = (
    "Never pack fresh mushrooms airtight without an approved process: the botulism poison can "
    "grow. Use open or perforated packs, kept cold. Follow your local food code and inspector."
)

WEIGH_AGAIN = Kind(
    "weigh again", words="Weigh again", done="Weighed again", group=FRUITING,
    stages=(Stage.CROP,), while_held=True, caused=True, seen=COUNTED,
)  # fmt: skip
DRY = Kind(
    "dry", words="Dry", done="Dried", group=FRUITING, stages=(Stage.CROP, Stage.PACKS),
    caution=NO_KILL_STEP, usual=Usual(15, 120),
)  # fmt: skip
THROW_AWAY = Kind(
    "throw away", words="Throw away", done="Thrown away", group=FRUITING, stages=tuple(Stage),
    while_held=True, caused=True,
)  # fmt: skip
# Packing takes 20-40 s a punnet.
PACK = Kind(
    "pack", words="Pack", done="Packed", group=PACK_AND_SELL, stages=(Stage.CROP, Stage.DRIED),
    caution=NO_AIRTIGHT, usual=Usual(5, 30), made=Step("packing", "in_progress"),
)  # fmt: skip
CHECK_WEIGHTS = Kind(
    "check weights", words="Check weights of packs", done="Weighed", group=PACK_AND_SELL,
    stages=(Stage.PACKS,), while_held=True,
)  # fmt: skip
COUNT = Kind("count", seen=COUNTED)

KINDS = (WEIGH_AGAIN, DRY, THROW_AWAY, PACK, CHECK_WEIGHTS, COUNT)
