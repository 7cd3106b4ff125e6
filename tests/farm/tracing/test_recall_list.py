"""What comes on the list of a recall once it is open, what leaves it, and what a till offers."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.test import Client

from farm.actions.common import Draw
from farm.actions.growing.harvesting import pick
from farm.actions.growing.supplies import Delivery, receive_supplies
from farm.actions.recording.correcting import correct_quantity, undo
from farm.actions.selling.selling import SoldLine, sell, take_back
from farm.actions.selling.stalls import settle_stall
from farm.actions.selling.till import tap
from farm.actions.store.storing import count_lot, throw_away
from farm.actions.tracing.holding import hold, release
from farm.actions.tracing.recalling import take_out
from farm.models import SaleLine
from farm.queries.tracing.recalls import open_recalls, state_of
from farm.queries.tracing.suspects import suspect_place, suspect_supplier_lot
from farm.reports.tracing.recall_rows import still_to_do, told_words
from ledger import waiting
from ledger.errors import Malformed, OnHold
from ledger.models import Entry, Role
from tests.farm.recall_cases import at_the_stall, recalled, state, told
from tests.farm.season import season
from tests.farm.world import (
    GRAM,
    KG,
    UNIT,
    fresh,
    fruiting,
    small_farm,
)

pytestmark = pytest.mark.django_db

# --- what comes on the list since, and what leaves it -------------------------------------------


def test_a_return_and_what_is_found_stay_held_and_open_it_again() -> None:
    lots = season()
    world = lots.world
    recall = recalled(world, lots.packs)
    told(world, recall, world.customer, world.stall)
    throw_away(
        world.doing(reason="recalled"), lot=fresh(lots.packs), quantity=fresh(lots.packs).quantity
    )
    assert not state(recall).is_open

    line = SaleLine.objects.get(line__entry=lots.delivery.entry, line__lot=lots.packs)
    take_back(world.doing(), sale_line=line, quantity=2)
    assert still_to_do(state(recall).to_do) == "1 lot still here"
    count_lot(world.doing(reason="behind the crates"), lot=fresh(lots.packs), difference=1)
    assert [(one.what, one.pieces) for one in state(recall).since][-2:] == [
        ("take back", 2),
        ("count", 1),
    ]
    with pytest.raises(OnHold, match="Recall 1"):
        sell(
            world.doing(sure=True),
            place=world.kitchens,
            lines=[SoldLine(fresh(lots.packs), 1, UNIT)],
        )


def test_a_pick_of_listed_blocks_comes_on_the_list_held() -> None:
    lots = season(spent=False)
    world = lots.world
    recall = recalled(world, lots.grown.grain)
    world.wait(14)
    crop = pick(
        world.doing(sure=True), given=[Draw(fresh(lots.grown.blocks), 0)], flush=2, firsts_mg=KG
    ).lots[-1]

    assert fresh(crop).held
    assert crop.code in {lot.code for lot in state(recall).now.lots}


def test_a_delivery_of_the_suppliers_lot_that_is_typed_late_is_held_at_once() -> None:
    lots = season()
    world = lots.world
    recall = recalled(world, suspect_supplier_lot(world.supplier, "rye 26-31"))
    sack = receive_supplies(
        world.doing(),
        supply=world.supplies["rye"],
        quantity=KG,
        paid_money=6_000,
        delivery=Delivery(supplier=world.supplier, supplier_lot="RYE 26-31"),
    ).lots[0]

    assert fresh(sack).held
    found = state_of(recall)
    assert sack.code in {lot.code for lot in found.now.still_here}
    assert Entry.objects.filter(kind="hold").last().reason == (  # type: ignore[union-attr]
        "recall 1: came on its list since"
    )


def test_a_released_lot_leaves_the_list_struck_and_what_is_made_of_it_is_free() -> None:
    lots = season(spent=False)
    world = lots.world
    recall = recalled(world, lots.grown.grain)
    release(world.doing(reason="the laboratory found nothing"), [fresh(lots.grown.blocks)])
    world.wait(14)
    crop = pick(
        world.doing(sure=True), given=[Draw(fresh(lots.grown.blocks), 0)], flush=2, firsts_mg=KG
    ).lots[-1]

    found = state(recall)
    assert not fresh(crop).held
    assert found.left == {lots.grown.blocks.code}
    assert crop.code not in {lot.code for lot in found.now.lots}
    # What was picked of it before stays listed until it is let go itself.
    assert lots.seconds.code in {lot.code for lot in found.now.lots}


def test_an_undone_release_brings_the_lot_and_what_was_made_of_it_back() -> None:
    lots = season(spent=False)
    world = lots.world
    recall = recalled(world, lots.grown.grain)
    freed = release(world.doing(reason="nothing found"), [fresh(lots.grown.blocks)]).entry
    world.wait(14)
    crop = pick(
        world.doing(sure=True), given=[Draw(fresh(lots.grown.blocks), 0)], flush=2, firsts_mg=KG
    ).lots[-1]
    undo(world.doing(), freed)

    assert fresh(crop).held
    assert crop.code in {lot.code for lot in state(recall).now.lots}


def test_customers_of_lots_that_were_let_go_need_no_call() -> None:
    lots = season()
    world = lots.world
    recall = recalled(world, lots.packs)
    take_out(world.doing(reason="another batch"), recall, [fresh(lots.packs)])

    found = state(recall)
    assert not found.is_open
    assert all(one.struck for one in found.contacts)
    assert told_words(found.contacts[0]) == "let go"
    assert [one.reason for one in found.released] == ["another batch"]


def test_only_an_owner_takes_a_lot_out_and_only_one_that_is_listed() -> None:
    lots = season()
    world = lots.world
    recall = recalled(world, lots.packs)
    with pytest.raises(Malformed, match="Only an owner releases it"):
        take_out(world.doing(by=world.helper, reason="fine"), recall, [fresh(lots.packs)])
    with pytest.raises(Malformed, match=f"{lots.dried.code} is not on the list of recall 1"):
        take_out(world.doing(reason="fine"), recall, [fresh(lots.dried)])


def test_the_hold_of_a_recall_is_not_undone() -> None:
    lots = season()
    recall = recalled(lots.world, lots.packs)

    with pytest.raises(Malformed, match="Recall 1 was opened with this hold"):
        undo(lots.world.doing(), recall.entry)
    assert fresh(lots.packs).held


def test_a_weight_of_a_pack_corrected_after_the_hold_is_accepted_with_its_reason() -> None:
    lots = season()
    world = lots.world
    recall = recalled(world, lots.grown.grain)
    made = fresh(lots.packs).made_by
    correct_quantity(
        world.doing(sure=True, reason="misread"),
        made,
        lot=fresh(lots.firsts),
        role=Role.USED,
        right_quantity=6_100 * GRAM,
    )

    assert [(one.what, one.mass_mg) for one in state(recall).since] == [("correct", -100 * GRAM)]


def test_two_recalls_of_one_lot_each_list_it_and_each_is_named() -> None:
    lots = season()
    world = lots.world
    one, other = recalled(world, lots.packs), recalled(world, lots.firsts)

    with pytest.raises(OnHold, match=r"Recall 1 lists lot \w+\. Recall 2 lists lot"):
        sell(
            world.doing(sure=True),
            place=world.kitchens,
            lines=[SoldLine(fresh(lots.packs), 1, UNIT)],
        )
    release(world.doing(reason="sound"), [fresh(lots.packs)])
    assert [state(recall).left for recall in (one, other)] == [{lots.packs.code}] * 2
    assert lots.dried.code in {lot.code for lot in state(other).now.lots}


def test_a_lot_held_before_for_another_reason_is_let_go_by_an_owner_alone() -> None:
    lots = season()
    world = lots.world
    hold(world.doing(by=world.helper, reason="a smell"), [fresh(lots.packs)])
    recalled(world, lots.packs)

    with pytest.raises(Malformed, match="recall 1 lists it"):
        release(world.doing(by=world.helper, reason="gone"), [fresh(lots.packs)])


def test_what_stood_in_a_room_and_is_typed_late_comes_on_the_list() -> None:
    world = small_farm()
    blocks = fruiting(world, 10)
    room = world.fruiting_shelf.room
    world.wait(2)
    recall = recalled(world, suspect_place(room, blocks.made_by.happened_on, world.now.date()))
    assert blocks.code in {lot.code for lot in state_of(recall).now.lots}
    others = fruiting(world, 5)

    # They were moved in after the last day that was asked for.
    assert others.code not in {lot.code for lot in state_of(recall).now.lots}
    assert not fresh(others).held


def test_a_form_that_waits_about_a_listed_lot_keeps_the_recall_open() -> None:
    lots = season()
    world = lots.world
    recall = recalled(world, lots.packs)
    take_out(world.doing(reason="sound"), recall, [fresh(lots.packs)])
    other = recalled(world, lots.seconds)
    told(world, other, world.customer)
    throw_away(world.doing(reason="recalled"), lot=fresh(lots.seconds), quantity=KG)
    assert not state(other).is_open

    waiting.keep(uuid4(), "sell", "{}", refusal="held", lots=[lots.seconds.code], by=1)
    assert still_to_do(state(other).to_do) == "1 form about it to sort out"
    assert [found for found, _ in open_recalls()] == [other]


# --- the till -----------------------------------------------------------------------------------


def test_the_till_offers_nothing_of_a_held_load_and_keeps_earlier_taps(owner: Client) -> None:
    lots = season()
    world = lots.world
    load = at_the_stall(world, lots.packs)
    item = lots.packs.item
    tap(world.doing(), stall_day=load, item=item)
    assert "on hold" not in owner.get(f"/stall/till/{load.pk}/").content.decode()
    recalled(world, lots.packs)

    page = owner.get(f"/stall/till/{load.pk}/").content.decode()
    assert f"Lot {lots.packs.code} is on hold: sell and give away none of it." in page
    assert 'value="sold" disabled' in page
    assert 'value="sample"' not in page
    with pytest.raises(OnHold, match="Recall 1 lists lot"):
        tap(world.doing(), stall_day=load, item=item)
    waited = world.now - timedelta(hours=5)
    tap(world.doing(), stall_day=load, item=item, kept_at=waited)
    tap(world.doing(), stall_day=load, item=item, quantity=-1)
    assert sum(one.quantity for one in load.taps.all()) == 1


def test_the_day_is_settled_as_of_before_the_hold_with_a_reason() -> None:
    lots = season()
    world = lots.world
    load = at_the_stall(world, lots.packs)
    before = world.doing(reason="sold before the call came")
    recall = recalled(world, lots.packs)
    back = {lots.packs.pk: 1}
    with pytest.raises(OnHold, match="Recall 1"):
        settle_stall(world.doing(reason="evening"), stall_day=load, brought_back=back, prices={})
    settle_stall(before, stall_day=load, brought_back=back, prices={})

    (row,) = [one for one in state(recall).now.unnamed if one.entry == load.entry_id]
    assert (row.loaded.pieces, row.sold.pieces, row.settled) == (3, 2, True)
