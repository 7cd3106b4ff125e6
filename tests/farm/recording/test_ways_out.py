"""The way on from a refusal and from an empty list: the button that mends it, or whom to ask."""

import re
from typing import Any
from urllib.parse import quote

import pytest
from django.test import Client

from farm.actions.tracing.holding import hold
from farm.models import Customer, Price, Product, SellingPlace, StandardTime, Supply
from ledger.models import Lot
from tests.conftest import signed_in
from tests.farm.filled import prefilled, send, text, typed
from tests.farm.goods import packs
from tests.farm.recording.test_from_phone import from_phone
from tests.farm.world import KG, World, filled_bags, fruiting, grow_spawn, picked, prepared_grain

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(world: World) -> Client:
    return signed_in(world.owner)


def test_above_the_makers_limit_leads_the_owner_to_the_vessel(world: World, client: Client) -> None:
    grain = prepared_grain(world)
    said = {
        "steriliser": world.steriliser.pk,
        "lots": grain.code,
        "gauge_pa": "20 psi",
        "minutes_at_temperature": "150",
    }
    refused = text(send(client, "/record/steriliser-run/", **said))

    vessel = f"/look-ups/sterilisers/{world.steriliser.pk}/change/"
    back = "?then=%2Frecord%2Fsteriliser-run%2F%3Fagain%3Dstopped"
    assert f'<a class="button" href="{vessel}{back}">Change {world.steriliser}</a>' in refused
    told = text(send(signed_in(world.helper), "/record/steriliser-run/", **said))
    assert vessel not in told and f"Ask the owner: Change {world.steriliser}." in told


def inoculated(client: Client, bags: Lot, spawn: Lot) -> str:
    said = {"bags_list": bags.code, "count": "4", f"spawn_{spawn.pk}": "1 kg"}
    return text(send(client, "/record/inoculate-blocks/", **said))


def test_what_was_never_sterilised_leads_to_its_run(world: World, client: Client) -> None:
    spawn, bags = grow_spawn(world)[2], filled_bags(world, sterilised=False)
    run = f"/record/steriliser-run/?lots={bags.code}"

    assert f'href="{run}">Steriliser run: lot {bags.code}</a>' in inoculated(client, bags, spawn)
    assert f'value="{bags.code}" id="id_lots_' in text(client.get(run)).split("Others")[0]


def test_what_was_stopped_is_gone_on_with_as_it_was_typed(world: World, client: Client) -> None:
    spawn, bags = grow_spawn(world)[2], filled_bags(world, sterilised=False)
    inoculated(client, bags, spawn)
    run = {
        "steriliser": world.steriliser.pk,
        "lots": bags.code,
        "gauge_pa": "15 psi",
        "minutes_at_temperature": "150",
    }
    ran = text(client.post("/record/steriliser-run/", typed(**run), follow=True))
    form = "/record/inoculate-blocks/?again=stopped"
    shown = prefilled(client, form)
    done = text(client.post(form, shown | {"bags_list": bags.code}, follow=True))

    assert f'Inoculate blocks was stopped. <a href="{form}">Go on with it, as it was' in ran
    assert (shown["count"], shown[f"spawn_{spawn.pk}"]) == ("4", "1 kg")
    assert "Blocks inoculated: 4 blocks" in done and "was stopped" not in done


def test_what_is_on_hold_and_what_is_too_little_leads_to_the_lot(
    world: World, client: Client
) -> None:
    lot, spawn, bags = packs(world, 10), grow_spawn(world)[2], filled_bags(world)
    said = {"quantity": "12", "why": "sample", "sure": "on"}
    short = text(send(client, f"/record/give-away/?lot={lot.code}", **said))
    hold(world.doing(reason="smells sour"), [spawn])

    assert f'href="/lots/{lot.code}/">Look at lot {lot.code}</a>' in short
    assert f'href="/lots/{spawn.code}/">Look at lot' in inoculated(client, bags, spawn)


def test_packaging_that_is_missing_is_received_first(world: World, client: Client) -> None:
    crop = picked(world, 10 * KG)
    punnet = Supply.objects.get(item__name="punnet")
    Lot.objects.filter(item=punnet.item).update(quantity=0)
    address = f"/record/pack/?product={world.product.pk}&packs=5"
    refused = text(send(client, address, **{f"draws_{crop.pk}": "1 kg"}))

    receive = f"/record/receive-supplies/?supply={punnet.pk}"
    assert f'href="{receive}">Receive supplies: {punnet}</a>' in refused
    assert f'<option value="{punnet.pk}" selected>' in text(client.get(receive))


def test_spent_blocks_that_gave_nothing_lead_to_their_pick(world: World, client: Client) -> None:
    blocks = fruiting(world)
    refused = text(
        send(
            client,
            "/record/keep-spent-blocks/",
            lot_list=blocks.code,
            worth_money="5",
            crop_kg_money="10",
        )
    )

    assert f'href="/record/pick/?blocks={blocks.code}">Pick: lot {blocks.code}</a>' in refused


def test_a_price_and_a_usual_time_that_are_missing_are_added(world: World, client: Client) -> None:
    lot = packs(world, 10)
    Price.objects.all().delete()
    address = f"/record/sell/?place={world.stall.pk}"
    unpriced = text(send(client, address, **{f"sold_{lot.pk}": "5"}))
    blocks = fruiting(world)
    StandardTime.objects.all().delete()
    untimed = text(send(client, "/record/pick/", blocks=blocks.code, flush="1", firsts_mg="8"))

    assert re.search(r'href="/look-ups/prices/add/[^"]*">Add a price</a>', unpriced)
    assert re.search(r'href="/look-ups/standard-times/add/[^"]*">Add a standard time<', untimed)


def test_what_a_phone_sent_shows_the_same_way_when_it_is_sorted_out(
    world: World, client: Client
) -> None:
    spawn, bags = grow_spawn(world)[2], filled_bags(world, sterilised=False)
    said: dict[str, Any] = {"bags_list": bags.code, "count": "4", f"spawn_{spawn.pk}": "1 kg"}
    from_phone(client, "/record/inoculate-blocks/", **said)
    waits = text(client.get("/unfinished/"))

    assert (
        f'href="/record/steriliser-run/?lots={bags.code}">Steriliser run: lot {bags.code}' in waits
    )
    assert "Then open it and send it again." in waits and "Open it as it was sent" in waits


def test_a_list_without_rows_leads_to_adding_one_or_names_whom_to_ask(
    world: World, client: Client
) -> None:
    Price.objects.all().delete()
    Product.objects.all().delete()
    Customer.objects.all().delete()
    SellingPlace.objects.all().delete()
    packing, selling = text(client.get("/record/pack/")), text(client.get("/record/sell/"))

    add = "/look-ups/products/add/?then=%2Frecord%2Fpack%2F"
    assert f'No product yet. <a class="button" href="{add}">Add a product</a>' in packing
    assert 'href="/look-ups/selling-places/add/?then=%2Frecord%2Fsell%2F">' in selling
    told = text(signed_in(world.helper).get("/record/pack/"))
    assert "No product yet. Ask the owner: Add a product." in told


def test_lots_that_are_missing_are_made_by_the_button(world: World, client: Client) -> None:
    checking, filling = (
        text(client.get("/record/check/")),
        text(client.get("/record/inoculate-blocks/")),
    )

    assert 'None on hand. <a class="button" href="/record/inoculate-grain/">' in checking
    assert 'href="/record/fill-blocks/">Fill blocks</a>' in filling
    spawn = filling.split("Spawn used, of each lot")[1]
    assert 'href="/record/inoculate-grain/">Inoculate grain</a>' in spawn.split("</fieldset>")[0]


@pytest.mark.parametrize(
    ("then", "leads_to"),
    [("/record/move/", "/record/move/?shelf="), ("https://elsewhere.example/", "/first-hour/")],
)
def test_what_was_added_leads_back_to_the_form_that_missed_it(
    world: World, client: Client, then: str, leads_to: str
) -> None:
    room = world.shelf.room_id
    answer = client.post(
        f"/look-ups/shelves/add/?then={then}",
        {"room": room, "name": "second", "holds_blocks": "0"},
    )

    assert answer.headers["Location"].startswith(leads_to)


def test_what_nothing_brings_in_offers_nothing(client: Client) -> None:
    releasing, delivering = (text(client.get(f"/record/{one}/")) for one in ("release", "deliver"))

    assert '<p class="hint" id="id_lot_helptext">Nothing is on hold.</p>' in releasing
    assert 'No order is open. <a class="button" href="/orders/take/">Take an order' in delivering


def test_an_invoice_that_lacks_the_farms_number_leads_there_and_back(
    world: World, client: Client
) -> None:
    Product.objects.update(tax_ppm=100_000)
    lot = packs(world, 10)
    said = {f"sold_{lot.pk}": "2", f"price_{lot.pk}": "4.20", "sure": "on"}
    sale = send(client, f"/record/sell/?place={world.stall.pk}", **said).headers["Location"]
    refused = text(client.post(f"{sale}invoice/", follow=True))

    way = re.search(r'href="(/look-ups/farm/[^"]+)">Change the farm</a>', refused)
    assert way and "must show the farm&#x27;s tax number" in refused
    assert quote(sale, safe="") in way[1]
