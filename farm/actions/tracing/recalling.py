"""Open a recall from a trace, write its notice, keep the calls made, let lots go.

Nothing is ever changed.
"""

from collections.abc import Sequence

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from farm.actions.common import Doing, Recorded, both
from farm.actions.relisting import hold_listed, restand
from farm.actions.tracing.holding import release
from farm.models import Customer, Farm, Recall, RecallCall, RecallLot, RecallNotice, SellingPlace
from farm.queries.tracing.contacts import CUSTOMER, GIVEN, PLACE, Whom, whom_of
from farm.queries.tracing.frozen_lists import frozen_text
from farm.queries.tracing.reach import Reach, reach_of
from farm.queries.tracing.recalls import recalls_kept, state_of
from ledger import book
from ledger.errors import Malformed
from ledger.models import Lot

# Whom a call is to; text: why some was given away, one of `Given`.
Told = Customer | SellingPlace | str
LONGEST_SUSPECTS = 300


@transaction.atomic
def open_recall(doing: Doing, reach: Reach, *, notice: str) -> Recall:
    """Freeze a reach under the next number, and put all that it lists on hold in the same step.

    The reach is worked anew under the lock of the book, so that nothing sold meanwhile is missed.
    Numbers have no gaps: they are given under the lock of the farm's row. Sent twice, one recall.
    """
    book.lock_head()
    Farm.objects.select_for_update().get()
    known = Recall.objects.filter(uuid=doing.uuid).first()
    if known:
        return known
    if not doing.reason.strip():
        raise Malformed("A recall needs its reason. Say what was found, and where.")
    if not reach.lots:
        raise Malformed(f"Nothing is known of {reach.suspects.words}. Choose other suspects.")
    found = reach_of(reach.suspects)
    number = (Recall.objects.aggregate(last=Max("number"))["last"] or 0) + 1
    lots = {lot.code: lot for lot in Lot.objects.filter(code__in=[one.code for one in found.lots])}
    held = hold_listed(doing, lots.values(), f"recall {number}: {doing.reason.strip()}")
    recall = Recall.objects.create(
        number=number,
        opened_at=doing.happened_at,
        by=doing.by,
        uuid=doing.uuid,
        reason=doing.reason.strip(),
        suspects=found.suspects.words[:LONGEST_SUSPECTS],
        asked=found.suspects.asked,
        entry=held,
        frozen=frozen_text(found),
    )
    RecallLot.objects.bulk_create(
        RecallLot(
            recall=recall, lot=lots[one.code], suspect=one.code in found.codes, certain=one.certain
        )
        for one in found.lots
    )
    restand(recall)
    write_notice(doing, recall, notice)
    return recall


@transaction.atomic
def write_notice(doing: Doing, recall: Recall, text: str) -> RecallNotice:
    """Keep the notice's words as its next version; the same words again are no new version."""
    Farm.objects.select_for_update().get()
    words = text.replace("\r\n", "\n").replace("\0", "").strip()
    if not words:
        raise Malformed(f"The notice of recall {recall.number} has no words. Write what to do.")
    last = recall.notices.last()
    if last and last.text == words:
        return last
    return RecallNotice.objects.create(
        recall=recall,
        version=last.version + 1 if last else 1,
        written_at=doing.happened_at,
        by=doing.by,
        text=words,
    )


@transaction.atomic
def take_out(doing: Doing, recall: Recall, lots: Sequence[Lot]) -> Recorded:
    """Let listed lots go, with the reason: they leave the list, struck, and may be used again."""
    state = state_of(recall)
    listed = {lot.code for lot in state.now.lots}
    for lot in lots:
        if lot.code not in listed:
            raise Malformed(
                f"Lot {lot.code} is not on the list of recall {recall.number}. Choose lots that "
                "are.",
                [lot.code],
            )
    return release(doing, lots)


@transaction.atomic
def add_call(
    doing: Doing, recall: Recall, whom: Told, *, reached: bool, recovered_mg: int
) -> RecallCall:
    """Keep a call: whom, when, by whom, the answer (the doing's reason), the weight it brings back.

    ``whom``: a customer, a place where no name is known, or the reason for which some was given
    away. Refuses more weight than they received of this recall's lots: a mistyped unit, or goods
    of other lots.
    """
    book.lock_head()
    known = RecallCall.objects.filter(uuid=doing.uuid).first()
    if known:
        return known
    if not doing.reason.strip():
        raise Malformed("A call needs its answer. Say what was answered, or that nobody did.")
    _check_weight(recall, whom, recovered_mg)
    call = RecallCall.objects.create(
        recall=recall,
        called_at=doing.happened_at,
        recorded_at=timezone.now(),
        by=doing.by,
        uuid=doing.uuid,
        reached=reached,
        answer=doing.reason.strip(),
        recovered_mg=recovered_mg,
        customer=whom if isinstance(whom, Customer) else None,
        place=whom if isinstance(whom, SellingPlace) else None,
        given=whom if isinstance(whom, str) else "",
    )
    restand(recalls_kept().get(pk=recall.pk))
    return call


def _check_weight(recall: Recall, whom: Told, recovered_mg: int) -> None:
    if not recovered_mg:
        return
    state = state_of(recalls_kept().get(pk=recall.pk))
    said = _whom(whom)
    before = sum(call.recovered_mg for call in state.calls if whom_of(call) == said)
    most, together = state.received_mg(said), before + recovered_mg
    if together > most:
        who = whom.number if isinstance(whom, Customer) else str(whom)
        raise Malformed(
            f"{who}: {both(together)} recovered in all, {both(most)} received. Check "
            "the weight and its unit; goods of other lots do not belong to this recall."
        )


def _whom(whom: Told) -> Whom:
    if isinstance(whom, Customer):
        return Whom(CUSTOMER, str(whom.pk))
    return Whom(PLACE, whom.name) if isinstance(whom, SellingPlace) else Whom(GIVEN, whom)
