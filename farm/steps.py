"""Whole last digits (cents, grams) handed out so that what is printed adds up."""

from collections.abc import Sequence
from fractions import Fraction

Step = int | Fraction


def share_steps(values: Sequence[int], step: Step, whole: int | None = None) -> list[int]:
    """Round each value to steps so that they add up to the whole, or to the rounded total.

    Every value is rounded down, and the steps still missing go to the largest remainders, the
    earlier row first on a tie: 33,333 three times in steps of 100 gives 334, 333, 333.
    ``whole``: what the values come to together, where that is known. Where it is more or less
    than rounding each can give, all take more or less alike, those that rounding cost most first.
    """
    parts = [value // step for value in values]
    missing = (rounded(sum(values), step) if whole is None else whole) - sum(parts)
    order = sorted(range(len(values)), key=lambda i: -(values[i] % step))
    for rank, index in enumerate(order):
        parts[index] += (missing - rank - 1) // len(values) + 1
    return parts


def steps_across(rows: Sequence[Sequence[int]], step: Step, *, has_total: bool) -> list[list[int]]:
    """Round a table whose rows add up across, each returned with its sum behind it.

    With a total row (the last) it comes first: its parts are handed out under its rounded sum, so
    that every table of one whole prints the same parts. Then each column's steps go under its
    printed total, to the rows that rounding has cost most so far (at first the largest
    remainder), and a row's sum is that of its printed cells. So both ways add up; a row's sum may
    be a step off what it is alone, which is said here and not hidden.
    Without a total row each row is handed out under its own rounded sum.
    """
    if not has_total:
        shared = [share_steps(row, step) for row in rows]
        return [[*row, sum(row)] for row in shared]
    body, total = rows[:-1], share_steps(rows[-1], step)
    owed: list[Step] = [0] * len(body)
    printed: list[list[int]] = [[] for _ in body]
    for column, column_steps in enumerate(total):
        down = [row[column] // step for row in body]
        rests = [row[column] % step for row in body]
        owed = [before + rest for before, rest in zip(owed, rests, strict=True)]
        # What is whole steps already stays so: nothing is made of 0.00.
        order = sorted(range(len(body)), key=lambda at: (rests[at] == 0, -owed[at], at))
        for at in order[: column_steps - sum(down)]:
            down[at] += 1
            owed[at] -= step
        for row, steps in zip(printed, down, strict=True):
            row.append(steps)
    return [[*row, sum(row)] for row in [*printed, total]]


def rounded(value: int, step: Step) -> int:
    """Divide by step, half to even: 62,450 in steps of 100 is 624, 62,550 is 626."""
    return round(Fraction(value) / step)
