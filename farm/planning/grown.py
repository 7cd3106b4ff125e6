"""What the farm's own finished batches came to, and how a plan apart from them moves them.

A yield moves by a factor; a share by a factor on its odds, so that it never leaves 0 to 1.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any, NamedTuple, Self

import numpy as np

from farm.planning.chain import Draws

HALVINGS = 80


class Grown(NamedTuple):
    """A finished batch: shares lost of the blocks started, and trimmed off what was picked.

    ``kilos``: picked of a block that fruited.
    """

    started: int
    fruited: int
    loss: float
    kilos: float
    trim: float

    @property
    def gives(self) -> bool:
        return self.loss < 1 and self.kilos > 0

    def with_loss(self, loss: float) -> "Grown":
        return self._replace(loss=loss)

    def with_trim(self, trim: float) -> "Grown":
        return self._replace(trim=trim)


@dataclass(frozen=True)
class Records:
    """By batch, by lot in the fridge, by lot of packs; all that is finished.

    ``believed_kg``: what a block gives by the strain's planning figures; 0: by the plan itself.
    """

    batches: tuple[Grown, ...] = ()
    fridge: tuple[float, ...] = ()
    unsold: tuple[float, ...] = ()
    believed_kg: float = 0.0

    @property
    def crops(self) -> tuple[Grown, ...]:
        """The batches that gave something."""
        return tuple(one for one in self.batches if one.gives)

    @property
    def nothing(self) -> float:
        """The share of batches that gave nothing."""
        return 1 - len(self.crops) / len(self.batches) if self.batches else 0.0

    @classmethod
    def read(cls, kept: Mapping[str, Any]) -> Self:
        """Read what was saved with a card."""
        said = {key: tuple(kept[key]) for key in ("fridge", "unsold")}
        batches = tuple(Grown(*one) for one in kept["batches"])
        return cls(**said, batches=batches, believed_kg=kept["believed_kg"])

    def as_json(self) -> dict[str, Any]:
        return {**asdict(self), "batches": [list(one) for one in self.batches]}

    def moved(self, was: Mapping[str, float], now: Mapping[str, float]) -> Self:
        """Move the records from the farm's own figures to those that were typed instead."""
        found = self
        if now["yield"] != was["yield"]:
            factor = now["yield"] / was["yield"] if was["yield"] else 1.0
            batches = tuple(one._replace(kilos=one.kilos * factor) for one in found.batches)
            found = replace(found, batches=batches, believed_kg=now["yield"])
        batches = found.batches
        if now["loss"] != was["loss"]:
            shares = on_odds([one.loss for one in batches], now["loss"])
            batches = tuple(map(Grown.with_loss, batches, shares))
        if now["trim"] != was["trim"]:
            shares = on_odds([one.trim for one in batches], now["trim"])
            batches = tuple(map(Grown.with_trim, batches, shares))
        return replace(
            found,
            batches=batches,
            fridge=_moved(found.fridge, was["fridge"], now["fridge"]),
            unsold=_moved(found.unsold, was["unsold"], now["unsold"]),
        )


def _moved(shares: tuple[float, ...], was: float, now: float) -> tuple[float, ...]:
    return shares if now == was else tuple(on_odds(shares, now))


def on_odds(shares: Sequence[float], mean: float) -> list[float]:
    """Move shares by the one factor on their odds that brings their mean to a stated one.

    Exactly 0 and exactly 1 stay, and are no part of that mean: no factor moves them. 0.1 and 0.3
    at a mean of 0.5 have the factor 4.58 (the root of 21): 0.337 and 0.663.
    """
    found = np.asarray(shares, dtype=np.float64)
    inner = (found > 0) & (found < 1)
    if not inner.any():
        return list(shares)
    if not 0 < mean < 1:
        found[inner] = mean
        return [float(one) for one in found]
    odds = np.log(found[inner]) - np.log1p(-found[inner])
    wanted = np.log(mean) - np.log1p(-mean)
    # With the one shift no share is above the mean, with the other none is below it.
    low, high = wanted - odds.max(), wanted - odds.min()
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        if np.mean(_share(odds + middle)) < mean:
            low = middle
        else:
            high = middle
    found[inner] = _share(odds + (low + high) / 2)
    return [float(one) for one in found]


def _share(log_odds: Draws) -> Draws:
    found: Draws = 1 / (1 + np.exp(-log_odds))
    return found
