"""Shares of a season: paid ahead, given out box by box, each at its price."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from django.db import transaction
from django.utils import timezone

from farm.actions.common import Doing
from farm.actions.selling.pricing import to_cent
from farm.actions.selling.selling import Deal, Priced, SoldLine, priced
from farm.models import BoxDelivery, BoxLeft, Share
from farm.units import MONEY_PER_CENT
from ledger import book
from ledger.amounts import largest_remainder
from ledger.errors import Malformed, NotStanding


def as_box(share: Share, lines: Sequence[SoldLine], day: date) -> tuple[list[SoldLine], int]:
    """Share the box price out over its goods by what they are worth, in whole cents.

    Lots of the same goods are one line of it. Returns the lines, and what they are worth together
    at the prices stated, tax in it. A box at 12.00 with goods of 5.00, 5.00 and 4.00: 4.29, 4.28
    and 3.43. What is worth nothing gets nothing, unless all is.
    """
    if not lines:
        raise Malformed(f"A box of {share} with nothing in it cannot be. State what is given.")
    deal = Deal(share.customer.place, share.customer)
    goods: dict[object, list[Priced]] = defaultdict(list)
    for one in priced(deal, day, lines):
        goods[one.line.lot.item_id, one.line.product, one.terms].append(one)
    worth = [sum(one.amount.gross for one in several) for several in goods.values()]
    cents = to_cent(share.box_money, 1) // MONEY_PER_CENT
    parts = largest_remainder(cents, worth if any(worth) else [1] * len(worth))
    boxed = []
    for several, part in zip(goods.values(), parts, strict=True):
        whole_of = sum(one.line.quantity for one in several)
        money = part * MONEY_PER_CENT
        boxed += [replace(one.line, whole_money=money, whole_of=whole_of) for one in several]
    return boxed, sum(worth)


@transaction.atomic
def note_left(doing: Doing, delivery: BoxDelivery) -> BoxLeft:
    """Note that a box was not collected, and what became of it.

    It stays delivered and its price drawn; to owe it again, take its sale back. Noted twice it is
    one.
    """
    book.lock_head()
    known = BoxLeft.objects.filter(delivery=delivery).first()
    if known:
        return known
    note = delivery.note
    if note.sale.entry.is_taken_back:
        raise NotStanding(f"{note}: this box was taken back, so it is owed still. Nothing to note.")
    if not doing.reason.strip():
        raise Malformed(f"{note}: say what became of the box: given away, eaten, composted.")
    return BoxLeft.objects.create(
        delivery=delivery, reason=doing.reason.strip()[:200], noted_at=timezone.now(), by=doing.by
    )
