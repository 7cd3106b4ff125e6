"""Keep recalls up to date: hold at once what came on a list since, and count what is left to do."""

from collections.abc import Iterable
from uuid import uuid5

from django.db.models import Q, QuerySet

from farm.actions.common import Doing, draft
from farm.kinds.tracing import HOLD
from farm.models import Recall, RecallLot, RecallStanding
from farm.queries.tracing.recall_list import Listed, listed_by
from farm.queries.tracing.recalls import RecallState, recalls_kept, state_of
from ledger import book
from ledger.asked_often import AskedOften, Row
from ledger.drafts import MarkDraft
from ledger.models import Entry, Line, Lot, Mark

LONGEST_REASON = 300


def keep_up(doing: Doing, *, after: int) -> None:
    """Bring each recall up to date that entries after one touch; one query where none does.

    A delivery or a move that is typed late may turn out to be of what a recall asked for, so that
    recalls of a room or of a supplier's lot are looked at each time.
    """
    touched = {recall for (recall,) in _touched([after])}
    for recall in recalls_kept().filter(pk__in=touched) if touched else ():
        relist(doing, recall)


def _touched_after(seqs: list[int]) -> "QuerySet[Recall, Row]":
    places = Entry.objects.filter(seq__gt=seqs[0]).values("place")
    lines = Line.objects.filter(entry__seq__gt=seqs[0]).values("lot")
    marks = Mark.objects.standing_at(places).values("lot")
    return Recall.objects.filter(
        Q(lots__lot__in=lines) | Q(lots__lot__in=marks) | ~Q(asked="")
    ).values_list("pk")


_touched = AskedOften(_touched_after)


def relist(doing: Doing, recall: Recall) -> None:
    """Work the list of a recall anew, and hold what came on it and is free."""
    listed = listed_by(recall)
    on = set(listed.lots) - listed.left
    free = list(Lot.objects.filter(pk__in=on, held=False).order_by("pk"))
    if free:
        hold_listed(doing, free, f"recall {recall.number}: came on its list since")
        listed = listed_by(recall)
    _keep_rows(recall, listed)
    restand(recall)


def hold_listed(doing: Doing, lots: Iterable[Lot], why: str) -> Entry:
    """Put what a recall lists on hold, each lot, whether some of it is here or may come back."""
    said = draft(doing, HOLD, [], marks=[MarkDraft(lot, held=True) for lot in lots])
    held = said.but(reason=why[:LONGEST_REASON], uuid=uuid5(doing.uuid, why.partition(":")[0]))
    return book.record(held).entry


def restand(recall: Recall) -> RecallState:
    """Count what is left to do for a recall."""
    state = state_of(recall)
    to_do = state.to_do
    RecallStanding.objects.update_or_create(
        recall=recall,
        defaults={
            "customers": len(state.customers),
            "told": state.reached,
            "silent_customers": to_do.customers,
            "silent_places": to_do.places,
            "silent_given": to_do.given,
            "here": to_do.here,
            "sold_mg": state.sold_mg,
        },
    )
    return state


def _keep_rows(recall: Recall, listed: Listed) -> None:
    """Write the rows of a list that differ; what is reached no more has none."""
    gone = recall.lots.exclude(lot__in=listed.lots)
    gone.delete()
    RecallLot.objects.bulk_create(
        [
            RecallLot(
                recall=recall,
                lot_id=lot,
                suspect=lot in listed.suspects,
                certain=lot in listed.certain,
                left=lot in listed.left,
                came_at=listed.came_at.get(lot),
            )
            for lot in listed.lots
        ],
        update_conflicts=True,
        unique_fields=("recall", "lot"),
        update_fields=("suspect", "certain", "left", "came_at"),
    )
