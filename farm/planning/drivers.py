"""What a kilo's cost comes from, where one cause makes more than half of it."""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from farm.planning.card import Card


@dataclass(frozen=True)
class Driver:
    """One cause, and its share of what a kilo costs sold at the place."""

    key: str
    share: Fraction


def main_driver(card: Card) -> Driver | None:
    """Name the cause of more than half of the cost of a kilo sold at the place, if there is one."""
    parts, whole = steps_of(card), card.chain.placed
    key = max(parts, key=lambda one: parts[one])
    return Driver(key, parts[key] / whole) if 2 * parts[key] > whole else None


def steps_of(card: Card) -> Mapping[str, Fraction]:
    """What each cause adds to a kilo sold at the place, by-products below nothing; they add up."""
    chain = card.chain
    grown, cooled = chain.block / chain.yield_kg, chain.packed / chain.unshrunk
    trimmed = chain.picked / chain.untrimmed
    return {
        "growing": grown,
        "lost": chain.alone - grown,
        "spent blocks sold": chain.ready - chain.alone,
        "picking": chain.picking,
        "trim": trimmed - chain.picked,
        "trim sold": chain.saleable - trimmed,
        "packing": chain.packing,
        "fridge": cooled - chain.packed,
        "unsold": chain.sold - cooled,
        "day": chain.serving,
    }
