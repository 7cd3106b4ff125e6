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
class Chain(Generic[N]):
    """What drives the cost of a kilo; the five named costs follow from it.

    A block of 5.27 that gives 0.56699 kg, 7 % of blocks lost, is 9.994 a kilo ready to pick:
    5.27 / 0.93 / 0.56699. ``block``: per block started. ``kept``: share of blocks started that
    fruit. ``untrimmed``, ``unshrunk``, ``bought``: what trimming, the fridge and the customers
    leave. ``serving``: the day at the selling place, per kilo sold there.
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

    @property
    def ready(self) -> N:
        return self.block / (self.kept * self.yield_kg)

    @property
    def picked(self) -> N:
        return self.ready + self.picking

    @property
    def saleable(self) -> N:
        return self.picked / self.untrimmed

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
