"""Net weight of packs: what may be short by how much, and how full to fill.

A pack must hold what it declares on its last day of sale, not only when it is filled: fresh
mushrooms lose water. Weights are whole milligrams; nothing here reads or writes the book.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import isqrt

GRAM = 1_000
MILLION = 1_000_000
# Of packs that scatter as a normal distribution does, 95 % lie above the mean less so much of it.
NINETY_FIVE = Fraction(1645, 1000)

# Directive 76/211/EEC, Annex I, 2.4: the tolerable negative error by nominal quantity, from and up
# to grams, as a share of it in thousandths or in milligrams. Read at legislation.gov.uk.
EU_ROWS = (
    (50, 90, 0), (100, 0, 4_500), (200, 45, 0), (300, 0, 9_000), (500, 30, 0), (1_000, 0, 15_000),
    (10_000, 15, 0),
)  # fmt: skip
# NIST Handbook 133, Appendix A, table 2-5: maximum allowable variations for packages labelled by
# weight; up to so many grams, so many tenths of a gram. From memory: check it before relying on it.
US_ROWS = (
    (54, 36), (81, 54), (117, 72), (154, 91), (208, 109), (263, 127), (317, 145), (381, 163),
    (426, 181), (489, 200), (571, 218), (635, 236), (698, 254), (771, 272), (852, 290),
)  # fmt: skip
US_SMALL_G = 36
US_SMALL_THOUSANDTHS = 100


@dataclass(frozen=True)
class Tolerance:
    """By how much a single pack may be short, and whose rule that is."""

    mass_mg: int
    source: str


@dataclass(frozen=True)
class Judged:
    """Packs as weighed, and as they will weigh on the last day of sale.

    ``mean_mg`` is rounded down and ``spread_mg`` (standard deviation of the sample) up, so that
    neither flatters.
    """

    declared_mg: int
    nets_mg: tuple[int, ...]
    rate_ppm: int
    days: int
    tolerance: Tolerance

    @property
    def mean_mg(self) -> int:
        return sum(self.nets_mg) // len(self.nets_mg)

    @property
    def spread_mg(self) -> int:
        return spread(self.nets_mg)

    @property
    def then_mg(self) -> tuple[int, ...]:
        """What each pack should hold on the last day of sale, rounded down."""
        return tuple(after(net, self.rate_ppm, self.days) for net in self.nets_mg)

    @property
    def mean_then_mg(self) -> int:
        return sum(self.then_mg) // len(self.nets_mg)

    @property
    def short(self) -> int:
        """How many packs will hold less than they declare."""
        return sum(net < self.declared_mg for net in self.then_mg)

    @property
    def beyond(self) -> int:
        """How many will be short by more than a pack may be."""
        return sum(net < self.declared_mg - self.tolerance.mass_mg for net in self.then_mg)

    @property
    def far_beyond(self) -> int:
        """How many will be short by more than twice that; no such pack may be sold."""
        return sum(net < self.declared_mg - 2 * self.tolerance.mass_mg for net in self.then_mg)

    @property
    def holds(self) -> bool:
        """Say whether average and each pack hold on the last day of sale."""
        return self.mean_then_mg >= self.declared_mg and not self.beyond

    @property
    def verdict(self) -> str:
        if self.far_beyond:
            return "short: some by more than twice the tolerance"
        if self.beyond:
            return "short: some by more than the tolerance"
        if self.mean_then_mg < self.declared_mg:
            return "short on average"
        return "holds, some within the tolerance" if self.short else "holds"

    @property
    def fill_mg(self) -> int:
        return fill_for(self.declared_mg, self.rate_ppm, days=self.days, spread_mg=self.spread_mg)


def tolerance(declared_mg: int, weight_unit: str) -> Tolerance:
    """By how much one pack may be short: the rule of a farm in kilograms or in pounds.

    150 g: 4.5 % or 6.75 g, by the directive rounded up to the next tenth, so 6.8 g; in the United
    States 9.1 g. Beyond the tables: as in their last row.
    """
    grams = Fraction(declared_mg, GRAM)
    if weight_unit == "lb":
        return Tolerance(_of_us(grams), "NIST Handbook 133, maximum allowable variation")
    row = next((row for row in EU_ROWS if grams <= row[0]), EU_ROWS[-1])
    part = row[2] or -(-declared_mg * row[1] // 1000)
    return Tolerance(-(-part // 100) * 100, "Directive 76/211/EEC, tolerable negative error")


def fill_for(declared_mg: int, rate_ppm: int, *, days: int, spread_mg: int) -> int:
    """What to fill, so that 95 % of packs hold what they declare after some days; whole grams, up.

    150 g that lose 1 % a day for 4 days, filled to within 0.5 g: 150 / 0.99^4 = 156.153 g, and
    1.645 x 0.5 = 0.823 g more, so 157 g.
    """
    needed = Fraction(declared_mg * MILLION**days, (MILLION - rate_ppm) ** days)
    needed += NINETY_FIVE * spread_mg
    return -int(-needed // GRAM) * GRAM


def after(mass_mg: int, rate_ppm: int, days: int) -> int:
    """What is left after so many days, rounded down: 157 g at 1 % a day for 4 days: 150.813 g."""
    return int(mass_mg * (MILLION - rate_ppm) ** days // MILLION**days)


def spread(nets_mg: Sequence[int]) -> int:
    """The standard deviation of a sample, rounded up; of fewer than two, none is known: 0."""
    count = len(nets_mg)
    if count < 2:
        return 0
    squares = count * sum(net * net for net in nets_mg) - sum(nets_mg) ** 2
    return isqrt((squares - 1) // (count * (count - 1))) + 1 if squares else 0


def _of_us(grams: Fraction) -> int:
    if grams <= US_SMALL_G:
        return int(grams * US_SMALL_THOUSANDTHS)
    return next((tenths for up_to, tenths in US_ROWS if grams <= up_to), US_ROWS[-1][1]) * 100
