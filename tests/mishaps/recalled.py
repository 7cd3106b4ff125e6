"""Mishaps around a recall: what left by other doors than a sale, what is typed after the hold."""

from dataclasses import replace

from farm.actions.common import Draw
from farm.actions.selling.giving import give_away
from farm.actions.selling.selling import SoldLine, sell
from farm.actions.tracing.recalling import open_recall
from farm.models import Given, Recall
from farm.queries.tracing.reach import reach_of
from farm.queries.tracing.recalls import state_of
from farm.queries.tracing.suspects import suspect_lots
from ledger.errors import Refused
from ledger.models import Lot
from tests.farm.goods import packs
from tests.farm.sold import sold
from tests.mishaps.must import UNIT, Must, World, fresh, was
from tests.mishaps.selling import with_customer


def sample_and_gift_of_what_is_recalled(world: World) -> list[Must]:
    """Of ten packs one is a sample, two are given, three sold; of the four that are here none goes.

    A sale of one more, before the hold and typed after it, is accepted with its reason.
    """
    customer = with_customer(world, "Recalled To")
    lot = packs(world, 10)
    give_away(world.doing(), why=Given.SAMPLE, draws=[Draw(lot, 1)])
    give_away(world.doing(), why=Given.GIFT, draws=[Draw(fresh(lot), 2)])
    sold(world, fresh(lot), 3)
    before = world.now
    recall = open_recall(
        world.doing(reason="green dust"), reach_of(suspect_lots([lot])), notice="Do not eat."
    )
    refusal = refused(world, lot)
    late = replace(
        world.doing(minutes=0, sure=True, reason="on that day's slip"), happened_at=before
    )
    sell(late, place=world.kitchens, customer=customer, lines=[SoldLine(lot, 1, 5 * UNIT)])
    return [
        was("the refusal names the recall", f"Recall {recall.number} lists" in refusal, True),
        Must("here, held", lambda: (fresh(lot).quantity, fresh(lot).held), (3, True)),
        Must(
            "whom to tell", lambda: to_be_told(recall), {str(customer.pk), Given.SAMPLE, Given.GIFT}
        ),
        Must("open as long as some is here", lambda: state_of(recall).is_open, True),
    ]


def refused(world: World, lot: Lot) -> str:
    """What a sale after the hold is told."""
    try:
        sell(
            world.doing(minutes=0, sure=True),
            place=world.kitchens,
            customer=world.customer,
            lines=[SoldLine(fresh(lot), 1, 5 * UNIT)],
        )
    except Refused as refusal:
        return str(refusal)
    return ""


def to_be_told(recall: Recall) -> set[str]:
    return {one.whom.key for one in state_of(recall).contacts if not one.struck}
