"""Find a lot by the code on its tape, as it was typed or scanned; and say amounts of lots."""

from dataclasses import dataclass

from farm.queries.stock import lot_by_code, lots_near
from ledger.codes import tidy
from ledger.models import Dimension, Lot


class UnknownLotError(LookupError):
    """No lot has this code; ``suggestions`` are lots whose codes differ in one sign."""

    def __init__(self, typed: str, suggestions: tuple[str, ...]) -> None:
        remedy = "Look at the tape again."
        if suggestions:
            remedy = f"Did you mean {' or '.join(suggestions)}?"
        super().__init__(f"No lot has the code “{typed[:20]}”. {remedy}")
        self.suggestions = suggestions


@dataclass(frozen=True)
class Amount:
    """So much of a lot: pieces where it is counted, and what they weigh."""

    pieces: int | None
    mass_mg: int | None


def find_lot(typed: str) -> Lot:
    """Return the lot with a code, forgiving case, spaces and dashes; two queries at most.

    Raises UnknownLotError with the lots that the code may have meant: one wrong sign.
    """
    lot = lot_by_code(typed)
    if lot is None:
        raise UnknownLotError(tidy(typed), tuple(lots_near(typed)[:5]))
    return lot


def amount_of(quantity: int, dimension: str, unit_mass_mg: int | None) -> Amount:
    """Say a quantity in pieces and weight; what is measured by volume has neither."""
    if dimension == Dimension.MASS:
        return Amount(None, quantity)
    if dimension == Dimension.VOLUME:
        return Amount(None, None)
    return Amount(quantity, quantity * unit_mass_mg if unit_mass_mg else None)


def amount_in(lot: Lot, quantity: int) -> Amount:
    """Say a quantity of a lot whose item is at hand."""
    return amount_of(quantity, lot.item.dimension, lot.unit_mass_mg)
