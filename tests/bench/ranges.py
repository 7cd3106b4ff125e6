"""Over farms whose truth is known, how many of 100 batches fall inside the range of their card.

``python -m tests.bench.ranges`` prints the table and fails where a row is outside its bounds. The
truth is drawn, and each batch costed, in plain Python here: nothing of the card's arithmetic is
used but the range that it says beforehand.
"""

import random
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from math import exp, log, sqrt
from statistics import NormalDist

from farm.planning.card import Batch, Crop, Ingredient, Pack, Place, Plan, Rates, card_of
from farm.planning.grown import Grown, Records
from farm.planning.outlook import Range, outlook
from farm.planning.spread import DRAWS, drawn

BELIEVED_KG = (0.5, 0.2, 0.06)
SEED, FEW_DRAWS = 11, 4_000  # a range for each of many farms is drawn with fewer
TENTH = 1.2815515655446004


@dataclass(frozen=True)
class World:
    """What a row is about: the farms' truth, what they have on record, what they plan.

    ``mean_apart``: log spread of the farms' own means about the belief. ``together``: how far a
    batch's loss and yield go together, on the scale of normal deviations; below nothing, a bad
    batch loses many and gives little. A belief knows nothing of that, the records do.
    """

    name: str
    least: int
    most: int
    mean_apart: float = 0.0
    records: int = 0
    record_blocks: int = 24
    blocks: int = 24
    together: float = 0.0


@dataclass(frozen=True)
class Grew:
    """One batch as it came out; shares of one."""

    started: int
    lost: int
    kilos: float
    trim: float
    fridge: float
    unsold: float
    minutes: float


WORLDS = (
    World("no records, truth at the belief", 85, 100),
    World("no records, own mean 20 % apart", 75, 85, mean_apart=0.20),
    World("no records, own mean 30 % apart", 75, 85, mean_apart=0.30),
    World("no records, 20 % apart, plan of 8", 75, 85, mean_apart=0.20, blocks=8),
    World("no records, 30 % apart, plan of 8", 75, 85, mean_apart=0.30, blocks=8),
    *(World(f"{count} own records", 75, 85, 0.25, count, together=-0.5) for count in (9, 20, 40)),
    *(
        World(f"{count} records of 60 blocks, plan of 8", 75, 85, 0.25, count, 60, 8, -0.5)
        for count in (9, 20, 40)
    ),
)


@dataclass(frozen=True)
class Inside:
    """Of so many batches, how many fell inside the range of a kilo picked, and at the place."""

    picked: int
    placed: int
    of: int

    @property
    def percents(self) -> tuple[float, float]:
        return 100 * self.picked / self.of, 100 * self.placed / self.of


def study(world: World, *, farms: int, batches: int, seed: int = SEED) -> Inside:
    """Draw farms, let each plan its next batch, grow that batch many times, count."""
    dice = random.Random(f"{seed} {world.name}")
    picked = placed = 0
    known: tuple[Range, Range] | None = None
    for farm in range(farms):
        # Spread evenly over the normal curve: as many farms of each kind as there ought to be.
        apart = NormalDist().inv_cdf((farm + 0.5) / farms)
        mean = log(sum(BELIEVED_KG)) + world.mean_apart * apart
        past = [_grow(dice, world, mean, blocks=world.record_blocks) for _ in range(world.records)]
        plan = _plan(world, past)
        if known is None or past:  # without records every farm is told the same
            known = _ranges(plan, past)
        for _ in range(batches):
            costs = _costs(plan, _grow(dice, world, mean, blocks=world.blocks))
            picked += _holds(known[0], costs[0])
            placed += _holds(known[1], costs[1])
    return Inside(picked, placed, farms * batches)


# --- what a farm knows and plans -------------------------------------------------------------


def _plan(world: World, past: list[Grew]) -> Plan:
    """A plan at the belief, or at what the farm's own records add up to."""
    kilos, loss, trim, fridge, unsold = sum(BELIEVED_KG), 0.07, 0.08, 0.04, 0.10
    if past:
        fruited = sum(one.started - one.lost for one in past)
        kilos = sum(one.kilos * (one.started - one.lost) for one in past) / fruited
        loss = 1 - fruited / sum(one.started for one in past)
        trim, fridge, unsold = (
            sum(getattr(one, key) for one in past) / len(past)
            for key in ("trim", "fridge", "unsold")
        )
    return Plan(
        batch=Batch(
            world.blocks,
            (Ingredient("Block, filled", 1, 16_700, is_weighed=False),),
            run_wh=20_000,
            load_blocks=24,
            block_seconds=640,
            shelf_days=45,
            loss_ppm=round(loss * 1e6),
        ),
        crop=Crop(
            (round(kilos * 1e6),),
            pick_seconds=270,
            trim_ppm=round(trim * 1e6),
            fridge_ppm=round(fridge * 1e6),
            unsold_ppm=round(unsold * 1e6),
        ),
        pack=Pack("200 g", 200_000, 3_800, 30),
        place=Place("the stall", 300_000, 5 * 3_600, 20_000_000),
        rates=Rates(180_000, 150_000, 1_000_000, 3_000, 200),
    )


def _ranges(plan: Plan, past: list[Grew]) -> tuple[Range, Range]:
    records = Records(
        batches=tuple(
            Grown(one.started, one.started - one.lost, one.lost / one.started, one.kilos, one.trim)
            for one in past
        ),
        fridge=tuple(one.fridge for one in past),
        unsold=tuple(one.unsold for one in past),
        believed_kg=sum(BELIEVED_KG),
    )
    found = outlook(card_of(plan), drawn(plan, records, count=FEW_DRAWS if past else DRAWS)).ranges
    return found["picked"], found["placed"]


def _holds(found: Range, cost: float | None) -> bool:
    if cost is None:
        return found.high is None
    low = found.low if found.low is not None else float("inf")
    return low <= cost <= (float("inf") if found.high is None else found.high)


# --- the truth -------------------------------------------------------------------------------


def _grow(dice: random.Random, world: World, mean: float, *, blocks: int) -> Grew:
    """Grow a batch: 12 % between batches, 25 % between blocks, each block lost by its own luck."""
    bad = dice.gauss()
    own = world.together * bad + sqrt(1 - world.together**2) * dice.gauss()
    rate = _odds(dice, 0.07, 0.6, z=bad)
    lost = sum(dice.random() < rate for _ in range(blocks))
    scatter = sqrt(0.12**2 + 0.25**2 / blocks)
    z = dice.gauss() / TENTH
    return Grew(
        started=blocks,
        lost=lost,
        kilos=exp(mean + scatter * own),
        trim=_odds(dice, 0.08, log(2) / TENTH),
        fridge=_odds(dice, 0.04, log(2) / TENTH),
        unsold=_odds(dice, 0.10, log(2) / TENTH),
        minutes=max(0.3, 1 + z * (0.20 if z < 0 else 0.35)),
    )


def _odds(dice: random.Random, usual: float, apart: float, z: float | None = None) -> float:
    odds = usual / (1 - usual) * exp(apart * (dice.gauss() if z is None else z))
    return odds / (1 + odds)


def _costs(plan: Plan, grew: Grew) -> tuple[float | None, float | None]:
    """What a kilo of the batch cost picked and at the place, in 1/10,000, from the plan's prices.

    Worked from the batch as a whole: all its money over all its kilos.
    """
    batch, crop, pack, place = plan.batch, plan.crop, plan.pack, plan.place
    hour = plan.rates.own_hour_money
    kilos = grew.kilos * (grew.started - grew.lost)
    if not kilos:
        return None, None
    energy = batch.run_wh / 1_000 * plan.rates.kwh_money / batch.load_blocks
    room = batch.shelf_days * plan.rates.block_day_money
    fixed = batch.ingredients[0].price_money + energy + room
    work = grew.minutes * hour / 3_600
    money = grew.started * (fixed + work * batch.block_seconds)
    money += kilos * work * crop.pick_seconds
    picked = money / kilos
    saleable = kilos * (1 - grew.trim)
    packs = saleable * 1_000_000 / pack.net_mg
    money += packs * (pack.pack_money + work * pack.pack_seconds)
    sold = saleable * (1 - grew.fridge) * (1 - grew.unsold)
    day = place.day_fee_money + place.day_seconds * hour / 3_600
    return picked, money / sold + day * 1_000_000 / place.day_mg


def rows(*, farms: int, batches: int) -> Iterator[tuple[World, Inside]]:
    for world in WORLDS:
        if world.records:
            yield world, study(world, farms=farms, batches=batches)
        else:  # one range for all: many farms cost little
            yield world, study(world, farms=5 * farms * batches, batches=1)


def within(world: World, found: Inside) -> bool:
    return all(world.least <= round(percent) <= world.most for percent in found.percents)


if __name__ == "__main__":
    print(f"{'of 100 batches inside the 80 % range':40}{'picked':>8}{'at the place':>14}  wanted")
    failed = False
    for world, found in rows(farms=400, batches=50):
        picked, placed = found.percents
        failed |= not within(world, found)
        print(f"{world.name:40}{picked:8.1f}{placed:14.1f}  {world.least} to {world.most}")
    if failed:
        sys.exit("A range is too narrow or too wide.")
