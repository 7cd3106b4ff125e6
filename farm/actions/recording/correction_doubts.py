"""What is doubtful in a corrected number: the questions it would have met when first recorded.

Asked is only about what the correction changes; what each kind asks stands with its subject.
"""

from collections.abc import Iterator, Mapping

from farm import habits
from farm.actions.common import Draw, amount_words
from farm.actions.corrections import Asks, Correction
from farm.actions.growing.correction_doubts import DOUBTS as OF_GROWING
from farm.actions.promise_doubts import set_aside_doubt
from farm.actions.questions import PlausibilityQuestion
from farm.actions.selling.correction_doubts import DOUBTS as OF_SELLING
from farm.actions.store.correction_doubts import DOUBTS as OF_STORE
from farm.actions.store.storing import SCALE_MG
from farm.queries.entries import gave_in
from farm.queries.store.later_weights import stated_later
from ledger.models import Dimension, Role

DOUBTS: Mapping[str, Asks] = {**OF_GROWING, **OF_STORE, **OF_SELLING}
TAKES = (Role.USED, Role.SOLD, Role.LOST)
LEAVES = (*TAKES, Role.SHRUNK)


def correction_doubts(correction: Correction) -> Iterator[PlausibilityQuestion | None]:
    """Ask what recording the right number would have asked."""
    asks = DOUBTS.get(correction.entry.kind)
    if asks:
        yield from asks(correction)
    more = correction.quantity - correction.was
    if correction.role in TAKES and more > 0 and correction.was:
        yield set_aside_doubt([Draw(correction.lot, more)])
    yield _against_the_scale(correction, -more if correction.role in LEAVES else more)


def _against_the_scale(to: Correction, change: int) -> PlausibilityQuestion | None:
    """Ask where a correction leads away from what was weighed or counted of the lot later on.

    8 kg picked, weighed 7.5 kg two days later, and corrected to 4: the book would say 3.5 kg for
    the day on which the scale said 7.5.
    """
    if to.role == Role.USED and to.lot.pk in {lot.pk for lot in gave_in(to.entry)}:
        return None  # what blocks gave: they are counted, and none of them left
    slack = SCALE_MG if to.lot.item.dimension == Dimension.MASS else 0
    later = [one for one in stated_later(to.lot, to.entry) if one.is_worse_by(change, slack)]
    if not later:
        return None
    first, dimension = later[0], to.lot.item.dimension
    found, then = (amount_words(n, dimension) for n in (first.found, max(0, first.book + change)))
    verb = "weighed" if dimension == Dimension.MASS else "counted"
    more = f" (and {len(later) - 1} more times since)" if later[1:] else ""
    return PlausibilityQuestion(
        f"Lot {to.lot.code}: {found} were {verb} on {habits.day(first.day)} ({first.where}){more}, "
        f"and with this correction the book says {then} for that moment. Is the correction right, "
        f"and what was {verb} wrong? Then correct that as well.",
        [to.lot.code],
    )
