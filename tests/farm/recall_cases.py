"""What tests of a recall share: open one, look at it beside the graph, call, tell late."""

from dataclasses import replace
from datetime import timedelta
from uuid import uuid4

from django.utils import timezone

from farm.actions.common import Doing, Draw
from farm.actions.selling.stalls import load_stall
from farm.actions.tracing.recalling import add_call, open_recall
from farm.models import Customer, Recall, SellingPlace, StallDay
from farm.queries.tracing.reach import reach_of
from farm.queries.tracing.recalls import RecallState
from farm.queries.tracing.suspects import Suspects, suspect_lots
from ledger.models import Lot
from tests.farm.season import MARKET_DAY
from tests.farm.world import (
    World,
    assert_book_is_sound,
    fresh,
)
from tests.graph import Graph
from tests.recalled import assert_recall_is_right


def recalled(world: World, suspects: Suspects | Lot) -> Recall:
    found = suspects if isinstance(suspects, Suspects) else suspect_lots([suspects])
    return open_recall(world.doing(reason="green dust"), reach_of(found), notice="Do not eat.")


def state(recall: Recall) -> RecallState:
    assert_book_is_sound()
    return assert_recall_is_right(Graph(), Recall.objects.get(pk=recall.pk))


def late(world: World, lot: Lot) -> Doing:
    """Said after the hold of what happened an hour after the lot was made, with a reason."""
    world.now += timedelta(hours=1)
    at = fresh(lot).made_by.happened_at + timedelta(hours=1)
    return replace(world.doing(reason="from the paper of that day", sure=True), happened_at=at)


def now(world: World, reason: str) -> Doing:
    """A call made today, as the clock of the test runs."""
    return Doing(by=world.owner, happened_at=timezone.now(), uuid=uuid4(), reason=reason)


def told(
    world: World, recall: Recall, *whom: Customer | SellingPlace | str, reached: bool = True
) -> None:
    for one in whom:
        doing = now(world, reason="told")
        add_call(doing, recall, one, reached=reached, recovered_mg=0)


def at_the_stall(world: World, lot: Lot) -> StallDay:
    loaded = load_stall(
        world.doing(sure=True), place=world.stall, day=MARKET_DAY, lines=[Draw(fresh(lot), 3)]
    )
    return StallDay.objects.get(entry=loaded.entry)
