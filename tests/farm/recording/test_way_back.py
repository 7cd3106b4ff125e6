"""The way back from an undo and from a correction: a new entry, or the old number once more."""

import re
from html import unescape

import pytest
from django.test import Client

from farm.models import SaleLine
from ledger.models import Entry, Lot
from tests.conftest import signed_in
from tests.farm.filled import last_entry, prefilled, send, text
from tests.farm.goods import money, packs
from tests.farm.recording.test_pages_entries import undo
from tests.farm.world import World, assert_book_is_sound, fresh

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(world: World) -> Client:
    return signed_in(world.owner)


def link(page: str, words: str) -> str:
    """Where the link with these words leads."""
    found = re.search(rf'href="([^"]+)">{words}', page)
    assert found, words
    return unescape(found[1])


def sold(client: Client, world: World, lot: Lot, **more: str) -> Entry:
    address = f"/record/sell/?place={world.stall.pk}"
    send(
        client, address, **{f"sold_{lot.pk}": "5", f"price_{lot.pk}": "4.20", "sure": "on", **more}
    )
    return last_entry()


def test_what_was_undone_is_recorded_again_with_the_same_values(
    world: World, client: Client
) -> None:
    lot = packs(world, 10)
    sale = sold(client, world, lot, reason="for Ada")
    taken_back = text(undo(client, sale.seq))
    form = link(taken_back, "Sell again, with the same values")
    shown = prefilled(client, form)

    assert (shown[f"sold_{lot.pk}"], shown[f"price_{lot.pk}"]) == ("5", "4.20")
    assert shown["uuid"] != str(sale.uuid) and "for Ada" in text(client.get(form))
    assert shown["when"] == "2026-10-20T09:00" and "<small>as typed," in text(client.get(form))
    client.post(form, shown | {"sure": "on"})
    assert fresh(lot).quantity == 5 and money(last_entry()) == money(sale)
    assert last_entry().seq > sale.seq
    assert_book_is_sound()


def test_another_person_is_offered_the_form_with_its_lot_alone(
    world: World, client: Client
) -> None:
    lot = packs(world, 10)
    send(client, f"/record/give-away/?lot={lot.code}", quantity="2", why="gift", sure="on")
    given = last_entry()
    undo(client, given.seq)
    page = text(signed_in(world.helper).get(f"/entries/{given.seq}/"))

    assert link(page, "Give away anew") == f"/record/give-away/?lot={lot.code}"


def test_a_correction_is_corrected_back_to_the_milligram(world: World, client: Client) -> None:
    lot = world.received("rye", 12_345_678)
    address = f"/entries/{lot.made_by_id}/correct/?lot={lot.code}&role=bought"
    shown = prefilled(client, address) | {"right_quantity": "5 kg"}
    page = text(client.post(address, shown, follow=True))
    back = link(page, "Correct it back")

    assert f"lot {lot.code}, 5.00 kg · 11.02 lb; it said 12.346 kg · 27.22 lb." in page
    client.post(back, prefilled(client, back))
    assert fresh(lot).quantity == 12_345_678


def test_a_sale_corrected_to_nothing_and_to_another_sum_is_corrected_back(
    world: World, client: Client
) -> None:
    lot = packs(world, 10)
    sale = sold(client, world, lot)
    address = f"/entries/{sale.seq}/correct/?lot={lot.code}&role=sold"
    shown = prefilled(client, address) | {"right_quantity": "0", "right_money": "1"}
    back = link(text(client.post(address, shown, follow=True)), "Correct it back")
    client.post(back, prefilled(client, back))

    assert fresh(lot).quantity == 5
    assert sum(SaleLine.objects.values_list("gross", flat=True)) == 21 * 10_000
    assert_book_is_sound()
