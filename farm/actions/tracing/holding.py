"""Put lots on hold when something is wrong with them, and release them."""

from collections.abc import Sequence

from farm.actions.common import Doing, post
from farm.actions.idempotency import action
from farm.kinds.kind import Kind
from farm.kinds.tracing import HOLD, RELEASE
from farm.models import Role
from farm.queries.tracing.holds import owners_alone
from ledger.book import Recorded
from ledger.drafts import MarkDraft
from ledger.errors import Malformed
from ledger.models import Lot


@action
def hold(doing: Doing, lots: Sequence[Lot]) -> Recorded:
    """Stop lots from being used or sold; what is picked from held blocks is born on hold."""
    return _mark(doing, HOLD, lots, held=True)


@action
def release(doing: Doing, lots: Sequence[Lot]) -> Recorded:
    """Let lots be used and sold again; what a recall lists or an owner held, an owner alone."""
    check_may_release(doing, lots)
    return _mark(doing, RELEASE, lots, held=False)


def check_may_release(doing: Doing, lots: Sequence[Lot]) -> None:
    """Refuse whoever is no owner, in person and by the sign-in, where only an owner releases."""
    under = doing.typed_by or doing.by.entering_under or doing.by
    if doing.by.role == under.role == Role.OWNER:
        return
    owners = owners_alone(lots)
    if owners:
        why = ". ".join(f"Lot {lot.code}: {owners[lot.pk]}" for lot in lots if lot.pk in owners)
        raise Malformed(
            f"{why}. Only an owner releases it. Tell the owner what you found; until then it "
            "stays on hold.",
            [lot.code for lot in lots if lot.pk in owners],
        )


def _mark(doing: Doing, kind: Kind, lots: Sequence[Lot], *, held: bool) -> Recorded:
    if not doing.reason.strip():
        codes = [lot.code for lot in lots]
        raise Malformed(
            f"Lot {', '.join(codes)}: a {kind} needs its reason. Say what was found.", codes
        )
    return post(doing, kind, [], marks=[MarkDraft(lot, held) for lot in lots])
