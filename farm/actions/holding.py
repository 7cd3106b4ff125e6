"""Put lots on hold when something is wrong with them, and release them."""

from collections.abc import Sequence

from farm.actions.common import Doing, post
from farm.actions.once import action
from ledger.book import Recorded
from ledger.drafts import MarkDraft
from ledger.errors import Malformed
from ledger.models import Lot


@action
def hold(doing: Doing, lots: Sequence[Lot]) -> Recorded:
    """Stop lots from being used or sold; what is picked from held blocks is born on hold."""
    return _mark(doing, "hold", lots, held=True)


@action
def release(doing: Doing, lots: Sequence[Lot]) -> Recorded:
    """Let lots be used and sold again."""
    return _mark(doing, "release", lots, held=False)


def _mark(doing: Doing, kind: str, lots: Sequence[Lot], *, held: bool) -> Recorded:
    if not doing.reason.strip():
        codes = [lot.code for lot in lots]
        raise Malformed(
            f"Lot {', '.join(codes)}: a {kind} needs its reason. Say what was found.", codes
        )
    return post(doing, kind, [], marks=[MarkDraft(lot, held) for lot in lots])
