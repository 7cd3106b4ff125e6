"""A weight in whole grams that remembers the hundredths of a pound handed out beside them.

Both add up by themselves, so that a table of a month may be read in kilos and in pounds: what it
sums in the one it sums in the other.
"""

from typing import SupportsIndex

from farm.units import MG_PER_LB

# A hundredth of a pound in ten-thousandths of a mg, a whole number: 45,359,237.
SCALE = 10_000
HUNDREDTH = int(MG_PER_LB / 100 * SCALE)


class Weight(int):
    """So many mg; ``hundredths`` of a pound. With any other number but 0 it is a plain one.

    Weight(454_000, 100) + Weight(453_000, 99) is 907,000 mg and 1.99 lb.
    """

    hundredths: int

    def __new__(cls, mg: int, hundredths: int) -> "Weight":
        made = super().__new__(cls, mg)
        made.hundredths = hundredths
        return made

    def __add__(self, other: int) -> int:
        pounds = hundredths_of(other)
        mg = int(self) + int(other)
        return mg if pounds is None else Weight(mg, self.hundredths + pounds)

    __radd__ = __add__

    def __sub__(self, other: int) -> int:
        return self + -other

    def __rsub__(self, other: int) -> int:
        return -self + other

    def __neg__(self) -> "Weight":
        return Weight(-int(self), -self.hundredths)

    def __mul__(self, times: int) -> "Weight":
        return Weight(int(self) * times, self.hundredths * times)

    __rmul__ = __mul__

    def __abs__(self) -> "Weight":
        return -self if self < 0 else self

    def __reduce__(self) -> tuple[type["Weight"], tuple[SupportsIndex, int]]:
        return Weight, (int(self), self.hundredths)


def hundredths_of(mg: int | None) -> int | None:
    """The hundredths of a pound of a weight that was handed out, or of nothing."""
    if isinstance(mg, Weight):
        return mg.hundredths
    return None if mg else 0
