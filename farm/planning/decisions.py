"""The arithmetic of two decisions: bin the blocks after a flush, and what to do with what is left.

Money is in 1/10,000 of the currency unit; fractions inside, rounded where they are shown.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import ceil

from farm.planning.inputs import Input, InputKind
from ledger.errors import Malformed

MILLION, HOUR = 1_000_000, 3_600
OUNCE_MG = Fraction("28349.523125")
POUND_MG = Fraction("453592.37")

_C, _M, _S = InputKind.COUNT, InputKind.MASS, InputKind.SHARE
_E, _T, _R = InputKind.MONEY, InputKind.MINUTES, InputKind.RATIO

FLUSH_INPUTS: Mapping[str, tuple[Input, ...]] = {
    "The next flush": (
        Input("flush_mg", "Weight expected of it", _M, "a block"),
        Input("wait_days", "Days the blocks stand for it", _C),
    ),
    "A kilo picked": (
        Input("kilo_money", "What it brings, net of tax", _E, "a kilo sold"),
        Input("sold_ppm", "Sold in the end", _S, "what is picked"),
        Input("handling_money", "Picking and packing", _E, "a kilo picked"),
    ),
    "A fresh block in its place": (
        Input("fresh_mg", "First flush", _M, "a block fruited"),
        Input("lost_ppm", "Blocks lost before it", _S, "blocks started"),
        Input("block_money", "Cost without room", _E, "a block started"),
        Input("stand_days", "Days it stands there until its first pick", _C),
    ),
}
DRYING_INPUTS: Mapping[str, tuple[Input, ...]] = {
    "Sold fresh, at a discount": (
        Input("mass_mg", "Weight left over, fresh", _M),
        Input("discount_money", "Discount price, net of tax", _E, "a kilo"),
        Input("fresh_sold_ppm", "Likely to be sold", _S, "what is offered"),
    ),
    "Dried": (
        Input("ratio_ppm", "Fresh for one dried, by weight", _R),
        Input("drying_money", "Drying: hours and energy", _E, "a kilo fresh"),
        Input("pouch_money", "Pouches and packing", _E, "a kilo dried"),
        Input("dried_money", "Price, net of tax", _E, "a kilo dried"),
        Input("dried_sold_ppm", "Likely to be sold", _S, "what is dried"),
    ),
}


@dataclass(frozen=True)
class FlushCase:
    """What another flush brings, and what a fresh block would earn in its place."""

    flush_mg: int
    wait_days: int
    kilo_money: int
    sold_ppm: int
    handling_money: int
    fresh_mg: int
    lost_ppm: int
    block_money: int
    stand_days: int
    shelf_is_full: bool

    @property
    def picked_kilo(self) -> Fraction:
        """What a kilo picked leaves after its own handling; refuses when that is nothing."""
        left = Fraction(self.kilo_money * self.sold_ppm, MILLION) - self.handling_money
        if left <= 0:
            raise Malformed(
                "A kilo picked brings no more than its picking and packing cost, so no flush can "
                "pay. State another price, or leave the blocks unpicked."
            )
        return left

    @property
    def fresh_earns(self) -> Fraction:
        """What a fresh block started leaves until its first pick, without its room."""
        kept = 1 - Fraction(self.lost_ppm, MILLION)
        return kept * Fraction(self.fresh_mg, MILLION) * self.picked_kilo - self.block_money

    @property
    def a_day(self) -> Fraction:
        """What a day of the place is worth: nothing while places are free."""
        if self.stand_days <= 0:
            raise Malformed("A fresh block stands 0 days there. State one day or more.")
        return max(self.fresh_earns, Fraction(0)) / self.stand_days

    @property
    def needed(self) -> Fraction:
        """What the flush must leave to be kept: the days it takes at what a day is worth."""
        return self.a_day * self.wait_days if self.shelf_is_full else Fraction(0)

    @property
    def brings(self) -> Fraction:
        return Fraction(self.flush_mg, MILLION) * self.picked_kilo

    @property
    def break_even_mg(self) -> int:
        """The weight a block from which keeping pays, rounded up to 1 mg."""
        return ceil(self.needed * MILLION / self.picked_kilo)

    @property
    def pays(self) -> bool:
        return self.flush_mg > 0 and self.brings >= self.needed


@dataclass(frozen=True)
class DryingCase:
    """What is left over at cash-up: sold at a discount, dried or binned."""

    mass_mg: int
    discount_money: int
    fresh_sold_ppm: int
    ratio_ppm: int
    drying_money: int
    pouch_money: int
    dried_money: int
    dried_sold_ppm: int

    def __post_init__(self) -> None:
        if self.ratio_ppm < MILLION:
            raise Malformed("Dried mushrooms weigh less than fresh ones. State 1 to 1 or more.")
        if not self.dried_sold_ppm:
            raise Malformed("Nothing dried would be sold. State a share above 0.")

    @property
    def ratio(self) -> Fraction:
        return Fraction(self.ratio_ppm, MILLION)

    @property
    def discounted(self) -> Fraction:
        """A kilo fresh, sold at the discount: what is likely to be sold of it."""
        return Fraction(self.discount_money * self.fresh_sold_ppm, MILLION)

    @property
    def dried(self) -> Fraction:
        """A kilo fresh, dried: its share of a dried kilo, less the drying."""
        sold = Fraction(self.dried_money * self.dried_sold_ppm, MILLION)
        return (sold - self.pouch_money) / self.ratio - self.drying_money

    @property
    def best(self) -> str:
        """The word for what leaves most; binning leaves nothing and costs nothing."""
        ways = {"bin it": Fraction(0), "discount it": self.discounted, "dry it": self.dried}
        return max(ways, key=lambda way: ways[way])

    def dried_kilo_like(self, fresh_kilo: Fraction) -> Fraction:
        """The price of a dried kilo at which drying leaves as much as so much a kilo fresh.

        At 8.00 a pound fresh, 1.80 a kilo for drying and 9.5 to 1 it is 5.23 an ounce.
        """
        needed = (fresh_kilo + self.drying_money) * self.ratio + self.pouch_money
        return needed * MILLION / self.dried_sold_ppm


def an_ounce(kilo_money: Fraction) -> int:
    """Say a price of a kilo for an ounce (28.349523125 g), rounded half to even."""
    return round(kilo_money * OUNCE_MG / MILLION)


def a_pound(kilo_money: Fraction) -> int:
    """Say a price of a kilo for a pound (453.59237 g), rounded half to even."""
    return round(kilo_money * POUND_MG / MILLION)
