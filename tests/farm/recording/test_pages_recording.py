"""Recording: what is typed is recorded, refused with everything kept, or asked about."""

import pytest
from django.test import Client
from django.utils import timezone

from farm.models import LotCard, Sale, SaleLine, Stage
from ledger.models import Entry, Lot, Waiting
from tests.conftest import signed_in
from tests.farm.filled import last_entry, prefilled, send, text, typed
from tests.farm.world import (
    GRAM,
    KG,
    UNIT,
    World,
    filled_bags,
    fresh,
    fruiting,
    grow_spawn,
    picked,
    prepared_grain,
)


@pytest.fixture
def client(world: World) -> Client:
    return signed_in(world.owner)


def test_a_delivery_becomes_a_lot_and_its_entry_is_shown(world: World, client: Client) -> None:
    answer = client.post(
        "/record/receive-supplies/",
        typed(supply=world.supplies["rye"].pk, quantity="25 kg", paid_money="15"),
        follow=True,
    )

    lot = Lot.objects.get(item__name="rye")
    assert (lot.quantity, lot.materials) == (25 * KG, 15 * UNIT)
    assert f"Received: 25.00 kg · 55.12 lb as lot {lot.code}." in text(answer)


def test_what_was_typed_is_kept_when_it_cannot_be_read(world: World, client: Client) -> None:
    answer = send(
        client, "/record/receive-supplies/",
        supply=world.supplies["rye"].pk, quantity="25 stone", paid_money="15", reason="by van",
    )  # fmt: skip

    assert 'value="25 stone"' in text(answer)
    assert "has a unit that is not known here" in text(answer)
    assert "by van" in text(answer)
    assert not Entry.objects.exists()


def test_counted_supplies_are_read_as_pieces(world: World, client: Client) -> None:
    rye = {"supply": world.supplies["block bag"].pk, "paid_money": "10"}
    refused = send(client, "/record/receive-supplies/", quantity="4 kg", **rye)
    send(client, "/record/receive-supplies/", quantity="40", **rye)

    assert "not a whole number of pieces" in text(refused)
    assert Lot.objects.get().quantity == 40


def test_a_form_sent_twice_is_recorded_once(world: World, client: Client) -> None:
    sent = typed(supply=world.supplies["rye"].pk, quantity="25", paid_money="15")
    client.post("/record/receive-supplies/", sent)
    again = client.post("/record/receive-supplies/", sent, follow=True)

    assert Entry.objects.count() == 1
    assert "nothing was written twice" in text(again)


def test_a_form_changed_and_sent_again_is_refused(world: World, client: Client) -> None:
    sent = typed(supply=world.supplies["rye"].pk, quantity="25", paid_money="15")
    client.post("/record/receive-supplies/", sent)
    again = client.post("/record/receive-supplies/", sent | {"quantity": "26"})

    assert "sent before with other content" in text(again)


def test_what_is_later_than_now_is_refused(world: World, client: Client) -> None:
    answer = send(client, "/record/receive-supplies/", when="2099-01-01T08:00")

    assert "This is later than now." in text(answer)


def test_the_time_is_the_farms_own(world: World, client: Client) -> None:
    send(client, "/record/receive-supplies/", supply=world.supplies["rye"].pk, quantity="25",
         paid_money="15", when="2026-10-20T00:30")  # fmt: skip

    # Madrid is two hours ahead of UTC until the last Sunday of October.
    assert last_entry().happened_at.isoformat() == "2026-10-19T22:30:00+00:00"
    assert last_entry().happened_on.isoformat() == "2026-10-20"


def test_a_recipe_prefills_its_ingredient_lots(world: World, client: Client) -> None:
    sawdust, bags = world.received("sawdust", 60 * KG), world.received("block bag", 50)
    address = f"/record/fill-blocks/?recipe={world.block_recipe.pk}&count=40"
    shown = prefilled(client, address)

    # 40 x 975 g
    assert shown[f"draws_{sawdust.pk}"] == "39.00 kg"
    assert shown[f"draws_{bags.pk}"] == "40"

    client.post(address, shown | typed())

    assert LotCard.objects.get(stage=Stage.BAGS).lot.quantity == 40


def test_missing_ingredients_are_named_before_anything_is_sent(
    world: World, client: Client
) -> None:
    world.received("sawdust", 60 * KG)
    answer = client.get(f"/record/fill-blocks/?recipe={world.block_recipe.pk}&count=40")

    assert "Not enough on hand for this many: block bag." in text(answer)


def test_the_first_step_is_asked_before_the_rest(client: Client) -> None:
    answer = text(client.get("/record/fill-blocks/"))

    assert "How many blocks" in answer
    assert 'method="get"' in answer


def test_a_run_without_a_reading_is_refused(world: World, client: Client) -> None:
    grain = prepared_grain(world)
    sent = {"steriliser": world.steriliser.pk, "lots": grain.code, "minutes_at_temperature": "150"}
    refused = send(client, "/record/steriliser-run/", **sent)
    send(client, "/record/steriliser-run/", gauge_pa="15 psi", **sent)

    assert "State the pressure or the temperature that was read." in text(refused)
    assert last_entry().kind == "steriliser run"


def test_a_pressure_above_the_plate_is_refused_in_words(world: World, client: Client) -> None:
    grain = prepared_grain(world)
    answer = send(client, "/record/steriliser-run/", steriliser=world.steriliser.pk,
                  lots=grain.code, minutes_at_temperature="150", gauge_pa="20 psi")  # fmt: skip

    assert "above the maker&#x27;s limit of 110 kPa" in text(answer)
    assert 'value="20 psi"' in text(answer)


def test_blocks_are_inoculated_and_the_rate_is_shown_on_all_its_bases(
    world: World, client: Client
) -> None:
    _, _, spawn = grow_spawn(world)
    bags = filled_bags(world)
    # 40 blocks x 226.8 g
    answer = client.post(
        "/record/inoculate-blocks/",
        typed(bags_list=bags.code, count="40", **{f"spawn_{spawn.pk}": "9.072 kg"}),
        follow=True,
    )

    assert "Blocks inoculated: 40 blocks as lot" in text(answer)
    for basis in ("of the wet substrate", "of the finished block", "of the dry substrate"):
        assert f"Spawn, {basis}" in text(answer)


def test_a_code_typed_from_the_tape_is_found(world: World, client: Client) -> None:
    crop = picked(world)
    send(client, "/record/weigh-again/", lot_list="", lot_code=f" {crop.code.lower()} ",
         weight_mg="9.9")  # fmt: skip

    assert last_entry().kind == "weigh again"


def test_one_wrong_sign_is_noticed_and_the_right_code_offered(world: World, client: Client) -> None:
    crop = picked(world)
    wrong = ("2" if crop.code[0] != "2" else "3") + crop.code[1:]
    answer = text(send(client, "/record/weigh-again/", lot_code=wrong, weight_mg="9.9"))

    assert "is not a lot&#x27;s code" in answer
    assert crop.code in answer
    assert f'value="{wrong}"' in answer


def test_the_next_flush_is_prefilled(world: World, client: Client) -> None:
    picked(world)
    blocks = LotCard.objects.get(stage=Stage.BLOCKS).lot

    assert prefilled(client, f"/record/pick/?blocks={blocks.code}")["flush"] == "2"


def test_a_doubtful_weight_is_asked_about_and_taken_with_a_tick(
    world: World, client: Client
) -> None:
    blocks = fruiting(world)
    sent = typed(blocks=blocks.code, flush="1", firsts_mg="80")
    asked = text(client.post("/record/pick/", sent))

    assert "Yes, that is right" in asked
    assert not LotCard.objects.filter(stage=Stage.CROP).exists()

    client.post("/record/pick/", sent | {"sure": "on"})

    assert LotCard.objects.get(stage=Stage.CROP).lot.quantity == 80 * KG


def test_a_loss_without_a_cause_is_refused(world: World, client: Client) -> None:
    blocks = fruiting(world)
    sent = {"lot_list": blocks.code, "colonised_percent": "100", "lost": "2"}
    refused = send(client, "/record/check/", cause="", **sent)
    send(client, "/record/check/", cause="green mould", **sent)

    assert "Not recorded." in text(refused)
    assert fresh(blocks).quantity == 38


def test_packs_are_prefilled_by_net_weight_and_sold_at_the_price_in_force(
    world: World, client: Client
) -> None:
    crop = picked(world)
    world.received("punnet", 50)
    address = f"/record/pack/?product={world.product.pk}&packs=20&when=2026-10-20T09:00"
    shown = prefilled(client, address)
    client.post(address, shown | typed())
    packs = LotCard.objects.get(stage=Stage.PACKS).lot

    # So full that 200 g are there after six days at 1 %, each pack 3.29 g beside the mark:
    # 200 / 0.99^6 + 3.29 = 215.7, filled to 216 g; 20 of them.
    assert shown[f"draws_{crop.pk}"] == "4.32 kg"

    address = f"/record/sell/?place={world.stall.pk}"
    shown = prefilled(client, address)
    client.post(address, shown | typed(**{f"sold_{packs.pk}": "5"}))

    assert f"price_{packs.pk}" not in shown
    assert "today €5.00" in text(client.get(address))
    assert SaleLine.objects.get().gross == 25 * UNIT


def test_a_sale_told_late_is_sold_at_the_price_of_its_day(world: World, client: Client) -> None:
    packs = packed(world)
    world.product.prices.create(
        place=world.stall, from_day=timezone.localdate(), pack_money=9 * UNIT
    )
    address = f"/record/sell/?place={world.stall.pk}"
    for when in ("2026-10-20T09:00", timezone.localtime().strftime("%Y-%m-%dT%H:%M")):
        shown = prefilled(client, address)
        client.post(address, shown | typed(when=when, sure="on", **{f"sold_{packs.pk}": "1"}))

    assert [row.gross for row in SaleLine.objects.order_by("pk")] == [5 * UNIT, 9 * UNIT]


def test_a_farm_in_pounds_prices_what_is_loose_by_the_pound(world: World, client: Client) -> None:
    world.farm.weight_unit = "lb"
    world.farm.save()
    crop = picked(world)
    address = f"/record/sell/?place={world.stall.pk}"
    page = text(client.get(address))
    send(client, address, **{f"sold_{crop.pk}": "1", f"price_{crop.pk}": "12"})

    assert "Price of a pound" in page
    assert "Price of a kilogram" not in page
    assert SaleLine.objects.get().gross == 12 * UNIT


def test_a_helper_types_no_price_and_sells_at_the_list_price(world: World) -> None:
    packs = packed(world)
    helper = signed_in(world.helper)
    address = f"/record/sell/?place={world.stall.pk}"
    page = text(helper.get(address))
    helper.post(address, typed(**{f"sold_{packs.pk}": "5"}))

    assert "Price" not in page
    assert "5.00" not in page
    assert SaleLine.objects.get().gross == 25 * UNIT


def test_selling_past_the_book_asks_once_and_counts_up(world: World, client: Client) -> None:
    packs = packed(world)
    address = f"/record/sell/?place={world.stall.pk}"
    sent = typed(**{f"sold_{packs.pk}": "25"})
    asked = text(client.post(address, sent))

    assert "Sell it all the same, and count up" in asked
    assert not Sale.objects.exists()

    client.post(address, sent | {"count_up": "on"})

    assert fresh(packs).quantity == 0
    assert Waiting.objects.filter(answered_at=None).count() == 0


def test_a_refusal_for_a_hold_is_kept_and_accepted_after_the_release(
    world: World, client: Client
) -> None:
    packs = packed(world)
    send(client, "/record/hold/", lot_list=packs.code, reason="smells sour")
    address = f"/record/sell/?place={world.stall.pk}"
    refused = text(client.post(address, typed(**{f"sold_{packs.pk}": "5"})))

    assert "kept under To sort out" in refused
    assert "is on hold" in text(client.get("/unfinished/"))

    released = client.post(
        "/record/release/", typed(lot_list=packs.code, reason="was the fridge"), follow=True
    )

    assert "It waited: Sold" in text(released)
    assert fresh(packs).quantity == 15


def test_an_unfinished_form_is_opened_again_as_it_was_sent(world: World, client: Client) -> None:
    packs = packed(world)
    send(client, "/record/hold/", lot_list=packs.code, reason="smells sour")
    client.post(f"/record/sell/?place={world.stall.pk}", typed(**{f"sold_{packs.pk}": "5"}))
    waits = Waiting.objects.get()

    assert prefilled(client, f"/record/sell/?waiting={waits.uuid}")[f"sold_{packs.pk}"] == "5"


def test_an_unfinished_form_is_dropped_only_with_a_reason(world: World, client: Client) -> None:
    packs = packed(world)
    send(client, "/record/hold/", lot_list=packs.code, reason="smells sour")
    client.post(f"/record/sell/?place={world.stall.pk}", typed(**{f"sold_{packs.pk}": "5"}))
    address = f"/unfinished/{Waiting.objects.get().uuid}/drop/"

    client.post(address, {"reason": " "})
    assert "smells" not in Waiting.objects.get().answer and not Waiting.objects.get().answer

    client.post(address, {"reason": "customer went home"})
    assert "customer went home" in Waiting.objects.get().answer


def test_a_stall_day_goes_from_the_load_to_the_settling(world: World, client: Client) -> None:
    packs = packed(world)
    send(client, f"/record/load-stall/?place={world.stall.pk}", day="2026-10-20",
         **{f"load_{packs.pk}": "18"})  # fmt: skip

    assert "Back from the market" in text(client.get("/"))

    load = last_entry().stall_day
    send(client, f"/record/settle-stall/?stall_day={load.pk}",
         **{f"back_item{packs.item_id}": "4"})  # fmt: skip

    # took 18, brought back 4, sold 14 at 5.00
    assert SaleLine.objects.get().gross == 70 * UNIT
    assert 'class="loads"' not in client.get("/").content.decode()


def test_what_comes_back_goes_to_its_own_lot(world: World, client: Client) -> None:
    packs = packed(world)
    client.post(f"/record/sell/?place={world.stall.pk}", typed(**{f"sold_{packs.pk}": "20"}))
    line = SaleLine.objects.get()
    send(client, f"/record/take-back/?sale_line={line.pk}", quantity="3")

    assert fresh(packs).quantity == 3


def test_weights_are_hinted_in_the_farms_unit(world: World, client: Client) -> None:
    world.farm.weight_unit = "lb"
    world.farm.save()
    crop = picked(world)
    send(client, "/record/weigh-again/", lot_list=crop.code, weight_mg="22")

    # 22 lb are 9,979,032.14 mg
    assert fresh(crop).quantity == 9_979_032


def test_cautions_stand_where_the_work_can_hurt(world: World, client: Client) -> None:
    picked(world)
    expected = {
        "steriliser-run": "maker&#x27;s plate",
        "inoculate-blocks": "Alcohol and flame",
        "check": "outdoors",
        "dry": "not a kill step",
        "pack": "botulism",
    }

    for slug, words in expected.items():
        assert words in text(client.get(f"/record/{slug}/"))


def packed(world: World) -> Lot:
    """Twenty packs of 200 g, made through the page."""
    picked(world)
    world.received("punnet", 50)
    address = f"/record/pack/?product={world.product.pk}&packs=20&when=2026-10-20T09:00"
    client = signed_in(world.owner)
    client.post(address, prefilled(client, address) | typed())
    lot = LotCard.objects.get(stage=Stage.PACKS).lot
    assert lot.unit_mass_mg == 200 * GRAM
    return lot


def test_a_shelf_that_was_chosen_is_chosen_the_next_time_by_the_same_person_alone(
    world: World, client: Client
) -> None:
    blocks = fruiting(world, 4)
    chosen = f'<option value="{world.fridge_shelf.pk}" selected>'
    send(client, "/record/pick/", blocks=[blocks.code], flush="1", firsts_mg="1.2 kg",
         shelf=world.fridge_shelf.pk)  # fmt: skip

    assert chosen in text(client.get("/record/pick/"))
    assert chosen not in text(signed_in(world.helper).get("/record/pick/"))
