"""Open a recall from a trace, write its notice, keep the calls made. Nothing is ever changed."""

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from farm.actions.common import Doing, both
from farm.models import Customer, Farm, Recall, RecallCall, RecallNotice, SellingPlace
from farm.queries.frozen import Frozen, frozen_text, thaw
from farm.queries.reach import Reach
from ledger.errors import Malformed

LONGEST_SUSPECTS = 300


@transaction.atomic
def open_recall(doing: Doing, reach: Reach, *, notice: str) -> Recall:
    """Freeze a reach under the next number, with the first words of its notice.

    Numbers have no gaps: they are given under the lock of the farm's row. Sent twice, one recall.
    """
    Farm.objects.select_for_update().get()
    known = Recall.objects.filter(uuid=doing.uuid).first()
    if known:
        return known
    if not doing.reason.strip():
        raise Malformed("A recall needs its reason. Say what was found, and where.")
    if not reach.lots:
        raise Malformed(f"Nothing is known of {reach.suspects.words}. Choose other suspects.")
    last = Recall.objects.aggregate(last=Max("number"))["last"] or 0
    recall = Recall.objects.create(
        number=last + 1,
        opened_at=doing.happened_at,
        by=doing.by,
        uuid=doing.uuid,
        reason=doing.reason.strip(),
        suspects=reach.suspects.words[:LONGEST_SUSPECTS],
        frozen=frozen_text(reach),
    )
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
def add_call(
    doing: Doing, recall: Recall, whom: Customer | SellingPlace, *, reached: bool, recovered_mg: int
) -> RecallCall:
    """Keep a call: whom, when, by whom, the answer (the doing's reason), the weight it brings back.

    Refuses more weight than the customer or place received of this recall's lots: a mistyped
    unit, or goods of other lots.
    """
    Farm.objects.select_for_update().get()
    known = RecallCall.objects.filter(uuid=doing.uuid).first()
    if known:
        return known
    if not doing.reason.strip():
        raise Malformed("A call needs its answer. Say what was answered, or that nobody did.")
    _check_weight(recall, whom, recovered_mg)
    return RecallCall.objects.create(
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
    )


def _check_weight(recall: Recall, whom: Customer | SellingPlace, recovered_mg: int) -> None:
    before = recall.calls.filter(
        **{"customer" if isinstance(whom, Customer) else "place": whom}
    ).values_list("recovered_mg", flat=True)
    most = received_mg(thaw(recall.frozen), whom)
    together = sum(before) + recovered_mg
    if recovered_mg and together > most:
        who = whom.number if isinstance(whom, Customer) else whom.name
        raise Malformed(
            f"{who}: {both(together)} recovered in all, {both(most)} received. Check "
            "the weight and its unit; goods of other lots do not belong to this recall."
        )


def received_mg(frozen: Frozen, whom: Customer | SellingPlace) -> int:
    """What a customer or an unnamed place received of a recall's lots."""
    if isinstance(whom, Customer):
        rows = [one for one in frozen.recipients if one.customer_id == whom.pk]
        return sum(one.certain_mg + one.possible_mg for one in rows)
    there = [one for one in frozen.unnamed if one.place == whom.name]
    return sum(one.loaded.mass_mg or one.sold.mass_mg or 0 for one in there)
