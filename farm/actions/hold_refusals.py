"""Refuse what a hold forbids, naming the recall that lists the lot, and since when it is held."""

from collections.abc import Iterable

from django.utils import timezone

from farm import habits
from farm.actions.common import Doing
from farm.queries.tracing.recalls import recalls_by_code
from ledger.errors import OnHold
from ledger.models import Lot
from ledger.working import held_since


def refuse_held(doing: Doing, lots: Iterable[Lot], done: str) -> None:
    """Refuse to load or give away what is on hold; told late and with a reason it is accepted.

    ``done``: what may not be done with it, in words. The book itself refuses uses and sales.
    """
    for lot in Lot.objects.filter(pk__in=[lot.pk for lot in lots], held=True).order_by("pk"):
        since = held_since(lot.pk)
        if since and doing.happened_at < since and doing.reason.strip():
            continue
        raise OnHold(
            f"Lot {lot.code} is on hold and may not be {done}. Release it with a reason first, or "
            "leave it out.",
            [lot.code],
            since=since,
        )


def named(refusal: OnHold) -> OnHold:
    """Put the recall before a refusal, and behind it what may still be told late."""
    recalls = recalls_by_code(refusal.lots)
    listed = [
        f"Recall {number} lists lot {code}." for code in refusal.lots for number in recalls[code]
    ]
    late = []
    if refusal.since:
        since = habits.moment(timezone.localtime(refusal.since))
        late = [f"If it was done before {since}, state that time, with a reason in the note."]
    return OnHold(" ".join([*listed, str(refusal), *late]), refusal.lots, since=refusal.since)
