"""Check weights: packs put on the scale and held against the net weight that they declare."""

from collections.abc import Sequence

from farm.actions.common import Doing, both, need_stage, post
from farm.actions.idempotency import action
from farm.actions.questions import PlausibilityQuestion, answered
from farm.kinds.store import CHECK_WEIGHTS, Weights
from farm.models import Stage
from farm.queries.store.check_weights import expected
from ledger.book import Recorded
from ledger.drafts import LineDraft
from ledger.errors import Malformed
from ledger.models import Lot, Role

# Own rule: a pack that is off by more than a fifth was mistyped, or weighed with the wrong tare.
MOST_OFF_PERCENT = 20


@action
def check_weights(
    doing: Doing, *, lot: Lot, tare_mg: int, gross_mg: Sequence[int], scale: str = ""
) -> Recorded:
    """Write down what some packs of a lot weigh, each with its empty pack of ``tare_mg``.

    Nothing leaves the lot. What it declares, the water loss a day expected of it and the days until
    its last day of sale are copied, so that the verdict stays what it was. Asks about a pack that
    is off by more than a fifth.
    """
    card = need_stage(lot, Stage.PACKS)
    assert card.product, "packs are of a product"
    if not gross_mg:
        raise Malformed(f"Lot {lot.code}: no pack was weighed. State what each weighs.", [lot.code])
    doing = answered(doing, *(_doubt(lot, tare_mg, gross_mg=gross) for gross in gross_mg))
    loss = expected(card, doing.day)
    return post(
        doing,
        CHECK_WEIGHTS,
        [LineDraft(lot, Role.COUNTED, 0)],
        particulars=Weights(
            declared_mg=lot.unit_mass_mg or 0,
            tare_mg=tare_mg,
            gross_mg=list(gross_mg),
            rate_ppm=loss.rate_ppm,
            days=loss.days,
            scale=scale,
        ),
    )


def _doubt(lot: Lot, tare_mg: int, *, gross_mg: int) -> PlausibilityQuestion | None:
    net, declared = gross_mg - tare_mg, lot.unit_mass_mg or 0
    if net <= 0:
        raise Malformed(
            f"Lot {lot.code}: a pack of {both(gross_mg)} weighs no more than its tare of "
            f"{both(tare_mg)}. State what it weighs with the pack around it.",
            [lot.code],
        )
    if abs(net - declared) * 100 <= declared * MOST_OFF_PERCENT:
        return None
    return PlausibilityQuestion(
        f"Lot {lot.code}: a pack of {both(gross_mg)} less {both(tare_mg)} of tare is "
        f"{both(net)}, and it declares {both(declared)}. Is that right?",
        [lot.code],
    )
