"""What only an owner releases: lots of a recall, and what an owner put on hold."""

from dataclasses import replace

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from farm.actions.common import Draw
from farm.actions.growing.harvesting import pick
from farm.actions.recording.correcting import undo
from farm.actions.tracing.holding import hold, release
from farm.actions.tracing.recalling import add_call, open_recall
from farm.models import Person, Recall
from farm.queries.tracing.reach import reach_of
from farm.queries.tracing.recalls import open_recalls, state_of
from farm.queries.tracing.suspects import suspect_lots
from ledger.errors import Malformed
from ledger.models import Entry, Lot
from tests.farm.filled import typed
from tests.farm.goods import crop
from tests.farm.season import Season, season
from tests.farm.world import KG, World, fresh, fruiting

pytestmark = pytest.mark.django_db


def held(world: World, lot: Lot, by: Person) -> Entry:
    return hold(world.doing(by=by, reason="a smell"), [fresh(lot)]).entry


def let_go(world: World, lot: Lot, by: Person) -> bool:
    release(world.doing(by=by, reason="it was the crate"), [fresh(lot)])
    return not fresh(lot).held


def recalled(lots: Season) -> Recall:
    """Open a recall of the packs, which a helper put on hold."""
    held(lots.world, lots.packs, lots.world.helper)
    found = reach_of(suspect_lots([lots.packs]))
    return open_recall(lots.world.doing(reason="green dust"), found, notice="Do not eat them.")


def picked(world: World, blocks: Lot) -> Lot:
    world.wait(9)
    given = [Draw(fresh(blocks), 0)]
    return pick(world.doing(by=world.helper), given=given, flush=1, firsts_mg=KG).lots[-1]


# --- who may ----------------------------------------------------------------------------------


def test_a_helper_releases_what_a_helper_held(world: World) -> None:
    lot = crop(world)
    held(world, lot, world.helper)

    assert let_go(world, lot, world.helper)


def test_a_helper_does_not_release_what_the_owner_held(world: World) -> None:
    lot = crop(world)
    held(world, lot, world.owner)
    words = f"Lot {lot.code}: olive, an owner, put it on hold. Only an owner releases it"

    with pytest.raises(Malformed, match=words):
        let_go(world, lot, world.helper)
    assert fresh(lot).held
    assert let_go(world, lot, world.owner)


def test_a_second_hold_by_a_helper_does_not_open_the_owners(world: World) -> None:
    lot = crop(world)
    held(world, lot, world.owner)
    held(world, lot, world.helper)

    with pytest.raises(Malformed, match="an owner"):
        let_go(world, lot, world.helper)


def test_an_owners_hold_that_was_released_binds_nobody(world: World) -> None:
    lot = crop(world)
    held(world, lot, world.owner)
    let_go(world, lot, world.owner)
    held(world, lot, world.helper)

    assert let_go(world, lot, world.helper)


def test_a_helper_does_not_undo_the_owners_hold(world: World) -> None:
    lot = crop(world)
    entry = held(world, lot, world.owner)

    with pytest.raises(Malformed, match="Only an owner releases it"):
        undo(world.doing(by=world.helper), entry)
    undo(world.doing(), entry)
    assert not fresh(lot).held


def test_an_owner_by_pin_at_a_helpers_device_releases_no_more_than_the_helper(
    world: World,
) -> None:
    lot = crop(world)
    held(world, lot, world.owner)
    doing = replace(world.doing(reason="it was the crate"), typed_by=world.helper)

    with pytest.raises(Malformed, match="Only an owner releases it"):
        release(doing, [fresh(lot)])


@pytest.mark.parametrize("by_owner", [True, False])
def test_a_pick_of_held_blocks_is_released_by_who_may_release_those(
    world: World, by_owner: bool
) -> None:
    blocks = fruiting(world)
    held(world, blocks, world.owner if by_owner else world.helper)
    lot = picked(world, blocks)

    if by_owner:
        with pytest.raises(Malformed, match=f"Lot {lot.code}: olive, an owner"):
            let_go(world, lot, world.helper)
    else:
        assert let_go(world, lot, world.helper)


# --- recalls ----------------------------------------------------------------------------------


def test_a_lot_of_a_recall_is_released_by_an_owner_alone_and_the_recall_says_so() -> None:
    lots = season()
    world, recall = lots.world, recalled(lots)

    with pytest.raises(Malformed, match=f"Lot {lots.packs.code}: recall 1 lists it"):
        let_go(world, lots.packs, world.helper)
    assert [lot.code for lot in state_of(recall).now.still_here] == [lots.packs.code]
    assert let_go(world, lots.packs, world.owner)
    state = state_of(recall)
    assert state.now.still_here == ()
    assert [(one.code, one.by) for one in state.released] == [(lots.packs.code, "OL")]


def test_a_lot_beside_the_recall_is_released_by_a_helper() -> None:
    lots = season()
    recalled(lots)
    held(lots.world, lots.dried, lots.world.helper)

    assert let_go(lots.world, lots.dried, lots.world.helper)


def test_a_recall_is_open_until_all_are_told_and_nothing_of_it_is_held() -> None:
    lots = season()
    world, recall = lots.world, recalled(lots)
    for whom in (world.customer, world.stall):
        assert [found for found, _ in open_recalls()] == [recall]
        add_call(world.doing(reason="told"), recall, whom, reached=True, recovered_mg=0)
    assert open_recalls()

    let_go(world, lots.packs, world.owner)
    assert open_recalls() == []


# --- pages ------------------------------------------------------------------------------------


def test_the_pages_of_a_recall_say_what_was_released(owner: Client) -> None:
    lots = season()
    recalled(lots)
    before = owner.get("/recalls/1/").content.decode()
    let_go(lots.world, lots.packs, lots.world.owner)
    after = owner.get("/recalls/1/").content.decode()

    assert "1 lot still here" in before
    assert "it was the crate" not in before
    assert "1 lot still here" not in after
    assert "it was the crate" in after


def test_the_owners_today_leads_to_each_open_recall(owner: Client, helper: Client) -> None:
    recalled(season())
    page = owner.get("/").content.decode()

    assert '<a href="/recalls/1/">Recall 1</a> is open' in page
    assert "1 customer not spoken to, 1 place without a notice, 1 lot still here" in page
    assert "/recalls/1/" not in helper.get("/").content.decode()


def test_more_recalls_cost_today_no_more_queries(owner: Client) -> None:
    lots = season()
    recalled(lots)
    before = asked(owner)
    for _ in range(3):
        recalled(lots)

    assert asked(owner) == before


def asked(client: Client) -> int:
    client.get("/")
    with CaptureQueriesContext(connection) as queries:
        client.get("/")
    return len(queries)


def test_the_list_of_holds_offers_a_helper_only_what_a_helper_releases(
    owner: Client, helper: Client
) -> None:
    lots = season()
    recalled(lots)
    held(lots.world, lots.dried, lots.world.helper)
    for client, offered in ((owner, True), (helper, False)):
        page = client.get("/holds/").content.decode()
        assert (f'aria-label="Release {lots.packs.code}"' in page) is offered
        assert f'aria-label="Release {lots.dried.code}"' in page
        assert "Only an owner releases it: recall 1 lists it." in page


@pytest.mark.parametrize("address", ["/holds/", "/record/release/"])
def test_both_ways_to_release_refuse_a_helper_with_the_reason(helper: Client, address: str) -> None:
    lots = season()
    recalled(lots)
    form = typed(lot=lots.packs.code, lot_list=lots.packs.code, reason="fine")
    page = helper.post(address, form, follow=True).content.decode()

    assert "recall 1 lists it. Only an owner releases it" in page
    assert fresh(lots.packs).held
