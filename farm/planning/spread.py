"""How far off the card may be: a range of the cost of a kilo, and what makes it wide.

A seeded simulation of batches like the planned one. Yield, loss, minutes, fridge loss and unsold
share vary; prices do not. The range is of the next batch, not of an average.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Protocol

import numpy as np

from farm.planning.card import Card, Plan
from farm.planning.chain import Chain, Draws

DRAWS = 20_000
SEED = 20_260
FOR_RANKING = 4_000  # draws that say which cause widens most; the range itself takes all
TENTH = 1.2815515655446004  # one in ten of a normal distribution lies beyond so many deviations
# With nine records the lowest and the highest stand at one and nine tenths: fewer cannot say
# where the outer tenths begin.
ENOUGH_RECORDS = 9
MOST_LOST = 0.95
CAUSES = {
    "yield": "yield of a block",
    "loss": "blocks lost",
    "minutes": "minutes of work",
    "fridge": "fridge loss",
    "unsold": "unsold share",
}
COSTS = ("picked", "saleable", "packed", "sold", "placed")


class Spread(Protocol):
    """How one number varies from batch to batch."""

    def draw(self, random: np.random.Generator, count: int) -> Draws: ...


@dataclass(frozen=True)
class Stated:
    """Believed: a tenth of batches below ``low``, half below ``middle``, a tenth above ``high``.

    Two halves of normal curves that meet in the middle, cut at ``least`` and ``most``.
    """

    low: float
    middle: float
    high: float
    least: float = 0.0
    most: float = MOST_LOST
    source: str = "common practice, no source"

    def draw(self, random: np.random.Generator, count: int) -> Draws:
        z = random.standard_normal(count) / TENTH
        side = np.where(z < 0, self.middle - self.low, self.high - self.middle)
        return np.clip(self.middle + z * side, self.least, self.most)


@dataclass(frozen=True)
class Own:
    """The farm's own records: record i of n stands at i / (n + 1), straight lines between.

    The next record falls below record i in i of n + 1 cases, whatever the shape of the
    distribution; so the middle four fifths hold the next batch four times in five.
    """

    records: tuple[float, ...]

    def draw(self, random: np.random.Generator, count: int) -> Draws:
        known = np.sort(np.asarray(self.records, dtype=np.float64))
        places = np.arange(1, known.size + 1) / (known.size + 1)
        return np.interp(random.random(count), places, known)

    @property
    def source(self) -> str:
        return f"the farm's own, {len(self.records)} batches"


@dataclass(frozen=True)
class Range:
    """Eight batches in ten lie between low and high, one in ten on either side; money per kilo."""

    low: int
    median: int
    high: int


@dataclass(frozen=True)
class Cause:
    """By how much the range of the cost sold at the place narrows when this is known before."""

    key: str
    narrows_ppm: int

    @property
    def label(self) -> str:
        return CAUSES[self.key]


@dataclass(frozen=True)
class Outlook:
    ranges: Mapping[str, Range]
    causes: tuple[Cause, ...]
    seed: int


@dataclass(frozen=True)
class Came:
    """A range that was saved, and the cost that came true."""

    expected: Range
    actual: int

    @property
    def is_inside(self) -> bool:
        return self.expected.low <= self.actual <= self.expected.high


def outlook(
    card: Card, spreads: Mapping[str, Spread], *, seed: int = SEED, draws: int = DRAWS
) -> Outlook:
    """Simulate batches; the same card and seed give the same range to the last unit."""
    drawn = {key: spreads[key].draw(stream, draws) for key, stream in _streams(seed).items()}
    chain = _drawn_chain(card, drawn)
    ranges = {cost: _range_of(getattr(chain, cost)) for cost in COSTS}
    return Outlook(ranges, _ranked(card, drawn), seed)


def believed(plan: Plan) -> dict[str, Stated]:
    """State how far each number usually strays, for a farm without enough records of its own.

    Yield: 25 % from block to block and 12 % from batch to batch (a trial's 27 on 105, and
    practice). Loss: 60 % of itself from batch to batch, and the luck of so many blocks.
    Minutes: 20 % less to 35 % more. Fridge and unsold: half to double. All 10 % to 90 %.
    """
    blocks = plan.batch.blocks
    loss = 1 - float(plan.batch.kept)
    crop = plan.crop
    apart = TENTH * sqrt(0.12**2 + 0.25**2 / blocks)
    luck = TENTH * sqrt((0.6 * loss) ** 2 + loss * (1 - loss) / blocks)
    fridge, unsold, kilos = (
        crop.fridge_ppm / 1e6,
        crop.unsold_ppm / 1e6,
        crop.yield_mg / 1e6,
    )
    return {
        "yield": Stated(
            kilos * (1 - apart), kilos, kilos * (1 + apart), least=kilos / 5, most=kilos * 5
        ),
        "loss": Stated(max(loss - luck, 0.0), loss, loss + luck),
        "minutes": Stated(0.8, 1.0, 1.35, least=0.3, most=5.0),
        "fridge": Stated(fridge / 2, fridge, fridge * 2),
        "unsold": Stated(unsold / 2, unsold, unsold * 2),
    }


def spreads_of(plan: Plan, records: Mapping[str, Sequence[float]]) -> dict[str, Stated | Own]:
    """Take the farm's own records where there are enough, and the stated spread elsewhere."""
    return {
        key: Own(tuple(records[key])) if len(records.get(key, ())) >= ENOUGH_RECORDS else stated
        for key, stated in believed(plan).items()
    }


def moved(records: Sequence[float], was: float, now: float) -> list[float]:
    """Move records from their own centre to a planned one, each by the same factor.

    A farm that plans 0.4 kg where its batches gave 0.5 strays as far, in parts, as it always did.
    Records around nothing cannot be moved: none are left, and the stated spread stands in.
    """
    if was == now:
        return list(records)
    return [record * now / was for record in records] if was else []


def scorecard(came: Sequence[Came]) -> tuple[int, int]:
    """Count the saved ranges that held what came true, and all: of ten, about eight should."""
    return sum(one.is_inside for one in came), len(came)


def _streams(seed: int) -> dict[str, np.random.Generator]:
    """Give each cause draws of its own, so that another spread for one leaves the rest alike."""
    children = np.random.SeedSequence(seed).spawn(len(CAUSES))
    return dict(zip(CAUSES, map(np.random.default_rng, children), strict=True))


def _drawn_chain(card: Card, drawn: Mapping[str, Draws]) -> Chain[Draws]:
    """Follow the card's own chain with drawn numbers in the place of the planned ones."""
    plan, planned = card.plan, card.chain
    per_kg = 1e6 / plan.pack.net_mg
    growing = float(plan.rates.hours(plan.batch.block_seconds))
    packing = float(plan.rates.hours(plan.pack.pack_seconds)) * per_kg
    minutes = drawn["minutes"]
    return Chain(
        block=float(planned.block) - growing + growing * minutes,
        kept=1 - drawn["loss"],
        yield_kg=drawn["yield"],
        picking=float(planned.picking) * minutes,
        untrimmed=np.asarray(float(planned.untrimmed)),
        packing=float(planned.packing) - packing + packing * minutes,
        unshrunk=1 - drawn["fridge"],
        bought=1 - drawn["unsold"],
        serving=np.asarray(float(planned.serving)),
    )


def _range_of(costs: Draws) -> Range:
    """Read off the costs at one, five and nine tenths of the way, without sorting them all."""
    places = [costs.size // 10, costs.size // 2, costs.size - 1 - costs.size // 10]
    found = np.partition(costs, places)[places]
    return Range(*(round(float(cost)) for cost in found))


def _ranked(card: Card, drawn: Mapping[str, Draws]) -> tuple[Cause, ...]:
    """Hold one cause at its middle after the other and see how much narrower the range gets."""
    some = {key: values[:FOR_RANKING] for key, values in drawn.items()}
    width = _width(card, some)
    causes = []
    for key, values in some.items():
        middle = np.partition(values, values.size // 2)[values.size // 2]
        narrows = width - _width(card, {**some, key: np.full(values.size, middle)})
        causes.append(Cause(key, max(1_000_000 * narrows // width, 0) if width else 0))
    return tuple(sorted(causes, key=lambda cause: -cause.narrows_ppm))


def _width(card: Card, drawn: Mapping[str, Draws]) -> int:
    found = _range_of(_drawn_chain(card, drawn).placed)
    return found.high - found.low
