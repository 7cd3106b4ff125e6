"""Starting beliefs: what a new farm may plan with until its own records say better.

Plain data, each with where it comes from. "Common practice, no source" is what growers tell each
other; "from memory" was not looked up. None is a rule: every figure is a row that the farm edits,
and an action copies what it uses onto its entry.
"""

from fractions import Fraction
from typing import NamedTuple

PRACTICE = "common practice, no source"
# Whether a flush was weighed as it came off the block or as it could be sold.
PICKED, SALEABLE = "picked", "saleable"
# Of what is picked, 5 to 15 % is trimmed off: common practice, no source.
TRIM_PPM = 80_000


class Planned(NamedTuple):
    """A species with one line of it: the figures of `Species` and `Strain`, in their units.

    ``flushes_mg``: per block of 2.27 kg, in the order of flushes, weighed as ``flushes_are`` says.
    """

    species: str
    latin: str
    moisture_ppm: int
    fridge_days: int
    water_loss_ppm: int
    spawn_run_days: int
    first_pick_days: int
    flush_gap_days: int
    soak_days: int
    flushes_mg: tuple[int, int, int]
    planned_loss_ppm: int
    source: str
    flushes_are: str = SALEABLE

    @property
    def picked_mg(self) -> tuple[int, int, int]:
        """What must be picked for these flushes, trim with it, to the gram, rounded half to even.

        500 g saleable are 543 g picked, of which 8 % are trimmed off: 500 / 0.92.
        """
        if self.flushes_are == PICKED:
            return self.flushes_mg
        left = 1_000_000 - TRIM_PPM
        first, second, third = (round(Fraction(mg * 1_000, left)) * 1_000 for mg in self.flushes_mg)
        return first, second, third


# What a crate is believed to lose of what its species may lose as water a day: half. Own rule, no
# source: no published figure a day was found, so weigh, and it is replaced.
USUAL_OF_ALLOWED_PPM = 500_000

# Water in the fresh mushroom of oyster and shiitake: USDA SR28, 11987 and 11238; of maitake,
# 11993; the others are from memory. Fridge loss: 2 % a day, in bagged crates (practice).
PLANNED = (
    Planned(
        "Oyster", "Pleurotus ostreatus", 891_800, 6, 20_000, 16, 25, 10, 0,
        (500_000, 200_000, 60_000), 70_000,
        "first pick: growers' handbooks (21-30 days); flush split 65/25/8 and 7 % loss: practice",
    ),
    Planned(
        "Lion's mane", "Hericium erinaceus", 900_000, 8, 20_000, 18, 30, 14, 0,
        (500_000, 225_000, 0), 70_000,
        "550 g of 5 lb: Stamets, handbook; flush split 70/30 and 7 % loss: practice",
    ),
    Planned(
        "Shiitake", "Lentinula edodes", 897_400, 10, 15_000, 60, 75, 18, 12,
        (450_000, 220_000, 120_000), 50_000,
        "1.25 lb of a 5-lb block claimed for one strain; split 55/28/15, 5 % loss, a soak 12 days "
        "before the pick: practice",
    ),
    Planned(
        "King oyster", "Pleurotus eryngii", 880_000, 12, 10_000, 22, 35, 14, 0,
        (380_000, 65_000, 0), 70_000, "from memory; mostly one flush: practice",
    ),
    Planned(
        "Pioppino", "Cyclocybe aegerita", 900_000, 12, 15_000, 24, 40, 12, 0,
        (350_000, 190_000, 0), 70_000, "33-48 days: a grower's sheet; split 65/35: practice",
    ),
    Planned(
        "Chestnut", "Pholiota adiposa", 900_000, 10, 15_000, 40, 50, 17, 0,
        (400_000, 215_000, 0), 70_000, "from memory, and doubtful: learn from your own records",
    ),
)  # fmt: skip


# Own rule, no source: figures in the middle of those above, for a species that is not among them.
OTHERWISE = Planned(
    "otherwise",
    "",
    900_000,
    8,
    20_000,
    21,
    33,
    14,
    0,
    (400_000, 180_000, 0),
    70_000,
    "a guess to be replaced by your own records",
)


class Part(NamedTuple):
    """So much of a supply in one bag, jar or block: mg where it is weighed, else pieces."""

    supply: str
    use: str
    quantity: int
    is_counted: bool = False
    moisture_ppm: int = 0
    piece_mg: int = 0


class Filling(NamedTuple):
    """A starting recipe for one jar or block: its parts and the water added."""

    name: str
    makes: str
    water_mg: int
    parts: tuple[Part, ...]
    source: str


POUND_MG = 453_592
JAR = Part("Quart jars", "jars", 1, is_counted=True, piece_mg=400_000)
BAG = Part("Filter-patch bags", "bags", 1, is_counted=True, piece_mg=32_000)
SAWDUST_PPM, GRAIN_PPM = 80_000, 120_000
# Water: as bought, pellets and hulls hold 6-12 %, grain 8-15 % (the handbook below). Grain to half
# water: 200 g at 12 % hold 176 g dry, so 352 g in all, and 152 g of water is added.
FILLINGS = (
    Filling(
        "Rye, quart jar", "grain", 152_000,
        (Part("Rye grain", "grain", 200_000, moisture_ppm=GRAIN_PPM), JAR),
        "200 g of dry rye a quart, half water: Stamets, handbook",
    ),
    Filling(
        "Sawdust and soy hulls, 5 lb", "blocks", 3 * POUND_MG,
        (Part("Hardwood sawdust", "substrate", POUND_MG, moisture_ppm=SAWDUST_PPM),
         Part("Soy hulls", "substrate", POUND_MG, moisture_ppm=SAWDUST_PPM), BAG),
        "1 lb, 1 lb and 3 lb of water: growers' recipe pages",
    ),
    Filling(
        "Sawdust and bran, 5 lb", "blocks", 3 * POUND_MG,
        (Part("Hardwood sawdust", "substrate", 771_000, moisture_ppm=SAWDUST_PPM),
         Part("Wheat bran", "substrate", 136_000, moisture_ppm=GRAIN_PPM), BAG),
        "15 % bran of what is weighed dry: a shiitake strain sheet; 60 % water: practice",
    ),
)  # fmt: skip

# Name, what stands there, block places. Common practice, no source.
ROOMS = (
    ("Store", "dry goods", 0),
    ("Spawn room", "culture and grain", 0),
    ("Warm room", "incubation", 200),
    ("Fruiting room", "fruiting", 80),
    ("Cold room", "fresh stock", 0),
)


def planned_or_guess(species: str) -> Planned:
    """Return the starting figures of a species, or those of the middle where none are known."""
    wanted = species.strip().lower()
    known = {belief.species.lower(): belief for belief in PLANNED}
    return known.get(wanted, OTHERWISE)


def planned(species: str) -> Planned:
    """Return the starting figures of a species by its name."""
    return next(belief for belief in PLANNED if belief.species == species)
