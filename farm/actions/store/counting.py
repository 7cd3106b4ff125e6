"""Keep a stock count as it was found, and answer what differs from the book."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from farm.actions.common import Doing, last_day
from farm.actions.signing import Signed, one_at_a_time
from farm.actions.store.count_doubts import above_doubt
from farm.actions.store.storing import count_lot, held_when, water_band, weigh_again
from farm.kinds.store import WEIGH_AGAIN
from farm.models import (
    Answered,
    LotCard,
    Room,
    Species,
    Stage,
    StockCount,
    StockCountAnswer,
    StockCountLine,
    the_farm,
)
from farm.queries.store.counts import checked, standing_answer
from farm.queries.store.water_loss import Kept, WaterLoss, water_losses
from ledger import book
from ledger.balances import held_at
from ledger.errors import Conflict, Malformed
from ledger.models import Lot


@dataclass(frozen=True, kw_only=True)
class Counted:
    """What a count says: the lots looked for, and what was found of each; None: not looked at.

    ``ended_at``: when it was over, where it is told later: it waited on a phone without a signal.
    ``sure``: yes to the question whether there can be so much.
    """

    uuid: UUID
    happened_at: datetime
    room: Room | None
    hidden: bool
    found: Sequence[tuple[Lot, int | None]]
    ended_at: datetime | None = None
    sure: bool = False


@transaction.atomic
def keep_count(signed: Signed, counted: Counted) -> StockCount:
    """Keep what was found beside what the book holds at this moment; sent twice, it is kept once.

    One that is told later is held against what the lots held when it was over: 9 kg found, 2 kg
    sold before it arrives, are held against the 10 that were there, not the 8 that are.
    Asks about more of a lot than ever was in it. Changes nothing in the book: each difference is
    answered for itself (`answer_difference`).
    """
    one_at_a_time(signed)
    book.lock_head()
    known = StockCount.objects.filter(uuid=counted.uuid).first()
    if known is not None:
        return _same(known, counted)
    above = None if counted.sure else above_doubt(counted.found)
    if above is not None:
        raise above
    if all(quantity is None for _, quantity in counted.found):
        raise Malformed("Nothing was counted. State what was found of one lot at least.")
    count = StockCount.objects.create(
        uuid=counted.uuid,
        happened_at=counted.happened_at,
        happened_on=counted.happened_at.astimezone(the_farm().zone).date(),
        recorded_at=timezone.now(),
        by=signed.by,
        initials=signed.by.initials,
        typed_by=signed.typed_by,
        room=counted.room,
        hidden=counted.hidden,
    )
    losses, lots = water_losses()[Kept.LOOSE], [lot.pk for lot, _ in counted.found]
    then = held_at(counted.ended_at, lots) if counted.ended_at else {}
    StockCountLine.objects.bulk_create(
        _line(count, lot, quantity, losses=losses, then=then) for lot, quantity in counted.found
    )
    return count


@transaction.atomic
def answer_difference(
    doing: Doing, line: StockCountLine, answered: Answered, *, note: str = ""
) -> StockCountAnswer:
    """Weigh a lot again, set it right, or leave it with a note; what was decided is kept.

    The difference found then is applied to what the book holds now: 10 kg in the book, 9 found,
    2 sold since, so 8 on hand weigh 7. Refuses a difference that was answered by an entry that
    stands.
    """
    book.lock_head()
    known = StockCountAnswer.objects.filter(entry__uuid=doing.uuid).first()
    if known is not None:
        return known
    line = StockCountLine.objects.select_related("lot__item", "lot__card").get(pk=line.pk)
    before = standing_answer(line)
    if before is not None and before.answered == Answered.LEFT == answered and before.note == note:
        return before
    if before is not None and before.entry_id is not None:
        raise Malformed(
            f"Lot {line.lot.code} of this count was answered by entry {before.entry_id}. Take "
            "that entry back first.",
            [line.lot.code],
        )
    if answered not in checked(line).choices:
        raise Malformed(
            f"Lot {line.lot.code} cannot be answered with “{answered.label}”. Choose another "
            "answer.",
            [line.lot.code],
        )
    recorded = _acted(replace(doing, reason=note, sure=True), line, answered)
    return StockCountAnswer.objects.create(
        line=line,
        answered=answered,
        answered_at=timezone.now(),
        by=doing.by,
        initials=doing.by.initials,
        entry=recorded.entry if recorded else None,
        note=note,
    )


def _acted(doing: Doing, line: StockCountLine, answered: Answered) -> book.Recorded | None:
    """Record what the answer asks for; what is left alone needs a note."""
    assert line.found is not None, "what was not counted has no answer"
    lot = Lot.objects.select_related("item", "made_by").get(pk=line.lot_id)
    difference = line.found - line.book
    if answered == Answered.WEIGHED:
        return weigh_again(doing, lot=lot, weight_mg=held_when(doing, lot) + difference)
    if answered == Answered.COUNTED:
        return count_lot(doing, lot=lot, difference=difference)
    if not doing.reason.strip():
        raise Malformed(f"Lot {lot.code} is left as it is. Say why in the note.", [lot.code])
    return None


def _line(
    count: StockCount,
    lot: Lot,
    found: int | None,
    *,
    losses: Mapping[Species, WaterLoss],
    then: Mapping[int, int],
) -> StockCountLine:
    there = Lot.objects.select_related("made_by").get(pk=lot.pk)
    there.quantity = max(0, then.get(lot.pk, there.quantity))
    expected, least = _should_be(there, count, losses)
    return StockCountLine(
        count=count, lot=there, book=there.quantity, expected=expected, least=least, found=found
    )


def _should_be(lot: Lot, count: StockCount, losses: Mapping[Species, WaterLoss]) -> tuple[int, int]:
    """What should be there of a lot, and the least that water explains; only picks dry away."""
    card = LotCard.objects.select_related("species").get(lot=lot)
    species = card.species
    if card.stage != Stage.CROP or species is None:
        return lot.quantity, lot.quantity
    since = last_day(lot, [WEIGH_AGAIN]) or lot.made_by.happened_on
    days = max(0, (count.happened_on - since).days)
    band = water_band(lot.quantity, species.water_loss_ppm, days)
    return losses[species].after(lot.quantity, days), lot.quantity - band


def _same(known: StockCount, counted: Counted) -> StockCount:
    """Return the count that this form made before; refuse other figures under its number."""
    was = set(known.lines.exclude(found=None).values_list("lot", "found"))
    # What was not looked at is no part of what was said: such lots come and go meanwhile.
    if was != {(lot.pk, quantity) for lot, quantity in counted.found if quantity is not None}:
        raise Conflict(
            f"This form was sent before with other figures, as {known}. Count anew in a new form."
        )
    return known
