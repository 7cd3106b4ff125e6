"""The entry's page: what it says, taken back, corrected; nothing is ever gone."""

from datetime import date
from uuid import uuid4

import pytest
from django.test import Client

from farm.actions.common import Draw
from farm.actions.growing.checks import check
from farm.actions.selling.selling import SoldLine, sell
from farm.actions.selling.stalls import load_stall
from farm.actions.tracing.holding import hold
from farm.models import LotCard, Role, Stage
from ledger.models import Entry, Lot
from tests.conftest import person_in_role, signed_in
from tests.farm.filled import last_entry, prefilled, text, typed
from tests.farm.world import KG, UNIT, World, filled_bags, fresh, grow_blocks, picked


@pytest.fixture
def client(world: World) -> Client:
    return signed_in(world.owner)


def test_it_says_what_when_by_whom_and_how_much_in_both_units(world: World, client: Client) -> None:
    lot = world.received("rye", 25 * KG)
    page = text(client.get(f"/entries/{lot.made_by_id}/"))

    for words in ("Receive supplies", "OL", lot.code, "25.00 kg · 55.12 lb", "Mon 7 Sep 2026"):
        assert words in page


def test_what_is_recorded_long_after_looks_late(world: World, client: Client) -> None:
    lot = world.received("rye", 25 * KG)

    assert "recorded late" in text(client.get(f"/entries/{lot.made_by_id}/"))


def test_a_helper_sees_the_entry_without_money(world: World) -> None:
    lot = world.received("rye", 25 * KG, paid_money=15 * UNIT)
    address = f"/entries/{lot.made_by_id}/"

    assert "€15.00" in text(signed_in(world.owner).get(address))
    assert "€" not in text(signed_in(world.helper).get(address))


def test_an_entry_is_taken_back_and_stays_readable(world: World, client: Client) -> None:
    lot = world.received("rye", 25 * KG)
    page = text(undo(client, lot.made_by_id, reason="typed twice"))

    assert "is taken back" in page
    assert fresh(lot).quantity == 0
    assert "typed twice" in text(client.get(f"/entries/{last_entry().seq}/"))
    assert "Undo this entry" not in page


def test_an_undo_sent_twice_has_one_effect(world: World, client: Client) -> None:
    lot = world.received("rye", 25 * KG)
    sent = {"uuid": str(uuid4()), "reason": ""}
    client.post(f"/entries/{lot.made_by_id}/undo/", sent)
    client.post(f"/entries/{lot.made_by_id}/undo/", sent)

    assert Entry.objects.filter(takes_back=True).count() == 1


def test_what_stands_on_an_entry_is_listed_and_taken_back_with_it(
    world: World, client: Client
) -> None:
    filled_bags(world, sterilised=False)
    sawdust = Lot.objects.get(item__name="sawdust")
    refused = undo(client, sawdust.made_by_id)

    assert refused.status_code == 409
    assert "Others stand on it" in text(refused)
    assert "fill blocks" in text(refused)

    client.post(f"/entries/{sawdust.made_by_id}/undo/", {"uuid": str(uuid4()), "all": "yes"})

    assert fresh(sawdust).quantity == 0
    assert LotCard.objects.get(stage=Stage.BAGS).lot.quantity == 0


def test_a_reader_takes_nothing_back(world: World) -> None:
    lot = world.received("rye", 25 * KG)
    reader = signed_in(person_in_role(Role.BOOKKEEPER, "rita"))

    assert "Undo this entry" not in text(reader.get(f"/entries/{lot.made_by_id}/"))
    assert undo(reader, lot.made_by_id).status_code == 403


def test_pounds_typed_as_kilos_are_corrected_and_struck_through(
    world: World, client: Client
) -> None:
    # 12.4 lb typed as 12.4 kg: 5,624,545.388 mg
    lot = world.received("rye", 12_400_000)
    address = f"/entries/{lot.made_by_id}/correct/?lot={lot.code}&role=bought"
    shown = prefilled(client, address)
    page = text(client.post(address, shown | {"right_quantity": "12.4 lb"}, follow=True))

    assert shown["right_quantity"] == "12.40 kg"
    assert fresh(lot).quantity == 5_624_545
    assert "<del>12.40 kg · 27.34 lb</del>" in page
    assert "Corrected since" in page


def test_a_correction_that_cannot_be_keeps_what_was_typed(world: World, client: Client) -> None:
    filled_bags(world, sterilised=False)
    sawdust = Lot.objects.get(item__name="sawdust")
    address = f"/entries/{sawdust.made_by_id}/correct/?lot={sawdust.code}&role=bought"
    page = text(client.post(address, prefilled(client, address) | {"right_quantity": "1 kg"}))

    assert 'value="1 kg"' in page
    assert "Not recorded." in page
    assert not Entry.objects.exclude(amends=None).exists()


def test_there_is_nothing_to_correct_on_a_lot_that_is_not_there(
    world: World, client: Client
) -> None:
    lot = world.received("rye", 25 * KG)
    answer = client.get(f"/entries/{lot.made_by_id}/correct/?lot=ZZZZZ&role=bought", follow=True)

    assert "no such line" in text(answer)


def test_a_pick_shows_what_its_blocks_gave(world: World, client: Client) -> None:
    crop = picked(world)
    page = text(client.get(f"/entries/{crop.made_by_id}/"))

    assert "gave" in page
    assert "10.00 kg · 22.05 lb" in page


def test_moisture_is_named_on_both_bases(world: World, client: Client) -> None:
    bags = filled_bags(world)
    page = text(client.get(f"/entries/{bags.made_by_id}/"))

    assert "Moisture, wet basis (water of the whole)" in page
    assert "Moisture, dry basis (water on dry matter)" in page


def test_the_last_entries_can_be_undone_from_the_home_page(world: World, client: Client) -> None:
    grow_blocks(world)

    assert f'action="/entries/{last_entry().seq}/undo/"' in text(client.get("/"))


def test_a_wrong_undo_form_changes_nothing(world: World, client: Client) -> None:
    lot = world.received("rye", 25 * KG)
    client.post(f"/entries/{lot.made_by_id}/undo/", typed(uuid="none"))

    assert fresh(lot).quantity == 25 * KG


def undo(client: Client, seq: int, **said: str):  # type: ignore[no-untyped-def]  # noqa: ANN201
    address = f"/entries/{seq}/undo/"
    return client.post(address, {"uuid": str(uuid4()), **said}, follow=True)


def test_a_price_is_shown_without_the_milligrams_it_is_for(world: World, client: Client) -> None:
    lot = picked(world)
    sold = SoldLine(lot, KG, 12 * UNIT)
    entry = sell(world.doing(), place=world.kitchens, customer=world.customer, lines=[sold]).entry

    page = text(client.get(f"/entries/{entry.seq}/"))

    assert "€12.00 a kg" in page
    assert "whole of" not in page
    assert "1000000" not in page


def test_a_load_says_how_much_of_which_lot_went_where(world: World, client: Client) -> None:
    lot = picked(world)
    load_stall(world.doing(), place=world.stall, day=date(2026, 9, 12), lines=[Draw(lot, KG)])
    page = text(client.get(f"/entries/{last_entry().seq}/"))

    for words in ("loaded", "1.00 kg · 2.20 lb", "Sat 12 Sep 2026", str(world.stall)):
        assert words in page
    assert "named" not in page
    assert "2026-09-12" not in page


def test_what_only_names_a_lot_says_what_was_done_and_a_check_names_it_once(
    world: World, client: Client
) -> None:
    blocks = grow_blocks(world)
    run = Entry.objects.filter(kind="steriliser run").latest("seq").seq
    seen = check(world.doing(reason="green mould"), lot=blocks, lost=1, colonised_percent=40)
    checked = text(client.get(f"/entries/{seen.entry.seq}/"))

    assert "<td>sterilised</td>" in text(client.get(f"/entries/{run}/"))
    assert checked.count(f">{blocks.code}</a>") == 1
    assert "40\u00a0%" in checked


def test_a_hold_names_its_lots(world: World, client: Client) -> None:
    lot = world.received("rye", 25 * KG)
    hold(world.doing(reason="smells"), lots=[lot])

    assert f">{lot.code}</a>" in text(client.get(f"/entries/{last_entry().seq}/"))
