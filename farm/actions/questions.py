"""A question that a person answers before a doubtful number is written."""

from collections.abc import Sequence
from dataclasses import replace

from farm.actions.common import Doing
from ledger.errors import Malformed

PRICE_SLIPPED = "This price is far from the usual one. Did a decimal mark slip?"
PRICE_OFF = "This price is far from the usual one. Is the weight right?"


class PlausibilityQuestion(Malformed):
    """Something is doubtful, not wrong: the page asks, and a yes sends it again, sure.

    ``is_money``: it names a price, and is shown to those alone who may see prices; ``discreet``
    is what all others are asked.
    """

    def __init__(
        self,
        question: str,
        lots: Sequence[str] = (),
        *,
        is_money: bool = False,
        discreet: str = "",
    ) -> None:
        super().__init__(f"{question} Correct it, or say that it is right.", lots)
        self.question, self.is_money = question, is_money
        self.discreet = discreet or (PRICE_SLIPPED if is_money else question)


def answered(doing: Doing, *doubts: PlausibilityQuestion | None) -> Doing:
    """Ask all that is doubtful at once; with a yes, the entry keeps what was asked and answered.

    All at once, so that a yes to one question never answers another that was not shown.
    """
    found = [doubt for doubt in doubts if doubt is not None]
    if not found:
        return doing
    if not doing.sure:
        lots = sorted({lot for doubt in found for lot in doubt.lots})
        asked, discreet = (
            " ".join(getattr(doubt, words) for doubt in found) for words in ("question", "discreet")
        )
        raise PlausibilityQuestion(asked, lots, discreet=discreet)
    plain = " ".join(doubt.question for doubt in found if not doubt.is_money)
    of_money = " ".join(doubt.question for doubt in found if doubt.is_money)
    return replace(doing, asked=plain, asked_money=of_money)
