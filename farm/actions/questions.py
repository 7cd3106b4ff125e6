"""A question that a person answers before a doubtful number is written."""

from collections.abc import Sequence
from dataclasses import replace

from farm.actions.common import Doing
from farm.refusals import MendedByRecording, MendedInDetails
from ledger.errors import Malformed

PRICE_SLIPPED = "This price is far from the usual one. Did a decimal mark slip?"
PRICE_OFF = "This price is far from the usual one. Is the weight right?"


class PlausibilityQuestion(Malformed):
    """Something is doubtful, not wrong: the page asks, and a yes sends it again, sure.

    ``is_money``: it names a price, and is shown to those alone who may see prices; ``is_order``:
    it names a customer, to those alone who may see orders. ``discreet`` is what all others are
    asked. ``parts``: the questions that it puts together. ``instead``: the refusal whose remedy
    leads to what may have to be done first.
    """

    def __init__(
        self,
        question: str,
        lots: Sequence[str] = (),
        *,
        is_money: bool = False,
        is_order: bool = False,
        discreet: str = "",
        instead: MendedByRecording | MendedInDetails | None = None,
    ) -> None:
        super().__init__(f"{question} Correct it, or say that it is right.", lots)
        self.question, self.is_money, self.is_order = question, is_money, is_order
        self.discreet = discreet or (PRICE_SLIPPED if is_money else question)
        self.instead = instead
        self.parts: tuple[PlausibilityQuestion, ...] = (self,)

    def worded(self, *, money: bool, orders: bool) -> str:
        """Word it for who may see ``money``, and ``orders`` with their customers."""
        return " ".join(
            part.question if part._is_open(money=money, orders=orders) else part.discreet
            for part in self.parts
        )

    def _is_open(self, *, money: bool, orders: bool) -> bool:
        return (money or not self.is_money) and (orders or not self.is_order)


def answered(doing: Doing, *doubts: PlausibilityQuestion | None) -> Doing:
    """Ask all that is doubtful at once; with a yes, the entry keeps what was asked and answered.

    All at once, so that a yes to one question never answers another that was not shown. An entry
    is never changed, and a customer's name may be erased: it is kept without.
    """
    found = [doubt for doubt in doubts if doubt is not None]
    if not found:
        return doing
    if not doing.sure:
        lots = sorted({lot for doubt in found for lot in doubt.lots})
        asked = PlausibilityQuestion(" ".join(doubt.question for doubt in found), lots)
        asked.parts = tuple(part for doubt in found for part in doubt.parts)
        asked.instead = next((doubt.instead for doubt in found if doubt.instead), None)
        raise asked
    plain = " ".join(
        doubt.worded(money=True, orders=False) for doubt in found if not doubt.is_money
    )
    of_money = " ".join(doubt.question for doubt in found if doubt.is_money)
    return replace(doing, asked=plain, asked_money=of_money)
