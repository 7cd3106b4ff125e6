"""Two people at the same work at once; real transactions, so PostgreSQL only."""

from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection

from farm.actions.common import Doing, Draw
from farm.actions.selling.stalls import load_stall, settle_stall
from farm.models import Sale, StallDay
from ledger.errors import Refused
from tests.farm.goods import a_day, packs
from tests.farm.world import small_farm

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(
        connection.vendor == "sqlite", reason="a test's SQLite stands in memory and has one writer"
    ),
]


def settle(doing: Doing) -> str:
    """Settle the one load in a thread's own connection; say what became of it."""
    try:
        settle_stall(doing, stall_day=StallDay.objects.get(), brought_back={}, prices={})
    except Refused as refusal:
        return str(refusal)
    else:
        return "settled"
    finally:
        connection.close()


def test_a_load_that_six_settle_at_once_is_sold_once() -> None:
    world = small_farm()
    lot = packs(world)
    load_stall(world.doing(), place=world.stall, day=a_day(world), lines=[Draw(lot, 2)])
    with ThreadPoolExecutor(6) as pool:
        outcomes = list(pool.map(settle, [world.doing() for _ in range(6)]))

    assert outcomes.count("settled") == 1
    assert sum("was settled already" in outcome for outcome in outcomes) == 5
    assert Sale.objects.count() == 1
