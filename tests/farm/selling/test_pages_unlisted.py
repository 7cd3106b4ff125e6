"""What cannot be recorded yet waits whole: sales before their picks, conflicts, chains of both."""

from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from farm.models import LotCard, Sale, SaleLine, Stage
from ledger.models import Entry, Lot, Waiting
from tests.conftest import signed_in
from tests.farm.filled import JUST_BEFORE, prefilled, send, text, typed
from tests.farm.goods import crop
from tests.farm.world import KG, UNIT, World, fresh


@pytest.fixture
def client(world: World) -> Client:
    world.now = JUST_BEFORE
    return signed_in(world.owner)


def waiting() -> int:
    return Waiting.objects.filter(answered_at=None).count()


def sell_page(world: World) -> str:
    return f"/record/sell/?place={world.stall.pk}"


def pack_ten(world: World, client: Client) -> Lot:
    """Ten packs of 200 g, through the page."""
    crop(world)
    world.received("punnet", 50)
    address = f"/record/pack/?product={world.product.pk}&packs=10&when=2026-10-20T09:00"
    client.post(address, prefilled(client, address) | typed(sure="on"))
    return LotCard.objects.filter(stage=Stage.PACKS).latest("lot").lot


def sell_ahead(world: World, client: Client, amount: str = "4") -> str:
    return text(
        send(
            client,
            sell_page(world),
            unlisted_what=f"product-{world.product.pk}",
            unlisted_amount=amount,
        )
    )


def test_a_sale_before_its_pick_waits_and_is_recorded_after_the_packing(
    world: World, client: Client
) -> None:
    page = sell_ahead(world, client)

    assert "kept under To sort out" in page
    assert "count up" not in page
    assert (waiting(), Sale.objects.count()) == (1, 0)

    lot = pack_ten(world, client)

    # 4 of the 10 packs at 5.00
    assert SaleLine.objects.get().gross == 20 * UNIT
    assert (waiting(), fresh(lot).quantity) == (0, 6)


def test_a_sale_before_its_pick_goes_on_waiting_while_too_little_is_packed(
    world: World, client: Client
) -> None:
    sell_ahead(world, client, "11")
    pack_ten(world, client)

    assert (waiting(), Sale.objects.count()) == (1, 0)


def test_a_sale_before_its_pick_takes_nothing_of_another_lot_in_stock(
    world: World, client: Client
) -> None:
    there = pack_ten(world, client)
    page = sell_ahead(world, client)

    assert f"If it was of lot {there.code}, choose that in the list instead." in page
    assert (waiting(), Sale.objects.count(), fresh(there).quantity) == (1, 0, 10)

    # Any entry tries it again: it still takes nothing of a lot that nobody named.
    send(client, "/record/hold/", lot_list=there.code, reason="smells sour")
    send(client, "/record/release/", lot_list=there.code, reason="was the fridge")
    assert (waiting(), fresh(there).quantity) == (1, 10)

    new = pack_ten(world, client)

    assert (waiting(), fresh(there).quantity, fresh(new).quantity) == (0, 10, 6)


def test_a_sale_before_its_pick_asks_which_lot_where_two_were_recorded_since(
    world: World, client: Client
) -> None:
    sell_ahead(world, client, "20")
    first, second = pack_ten(world, client), pack_ten(world, client)

    assert (waiting(), Sale.objects.count()) == (1, 0)
    kept = Waiting.objects.get(answered_at=None)
    address = f"/record/sell/?place={world.stall.pk}&waiting={kept.uuid}"
    sent = {"unlisted_what": f"product-{world.product.pk}", "unlisted_amount": "20"}
    page = text(send(client, address, uuid=kept.uuid, **sent))
    assert f"since then lots {first.code}, {second.code} were recorded" in page

    drawn = {f"sold_{first.pk}": "10", f"sold_{second.pk}": "10"}
    send(client, address, uuid=kept.uuid, **drawn)
    assert (waiting(), Sale.objects.count()) == (0, 1)
    assert (fresh(first).quantity, fresh(second).quantity) == (0, 0)


def test_a_sale_takes_nothing_that_was_packed_on_a_later_day(world: World, client: Client) -> None:
    yesterday = {"when": "2026-10-19T09:00"}
    send(
        client,
        sell_page(world),
        unlisted_what=f"product-{world.product.pk}",
        unlisted_amount="4",
        **yesterday,
    )
    later = pack_ten(world, client)  # on the 20th

    assert (waiting(), fresh(later).quantity) == (1, 10)


def test_a_sale_from_a_phone_takes_the_lot_that_was_recorded_while_it_waited_there(
    world: World, client: Client
) -> None:
    """It was typed before the packing was, by a clock that runs a day behind."""
    typed_at = timezone.now() - timedelta(minutes=1)
    lot = pack_ten(world, client)
    sent_at = timezone.now()
    behind = timedelta(days=1)
    sale = typed(unlisted_what=f"product-{world.product.pk}", unlisted_amount="4")
    clock = {
        "phone_saved_at": (typed_at - behind).isoformat(),
        "phone_sent_at": (sent_at - behind).isoformat(),
    }
    answer = client.post(sell_page(world), sale | clock, headers={"Accept": "application/json"})

    assert "entered" in answer.json()
    assert fresh(lot).quantity == 6


def test_a_sale_of_seconds_waits_for_seconds(world: World, client: Client) -> None:
    seconds = f"loose-{world.species.pk}-fresh-seconds"
    kept = crop(world)
    LotCard.objects.filter(lot=kept).update(grade="seconds")
    send(
        client, sell_page(world), unlisted_what=seconds, unlisted_amount="2 kg", unlisted_price="6"
    )
    crop(world)  # firsts
    rye = {"supply": world.supplies["rye"].pk, "quantity": "25", "paid_money": "15"}
    send(client, "/record/receive-supplies/", **rye)
    assert (waiting(), Sale.objects.count()) == (1, 0)

    new = crop(world)
    LotCard.objects.filter(lot=new).update(grade="seconds")
    send(client, "/record/receive-supplies/", **rye)

    # 2 kg at 6.00
    assert (waiting(), SaleLine.objects.get().gross) == (0, 12 * UNIT)
    assert (fresh(kept).quantity, fresh(new).quantity) == (10 * KG, 8 * KG)


def test_a_loose_sale_that_no_price_is_known_of_is_refused_and_not_kept(
    world: World, client: Client
) -> None:
    sent = {"unlisted_what": f"loose-{world.species.pk}", "unlisted_amount": "2 kg"}
    refused = text(send(client, sell_page(world), **sent))
    send(client, sell_page(world), unlisted_price="12", **sent)

    assert "State the price." in refused
    assert waiting() == 1

    crop(world)
    send(
        client,
        "/record/receive-supplies/",
        supply=world.supplies["rye"].pk,
        quantity="25",
        paid_money="15",
    )

    # 2 kg at 12.00, taken at the next entry.
    assert (waiting(), SaleLine.objects.get().gross) == (0, 24 * UNIT)


def test_an_emptied_lot_is_sold_by_its_code_with_a_question(world: World, client: Client) -> None:
    lot = pack_ten(world, client)
    send(client, sell_page(world), **{f"sold_{lot.pk}": "10"})
    more = {"unlisted_lot": lot.code, "unlisted_amount": "2"}
    asked = text(send(client, sell_page(world), **more))

    assert "Sell it all the same, and count up" in asked
    assert waiting() == 1

    send(client, sell_page(world), count_up="on", **more)

    assert sorted(SaleLine.objects.values_list("gross", flat=True)) == [10 * UNIT, 50 * UNIT]


def test_what_is_not_listed_needs_its_amount(world: World, client: Client) -> None:
    page = text(send(client, sell_page(world), unlisted_what=f"product-{world.product.pk}"))

    assert "State both what it was and how much of it." in page
    assert waiting() == 0


def test_a_conflict_waits_once_until_a_person_decides(world: World, client: Client) -> None:
    rye = typed(supply=world.supplies["rye"].pk, quantity="25", paid_money="15")
    client.post("/record/receive-supplies/", rye)
    for _ in range(2):
        client.post("/record/receive-supplies/", rye | {"quantity": "26"})

    assert "sent before with other content" in text(client.get("/unfinished/"))
    assert (waiting(), Entry.objects.count()) == (1, 1)

    # An entry on the same lot would send it again; a conflict is not sent by itself.
    send(client, "/record/hold/", lot_list=Lot.objects.get().code, reason="torn sack")
    assert (waiting(), Lot.objects.count()) == (1, 1)

    kept = Waiting.objects.get(answered_at=None)
    address = f"/record/receive-supplies/?waiting={kept.uuid}"
    client.post(address, rye | {"quantity": "26", "uuid": prefilled(client, address)["uuid"]})
    assert (waiting(), Lot.objects.count()) == (0, 2)


def test_what_is_accepted_lets_the_next_in_that_waited_for_it(world: World, client: Client) -> None:
    """A sale waits for packs, the packs wait for a lot on hold: one release lets both in."""
    lot = crop(world, 10 * KG)
    world.received("punnet", 50)
    send(client, "/record/hold/", lot_list=lot.code, reason="smells sour")
    sell_ahead(world, client)
    address = f"/record/pack/?product={world.product.pk}&packs=10&when=2026-10-20T09:00"
    send(client, address, sure="on", **{f"draws_{lot.pk}": "2 kg"})

    assert waiting() == 2

    send(client, "/record/release/", lot_list=lot.code, reason="was the fridge")

    assert (waiting(), Sale.objects.count()) == (0, 1)


# --- the list --------------------------------------------------------------------------------


def test_packs_stand_before_what_is_loose_and_long_lists_are_folded(
    world: World, client: Client
) -> None:
    loose = [crop(world) for _ in range(7)]
    packs = pack_ten(world, client)
    page = text(client.get(sell_page(world)))

    assert page.index("packs, fresh") < page.index("loose, fresh")
    assert page.index(packs.code) < page.index(loose[0].code)
    # Eight picks are on hand, of which the packing took 2 kg.
    assert "And 2 more." in page


def test_a_short_list_is_not_folded(world: World, client: Client) -> None:
    crop(world)

    assert "more. What was sold" not in text(client.get(sell_page(world)))


def test_a_message_says_how_much_of_which_lot(world: World, client: Client) -> None:
    lot = pack_ten(world, client)
    sent = typed(**{f"sold_{lot.pk}": "4"})
    sold = text(client.post(sell_page(world), sent, follow=True))
    held = text(client.post("/record/hold/", typed(lot_list=lot.code, reason="sour"), follow=True))

    assert f"Sold: 4 packs of lot {lot.code}." in sold
    assert f"Put on hold: lot {lot.code}, 6 packs." in held


def test_sales_are_dated_when_they_were_made(world: World, client: Client) -> None:
    """What waited keeps the time at which it was done."""
    when = timezone.localtime(timezone=world.farm.zone) - timedelta(hours=2)
    send(
        client,
        sell_page(world),
        unlisted_what=f"product-{world.product.pk}",
        unlisted_amount="4",
        when=f"{when:%Y-%m-%dT%H:%M}",
    )
    world.now = when - timedelta(days=2)
    pack_ten(world, client)

    happened = Sale.objects.get().entry.happened_at.astimezone(world.farm.zone)
    assert f"{happened:%H:%M}" == f"{when:%H:%M}"
