"""Whole numbers shared out so that the parts add up to the whole."""

from collections.abc import Sequence
from decimal import Decimal

MILLION = 1_000_000
DECIMALS = 4


def split(total: int, weights: Sequence[int]) -> list[int]:
    """Share ``total`` by ``weights``; each running sum is rounded down, so the parts add up.

    Part k is total*cum_k//W - total*cum_(k-1)//W: the remainder goes where the running sum
    crosses a whole unit. split(100, [1, 1, 1]) is [33, 33, 34].
    Weights are whole, none negative, not all zero; else ValueError.
    """
    whole = sum(weights)
    if whole <= 0 or min(weights) < 0:
        raise ValueError(f"Cannot share by the weights {list(weights)}.")
    parts, running, before = [], 0, 0
    for weight in weights:
        running += weight
        after = total * running // whole
        parts.append(after - before)
        before = after
    return parts


def largest_remainder(total: int, weights: Sequence[int]) -> list[int]:
    """Share ``total`` by ``weights``, the units left over going to the largest remainders.

    Ties go to the earlier. largest_remainder(100, [1, 1, 1]) is [34, 33, 33].
    Same demands on the weights as ``split``.
    """
    whole = sum(weights)
    if whole <= 0 or min(weights) < 0:
        raise ValueError(f"Cannot share by the weights {list(weights)}.")
    parts = [total * weight // whole for weight in weights]
    order = sorted(range(len(weights)), key=lambda k: (-(total * weights[k] % whole), k))
    for k in order[: total - sum(parts)]:
        parts[k] += 1
    return parts


def in_turn(total: int, rooms: Sequence[int]) -> tuple[list[int], int]:
    """Hand ``total`` out in the order given, each room filled before the next; and what is left.

    Whole numbers of one unit, a part for each room; parts and what is left add up to ``total``.
    in_turn(7, [4, 2, 5]) is ([4, 2, 1], 0); in_turn(7, [4, 2]) is ([4, 2], 1). Of equal rooms the
    earlier is filled first. A room of nothing, or below it, takes nothing; below zero there is
    nothing to hand out, and all of it is left.
    """
    parts = []
    for room in rooms:
        part = max(0, min(room, total))
        parts.append(part)
        total -= part
    return parts, total


def part_worth(worth: int, cost: Sequence[int]) -> tuple[int, ...]:
    """Take so much of a cost in several kinds, or all there is: of each its part, by ``split``.

    part_worth(50, [60, 30, 10]) is (30, 15, 5); of no cost it is nothing.
    """
    whole = sum(cost)
    return tuple(split(min(worth, whole), cost)) if whole > 0 else (0,) * len(cost)


def rate_of(quantity: int, ppm: int) -> int:
    """Take ``ppm`` parts per million of a quantity, rounded down: 7 % of 40 pieces is 2."""
    return quantity * ppm // MILLION


def in_words(quantity: int, dimension: str) -> str:
    """Say a quantity in the unit people use: “2.5 kg”, “0.3 litres”, “3 pieces”.

    Rounded half to even to four decimals, or to four digits where it begins later, so that what
    is little is never said to be nothing: 181,433 mg is 0.1814 kg, 1 mg is 0.000001 kg.
    """
    if dimension == "count":
        return "1 piece" if quantity == 1 else f"{quantity} pieces"
    unit = "kg" if dimension == "mass" else "litres"
    exact = Decimal(quantity).scaleb(-6)
    decimals = max(DECIMALS, DECIMALS - 1 - exact.adjusted()) if quantity else DECIMALS
    return f"{exact.quantize(Decimal(1).scaleb(-decimals)).normalize():f} {unit}"
