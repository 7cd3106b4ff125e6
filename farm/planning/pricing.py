"""Prices: the floor, the target, and how much must be sold before a day pays.

Margin is profit in parts of the price; markup is profit in parts of the cost. A cost of 6.00 at a
margin of 40 % asks 10.00; at a markup of 40 % only 8.40.
"""

from dataclasses import dataclass
from fractions import Fraction
from math import ceil

from farm.planning.card import MILLION, Card
from ledger.errors import Malformed

CENT = 100


@dataclass(frozen=True)
class Ask:
    """A price a kilo without tax, what a pack costs the customer, and what it leaves.

    ``pack_money`` includes the tax. ``cost``: the kilo sold at the place with the share of the
    takings. Margin and markup are of the net price and of that cost.
    """

    net_kg_money: Fraction
    pack_money: int
    cost: Fraction

    @property
    def profit(self) -> Fraction:
        return self.net_kg_money - self.cost

    @property
    def margin(self) -> Fraction:
        return self.profit / self.net_kg_money if self.net_kg_money else Fraction(0)

    @property
    def markup(self) -> Fraction:
        return self.profit / self.cost if self.cost else Fraction(0)


@dataclass(frozen=True)
class DayBreakEven:
    """What must be sold on a day before it has paid its fee and hours; packs and blocks whole."""

    weight_mg: int
    packs: int
    blocks: int


def floor_ask(card: Card) -> Ask:
    """The price that leaves nothing: cost / (1 - share of takings), the pack rounded up."""
    return _ask_for(card, floor_price(card.chain.placed, card.plan.place.taken))


def target_ask(card: Card, margin: Fraction) -> Ask:
    """The price that leaves a margin, the pack rounded up to the cent."""
    return _ask_for(card, target_price(card.chain.placed, card.plan.place.taken, margin))


def ask_of_pack(card: Card, pack_money: int) -> Ask:
    """What a stated price of a pack, tax included, leaves."""
    if pack_money <= 0:
        raise Malformed("A price of nothing leaves nothing. State a price above zero.")
    net = Fraction(pack_money * MILLION, card.plan.pack.net_mg) / _with_tax(card)
    return Ask(net, pack_money, card.chain.placed + net * card.plan.place.taken)


def floor_price(cost: Fraction, taken: Fraction) -> Fraction:
    return target_price(cost, taken, Fraction(0))


def target_price(cost: Fraction, taken: Fraction, margin: Fraction) -> Fraction:
    """Cost / (1 - share taken - margin): 28.588 at 5 % taken and no margin is 30.093."""
    if taken + margin >= 1:
        raise Malformed(
            "The shares of the takings and the margin leave nothing of the price. State less."
        )
    return cost / (1 - taken - margin)


def margin_of(markup: Fraction) -> Fraction:
    """25 % markup is 20 % margin."""
    return markup / (1 + markup)


def markup_of(margin: Fraction) -> Fraction:
    """20 % margin is 25 % markup; a margin of the whole price has none."""
    return margin / (1 - margin)


def break_even(
    fixed: Fraction, price: Fraction, variable: Fraction, *, wished: Fraction = Fraction(0)
) -> Fraction:
    """Units that earn the fixed cost and a wished profit: (fixed + wished) / (price - variable)."""
    if price <= variable:
        raise Malformed("Each one sold costs as much as it brings, or more: no number breaks even.")
    return (fixed + wished) / (price - variable)


def day_break_even(card: Card, ask: Ask) -> DayBreakEven:
    """How much of this must be sold, at this price, before the day has paid for itself."""
    variable = card.chain.sold + ask.net_kg_money * card.plan.place.taken
    fixed = card.plan.place.day_cost(card.plan.rates)
    # A day that costs nothing is paid for before the first pack, whatever the price.
    kilos = break_even(fixed, ask.net_kg_money, variable) if fixed else Fraction(0)
    return DayBreakEven(
        weight_mg=ceil(kilos * MILLION),
        packs=ceil(kilos * MILLION / card.plan.pack.net_mg),
        blocks=ceil(kilos / card.chain.sold_kg),
    )


def _ask_for(card: Card, net: Fraction) -> Ask:
    pack = net * _with_tax(card) * card.plan.pack.net_mg / MILLION
    cost = card.chain.placed + net * card.plan.place.taken
    return Ask(net, ceil(pack / CENT) * CENT, cost)


def _with_tax(card: Card) -> Fraction:
    return 1 + Fraction(card.plan.place.tax_ppm, MILLION)
