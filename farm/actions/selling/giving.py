"""Give something away: samples, gifts, own use. It leaves the book with its cost, and no money."""

from collections.abc import Sequence
from dataclasses import replace
from uuid import uuid5

from farm.actions.common import Doing, Draw, need_some, need_stage, post
from farm.actions.doubts import too_old_doubt
from farm.actions.hold_refusals import refuse_held
from farm.actions.idempotency import action
from farm.actions.questions import answered
from farm.kinds.selling import GIVE_AWAY, SELLABLE
from farm.models import Given, GivenAway, Sale
from ledger.book import Recorded
from ledger.drafts import LineDraft
from ledger.errors import Malformed
from ledger.models import Role


@action
def give_away(doing: Doing, *, why: str, draws: Sequence[Draw]) -> Recorded:
    """Give away part of some lots, or all; ``why`` is one of `Given`, and heads the reason.

    Asks before others are given what is past its days, unless it is on hold and refused; what the
    household eats it has looked at.
    """
    if why != Given.OWN:
        refuse_held(doing, [draw.lot for draw in draws], "given away")
        doing = answered(doing, too_old_doubt([draw.lot for draw in draws], doing.day))
    return post_given(doing, why, draws)


def post_given(
    doing: Doing, why: str, draws: Sequence[Draw], *, sale: Sale | None = None
) -> Recorded:
    """Post what was given away for one reason; ``sale``: the settling that it belongs to."""
    if why not in Given.values:
        raise Malformed(f"“{why}” is no reason to give away. Choose {', '.join(Given.values)}.")
    for draw in draws:
        need_some(draw.quantity, f"of lot {draw.lot.code} given away")
        need_stage(draw.lot, *SELLABLE)
    refuse_held(doing, [draw.lot for draw in draws], "given away")
    said = f"{why}: {doing.reason}" if doing.reason and sale is None else why
    recorded = post(
        replace(doing, reason=said),
        GIVE_AWAY,
        [LineDraft(draw.lot, Role.LOST, -draw.quantity) for draw in draws],
    )
    if recorded.fresh:
        GivenAway.objects.create(entry=recorded.entry, why=why, sale=sale)
    return recorded


def follow_up(doing: Doing, what: str) -> Doing:
    """Say that an entry follows from the same form: its UUID is made of the form's."""
    return replace(doing, uuid=uuid5(doing.uuid, what))
