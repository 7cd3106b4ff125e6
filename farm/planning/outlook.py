"""How far off the card may be: a range of the cost of a kilo, and what makes it wide.

A seeded simulation of batches like the planned one. The range is of the next batch, not of an
average. A batch that gives nothing has no cost per kilo: it stands at the dear end.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from farm.planning.card import Card
from farm.planning.chain import Brings, Chain, Draws
from farm.planning.spread import CAUSES, SEED

FOR_RANKING = 5  # one draw of so many says which cause widens most; the range itself takes all
COSTS = ("picked", "saleable", "packed", "sold", "placed")


@dataclass(frozen=True)
class Range:
    """Eight batches in ten lie between low and high, one in ten on either side; money per kilo.

    None: so many batches give nothing that there is no such cost. ``nothing``: their share.
    """

    low: int | None
    median: int | None
    high: int | None
    nothing: float = 0.0


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
    seed: int = SEED


@dataclass(frozen=True)
class Came:
    """A range that was saved, and the cost that came true; None: the batch gave nothing."""

    expected: Range
    actual: int | None

    @property
    def is_inside(self) -> bool:
        low, high = self.expected.low, self.expected.high
        if self.actual is None:
            return high is None
        return low is not None and low <= self.actual and (high is None or self.actual <= high)


def outlook(card: Card, drawn: Mapping[str, Draws], *, seed: int = SEED) -> Outlook:
    """Cost the drawn batches; the same card and draws give the same range to the last unit."""
    with np.errstate(divide="ignore", invalid="ignore"):
        chain = costed(card, drawn)
        ranges = {cost: range_of(getattr(chain, cost)) for cost in COSTS}
        return Outlook(ranges, _ranked(card, drawn), seed)


def costed(card: Card, drawn: Mapping[str, Draws]) -> Chain[Draws]:
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
        untrimmed=1 - drawn["trim"],
        packing=float(planned.packing) - packing + packing * minutes,
        unshrunk=1 - drawn["fridge"],
        bought=1 - drawn["unsold"],
        serving=np.asarray(float(planned.serving)),
        spent=_many(planned.spent),
        trimmed=_many(planned.trimmed),
    )


def _many(brings: Brings[Fraction]) -> Brings[Draws]:
    return Brings(np.asarray(float(brings.off)), np.asarray(float(brings.like)))


def range_of(costs: Draws) -> Range:
    """Read off the costs at one, five and nine tenths of the way, without sorting them all.

    What is divided by nothing is no number, or endless: no cost, beyond the dearest.
    """
    known = np.where(np.isfinite(costs), costs, np.inf)
    places = [known.size // 10, known.size // 2, known.size - 1 - known.size // 10]
    found = np.partition(known, places)[places]
    low, median, high = (round(float(cost)) if np.isfinite(cost) else None for cost in found)
    return Range(low, median, high, nothing=float(np.mean(np.isinf(known))))


def scorecard(came: Sequence[Came]) -> tuple[int, int]:
    """Count the saved ranges that held what came true, and all: of ten, about eight should."""
    return sum(one.is_inside for one in came), len(came)


def _ranked(card: Card, drawn: Mapping[str, Draws]) -> tuple[Cause, ...]:
    """Hold one cause at its middle after the other and see how much narrower the range gets."""
    some = {key: values[::FOR_RANKING] for key, values in drawn.items()}
    width = _width(card, some)
    causes = []
    for key, values in some.items():
        middle = np.partition(values, values.size // 2)[values.size // 2]
        narrows = width - _width(card, {**some, key: np.full(values.size, middle)})
        causes.append(Cause(key, max(1_000_000 * narrows // width, 0) if width else 0))
    return tuple(sorted(causes, key=lambda cause: -cause.narrows_ppm))


def _width(card: Card, drawn: Mapping[str, Draws]) -> int:
    """How wide the range is of the batches that give something."""
    costs = costed(card, drawn).placed
    costs = costs[np.isfinite(costs)]
    found = range_of(costs) if costs.size else Range(None, None, None)
    return found.high - found.low if found.high is not None and found.low is not None else 0
