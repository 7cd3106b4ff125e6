"""The chain from a block to a kilo sold, once for exact fractions and once for many draws.

Losses divide, never subtract: what is left carries the cost of all. Money is in 1/10,000 of the
currency unit, per block started or per kilo; shares are parts of one.
"""

from dataclasses import dataclass
from fractions import Fraction
from typing import Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

Draws = NDArray[np.float64]
N = TypeVar("N", Fraction, Draws)


@dataclass(frozen=True)
class Brings(Generic[N]):
    """What a by-product brings: taken ``off`` the cost, or sharing it as ``like`` kilos of crop.

    One of the two is nothing. Spent blocks worth 6.00 beside a crop worth 10.00 a kilo share as
    0.6 kg would; taken off, the crop carries 6.00 less.
    """

    off: N
    like: N


@dataclass(frozen=True)
class Chain(Generic[N]):
    """What drives the cost of a kilo; the five named costs follow from it.

    A block of 5.27 that gives 0.56699 kg, 7 % of blocks lost, is 9.994 a kilo ready to pick:
    5.27 / 0.93 / 0.56699. ``block``: per block started. ``kept``: share of blocks started that
    fruit. ``untrimmed``, ``unshrunk``, ``bought``: what trimming, the fridge and the customers
    leave. ``serving``: the day at the selling place, per kilo sold there. ``spent``, ``trimmed``:
    what a fruited block still brings when it is spent, and a kilo of trim.
    """

    block: N
    kept: N
    yield_kg: N
    picking: N
    untrimmed: N
    packing: N
    unshrunk: N
    bought: N
    serving: N
    spent: Brings[N]
    trimmed: Brings[N]

    @property
    def alone(self) -> N:
        """Ready to pick, if the crop carried all of it."""
        return self.block / (self.kept * self.yield_kg)

    @property
    def ready(self) -> N:
        spent = self.spent
        return _less(self.block / self.kept, spent.off) / (self.yield_kg + spent.like)

    @property
    def picked(self) -> N:
        return self.ready + self.picking

    @property
    def saleable(self) -> N:
        trim, brings = 1 - self.untrimmed, self.trimmed
        return _less(self.picked, trim * brings.off) / (self.untrimmed + trim * brings.like)

    @property
    def packed(self) -> N:
        return self.saleable + self.packing

    @property
    def sold(self) -> N:
        return self.packed / (self.unshrunk * self.bought)

    @property
    def placed(self) -> N:
        return self.sold + self.serving

    @property
    def sold_kg(self) -> N:
        """Kilos sold for each block started."""
        return self.kept * self.yield_kg * self.untrimmed * self.unshrunk * self.bought


def _less(cost: N, off: N) -> N:
    """What is left of a cost, never less than nothing: a by-product lowers it as far as it goes."""
    left = cost - off
    return left * (left > 0)
