"""Split the difference between what a batch cost and what was planned for what came of it.

The figures of the plan take the place of the actual ones in this order, and each step is the
difference that it makes: price, quantity, loss, yield.

* price: (price paid - planned price) x quantity used;
* quantity: (quantity used - planned for the blocks started) x planned price;
* loss: what the blocks started were planned to cost, less the same for as many as would have
  given the good ones at the planned loss;
* yield: what those blocks were planned to cost, less the same for as many as would have given
  the weight at the planned yield.

Above nothing: dearer than planned. Losses divide, as in the book and the card. 450 used at 6.50,
where 430 at 6.90 were planned: price -180.00, quantity +138.00, together -42.00.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from farm.planning.card import whole_parts

DIFFERENCES = ("price", "quantity", "loss", "yield")


@dataclass(frozen=True)
class Used:
    """So much of one thing, and what it cost; quantity in mg, pieces or thousandths of a unit."""

    name: str
    unit: str
    quantity: Fraction
    money: int


@dataclass(frozen=True)
class Planned:
    """So much planned of one thing, at a price per unit of quantity."""

    name: str
    unit: str
    quantity: Fraction
    price: Fraction


@dataclass(frozen=True)
class Factor:
    """One thing beside its plan. actual - planned = price + quantity."""

    name: str
    unit: str
    used_quantity: int
    planned_quantity: int
    actual: int
    planned: int
    price: int

    @property
    def quantity(self) -> int:
        return self.actual - self.planned - self.price


@dataclass(frozen=True)
class Outcome:
    """What came of the blocks, beside the plan. ``got_mg``: picked and still expected."""

    started: int
    good: int
    got_mg: int
    kept: Fraction
    yield_mg: int


@dataclass(frozen=True)
class Against:
    """A batch against its plan. actual - planned = price + quantity + loss + yielded.

    ``planned``: what the plan allows for the weight that came of it.
    """

    factors: tuple[Factor, ...]
    loss: int
    yielded: int

    @property
    def actual(self) -> int:
        return sum(factor.actual for factor in self.factors)

    @property
    def price(self) -> int:
        return sum(factor.price for factor in self.factors)

    @property
    def quantity(self) -> int:
        return sum(factor.quantity for factor in self.factors)

    @property
    def planned(self) -> int:
        return self.actual - self.whole

    @property
    def whole(self) -> int:
        return sum(self.parts)

    @property
    def parts(self) -> tuple[int, int, int, int]:
        """The four differences in their order."""
        return self.price, self.quantity, self.loss, self.yielded


def against(
    growing: Sequence[tuple[Used, Planned]],
    picking: Sequence[tuple[Used, Planned]],
    outcome: Outcome,
) -> Against:
    """Compare; each cumulative figure is rounded once, half to even, so that all adds up.

    ``growing``: planned for the blocks started. ``picking``: planned for the weight picked.
    """
    grown, picked = _factors(growing), _factors(picking)
    blocks = sum((plan.quantity * plan.price for _, plan in growing), Fraction(0))
    started = sum(factor.planned for factor in grown)
    each = blocks / outcome.started
    for_good = each * outcome.good / outcome.kept
    for_weight = each * Fraction(outcome.got_mg, outcome.yield_mg) / outcome.kept
    return Against(
        factors=(*grown, *picked),
        loss=started - round(for_good),
        yielded=round(for_good) - round(for_weight),
    )


def _factors(pairs: Sequence[tuple[Used, Planned]]) -> list[Factor]:
    planned = whole_parts(plan.quantity * plan.price for _, plan in pairs)
    return [
        Factor(
            name=used.name,
            unit=used.unit,
            used_quantity=round(used.quantity),
            planned_quantity=round(plan.quantity),
            actual=used.money,
            planned=money,
            price=used.money - round(used.quantity * plan.price),
        )
        for (used, plan), money in zip(pairs, planned, strict=True)
    ]


def paired(used: Sequence[Used], planned: Sequence[Planned]) -> list[tuple[Used, Planned]]:
    """Set what was used beside what was planned, by name.

    What no plan named was planned as none, at the price it had: all of it is quantity.
    """
    plans = {plan.name: plan for plan in planned}
    found = {one.name: one for one in used}
    nothing = Fraction(0)
    pairs = [
        (found.get(plan.name, Used(plan.name, plan.unit, nothing, 0)), plan) for plan in planned
    ]
    for one in used:
        if one.name not in plans:
            price = one.money / one.quantity if one.quantity else nothing
            pairs.append((one, Planned(one.name, one.unit, nothing, price)))
    return pairs
