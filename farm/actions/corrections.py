"""One number of an entry as it would be corrected, for what is asked about it.

Each subject says what is doubtful in the numbers of its kinds (`correction_doubts.py`): the entry
as it would stand, beside its lots as they were before it.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property

from farm.actions.common import Doing, Draw
from farm.actions.questions import PlausibilityQuestion
from farm.models import LotCard, Stage
from farm.queries.entries import on_hand_before, standing
from ledger.models import Entry, Lot

Doubts = Iterable[PlausibilityQuestion | None]


@dataclass(frozen=True)
class Correction:
    """The right quantity of one line, without sign; ``money`` where that is stated as well."""

    doing: Doing
    entry: Entry
    lot: Lot
    role: str
    quantity: int
    money: int | None = None

    @cached_property
    def was(self) -> int:
        """What the line says so far."""
        lines = [one for one in standing(self.entry) if self.is_of(one.lot, one.role)]
        return sum(abs(one.now) for one in lines)

    def is_of(self, lot: Lot, role: str) -> bool:
        return (lot, role) == (self.lot, self.role)

    def draws(self, role: str, *stages: Stage) -> list[Draw]:
        """What went in or came of it, corrected; each lot with what there was of it before."""
        there = on_hand_before(self.entry)
        lines = [one for one in standing(self.entry) if one.role == role]
        cards = LotCard.objects.select_related("lot__item", "strain__species", "species", "product")
        found = cards.in_bulk([one.lot.pk for one in lines], field_name="lot_id")
        drawn = []
        for one in lines:
            lot = found[one.lot.pk].lot
            lot.quantity = there.get(lot.pk, 0)
            if not stages or lot.card.stage in stages:
                right = self.quantity if self.is_of(lot, role) else abs(one.now)
                drawn.append(Draw(lot, right))
        return drawn


# What is asked of a correction of one kind.
Asks = Callable[[Correction], Doubts]


def total(draws: Iterable[Draw]) -> int:
    return sum(draw.quantity for draw in draws)
