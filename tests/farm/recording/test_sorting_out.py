"""What the book refused is told as a person needs it: what, which lot, which number, what next."""

import re
from datetime import timedelta
from html import unescape
from uuid import uuid4

import pytest
from django.test import Client

from farm.actions.growing.harvesting import mark_spent
from farm.actions.recording import unfinished
from farm.actions.store.storing import throw_away
from farm.actions.tracing.holding import hold
from farm.models import Role
from ledger.models import Entry, Lot
from tests.conftest import person_in_role, signed_in
from tests.farm.filled import JUST_BEFORE, text, typed
from tests.farm.goods import crop, packs
from tests.farm.recording.test_from_phone import from_phone, pick_of
from tests.farm.world import KG, World, fruiting


@pytest.fixture
def world(world: World) -> World:
    world.now = JUST_BEFORE
    return world


@pytest.fixture
def client(world: World) -> Client:
    return signed_in(world.owner)


def waits(client: Client) -> tuple[str, list[tuple[str, str]]]:
    """What is read under To sort out, and its buttons: words and address."""
    main = text(client.get("/unfinished/")).partition("<section>")[2].partition("</section>")[0]
    links = re.findall(r'<a class="button[^"]*" href="([^"]+)">(.*?)<span', main)
    words = " ".join(re.sub(r"<[^>]+>", " ", main).split())
    return unescape(words), [(title, unescape(address)) for address, title in links]


def sold(client: Client, world: World, **values: str) -> None:
    client.post(f"/record/sell/?place={world.stall.pk}", typed(**values))


def test_a_sale_of_more_than_there_is_on_a_phone_names_the_lot_the_gap_and_what_is_there(
    world: World, client: Client
) -> None:
    lot = packs(world, 10)
    from_phone(client, f"/record/give-away/?lot={lot.code}", quantity="12", why="sample")

    words, buttons = waits(client)
    assert f"Lot {lot.code} (Oyster, 200 g) falls 2 pieces short." in words
    assert f"On hand now: 10 packs of lot {lot.code}. Correct the amount" in words
    assert [title for title, _ in buttons] == ["Open and mend it"]


def test_a_loose_lot_that_is_short_is_said_in_both_units(world: World, client: Client) -> None:
    lot = crop(world, 2 * KG)
    from_phone(client, f"/record/throw-away/?lot={lot.code}", quantity="3 kg", cause="old")

    words, _ = waits(client)
    assert f"On hand now: 2.00 kg · 4.41 lb of lot {lot.code}." in words


def test_a_lot_on_hold_is_released_by_the_button(world: World, client: Client) -> None:
    lot = packs(world, 10)
    hold(world.doing(reason="smells sour"), [lot])
    sold(client, world, **{f"sold_{lot.pk}": "5"})

    words, buttons = waits(client)
    assert f"Lot {lot.code} is on hold now. Once it is released, this is recorded" in words
    assert buttons[0] == (f"Release lot {lot.code}", f"/record/release/?lot={lot.code}")
    assert buttons[1][0] == "Open it as it was sent"
    assert f'value="{lot.code}"' in text(client.get(buttons[0][1]))


def test_an_emptied_lot_leads_to_where_it_went(world: World, client: Client) -> None:
    lot = packs(world, 10)
    throw_away(world.doing(reason="old"), lot=lot, quantity=10)
    from_phone(client, f"/record/throw-away/?lot={lot.code}", quantity="2", cause="old")

    words, buttons = waits(client)
    assert f"Nothing is left of lot {lot.code} now." in words
    assert buttons[0] == (f"See where lot {lot.code} went", f"/lots/{lot.code}/")


def test_a_pick_of_spent_blocks_says_so_and_is_opened_to_choose_others(
    world: World, client: Client
) -> None:
    blocks = fruiting(world, 4)
    mark_spent(world.doing(), lot=blocks)
    from_phone(client, "/record/pick/", **pick_of(blocks))

    words, buttons = waits(client)
    assert f"Lot {blocks.code} has no blocks left (0 on hand): it was spent or lost." in words
    assert [title for title, _ in buttons] == ["Open and mend it"]


@pytest.mark.parametrize(
    ("what", "amount", "title", "address"),
    [
        ("product", "5", "Record the packing", "/record/pack/"),
        ("loose", "2 kg", "Record the pick", "/record/pick/"),
    ],
)
def test_a_sale_before_its_pick_leads_to_recording_that(
    world: World, client: Client, what: str, amount: str, title: str, address: str
) -> None:
    row = world.product if what == "product" else world.species
    sold(
        client, world, unlisted_what=f"{what}-{row.pk}", unlisted_amount=amount, unlisted_price="5"
    )

    words, buttons = waits(client)
    assert f"{amount} sold before it is recorded" in words
    assert buttons[0] == (title, address)


def test_a_form_sent_twice_with_other_words_leads_to_the_entry_that_stands(
    world: World, client: Client
) -> None:
    world.now = JUST_BEFORE - timedelta(days=40)  # so that the blocks fruit before they are picked
    blocks, number = fruiting(world, 4), str(uuid4())
    from_phone(client, "/record/pick/", **pick_of(blocks, uuid=number))
    from_phone(client, "/record/pick/", **pick_of(blocks, "0.9 kg", uuid=number))

    words, buttons = waits(client)
    entry = Entry.objects.get(kind="pick")
    assert f"as entry {entry.seq} (pick), which stands" in words
    assert "if this one is right, correct the entry; then give this one up" in words
    assert buttons[0] == (f"Look at entry {entry.seq}", f"/entries/{entry.seq}/")


def test_a_question_is_answered_by_its_button(world: World, client: Client) -> None:
    from_phone(client, "/record/pick/", **pick_of(fruiting(world, 4), "9 kg"))

    words, buttons = waits(client)
    assert "9.00 kg · 19.84 lb from 4 blocks, where 2.00 kg · 4.41 lb was planned" in words
    assert "Nothing is written until somebody answers" in words
    assert [title for title, _ in buttons] == ["Answer it"]


def test_a_load_of_a_lot_on_hold_waits_for_its_release(world: World, client: Client) -> None:
    lot = packs(world, 10)
    hold(world.doing(reason="smells sour"), [lot])
    client.post(
        f"/record/load-stall/?place={world.stall.pk}",
        typed(day="2026-12-01", load_lots=lot.code, **{f"load_{lot.pk}": "5"}),
    )

    words, buttons = waits(client)
    assert f"Lot {lot.code} is on hold and may not be loaded" in words
    assert buttons[0][0] == f"Release lot {lot.code}"


def test_a_seller_is_told_whom_to_ask_and_opens_their_own_form(world: World) -> None:
    seller = signed_in(person_in_role(Role.SELLER, "sela"))
    lot: Lot = packs(world, 10)
    hold(world.doing(reason="smells sour"), [lot])
    sold(seller, world, **{f"sold_{lot.pk}": "5"})

    words, buttons = waits(seller)
    assert f"Lot {lot.code} is on hold now." in words and "Ask whoever may do it." in words
    assert [title for title, _ in buttons] == ["Open it as it was sent"]


def test_a_seller_gives_up_what_they_sent_and_nobody_elses(world: World, client: Client) -> None:
    seller = signed_in(person_in_role(Role.SELLER, "sela"))
    lot = packs(world, 10)
    hold(world.doing(reason="smells sour"), [lot])
    for who in (client, seller):
        sold(who, world, **{f"sold_{lot.pk}": "5"})
    theirs, own = (kept.uuid for kept in unfinished.still_waiting())

    for uuid in (theirs, own):
        assert "Give it up" in text(seller.get("/unfinished/"))
        seller.post(f"/unfinished/{uuid}/drop/", {"reason": "sold another lot"})

    assert [kept.uuid for kept in unfinished.still_waiting()] == [theirs]


def test_what_was_given_up_already_is_said_to_wait_no_more(client: Client) -> None:
    page = client.post(f"/unfinished/{uuid4()}/drop/", {"reason": "twice"}, follow=True)

    assert "It waits no more." in text(page)
