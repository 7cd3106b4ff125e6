"""Take a share of a season: so many boxes on the days of a standing order, paid ahead."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from uuid import uuid5

from django.db import transaction

from farm.actions.common import Doing
from farm.actions.orders.orders import Days, Wanted, take_order
from farm.models import Customer, Share, the_farm
from farm.units import MONEY_PER_CENT, show_money
from ledger import book
from ledger.errors import Conflict, Malformed


@dataclass(frozen=True)
class Season:
    """So many boxes at a price, from a first day on, every so many weeks."""

    first: date
    every_weeks: int
    boxes: int
    box_money: int


@transaction.atomic
def take_share(
    doing: Doing, *, customer: Customer, season: Season, lines: Sequence[Wanted]
) -> Share:
    """Write down a member's share: what is usually in a box, how many, how often, at what price.

    What a box holds may differ each time, as in any delivery. Its days are those of its order,
    which may rest: then the last box comes later. Sent twice it is one.
    """
    book.lock_head()
    known = Share.objects.filter(uuid=doing.uuid).select_related("order").first()
    if known:
        said = (known.customer, known.boxes, known.box_money)
        if said != (customer, season.boxes, season.box_money):
            raise Conflict(
                f"This form was sent before with other content, as {known}. Fill in a new form."
            )
    else:
        _check(season)
    share = known or Share.objects.create(
        customer=customer,
        boxes=season.boxes,
        box_money=season.box_money,
        taken_at=doing.happened_at,
        by=doing.by,
        uuid=doing.uuid,
    )
    take_order(
        replace(doing, uuid=uuid5(doing.uuid, "order")),
        customer=customer,
        days=Days(season.first, season.every_weeks),
        lines=lines,
        share=share,
    )
    return share


def _check(season: Season) -> None:
    if season.boxes <= 0 or season.every_weeks <= 0:
        raise Malformed(
            f"{season.boxes} boxes every {season.every_weeks} weeks cannot be. State 1 or more."
        )
    if season.box_money <= 0 or season.box_money % MONEY_PER_CENT:
        raise Malformed(
            f"A box at {show_money(season.box_money, the_farm().currency)} cannot be. State its "
            "price in whole cents."
        )
