"""What changes an entry: taken back, corrected."""

from dataclasses import dataclass
from typing import Annotated

from farm.kinds.kind import Kind
from farm.kinds.particulars import Particulars, Said, Unit


@dataclass(frozen=True, kw_only=True)
class Correction(Particulars):
    """The right number that was typed."""

    right_quantity: Annotated[int, Said(unit=Unit.NUMBER, elsewhere=True)]
    right_money: Annotated[int | None, Said(unit=Unit.MONEY, elsewhere=True)]


UNDO = Kind("undo")
CORRECT = Kind("correct", particulars=Correction)

KINDS = (UNDO, CORRECT)
