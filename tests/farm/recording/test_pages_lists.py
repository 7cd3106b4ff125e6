"""Lists: filtered, sorted, taken away, and read with a fixed number of queries."""

from datetime import timedelta
from io import BytesIO

import pytest
from django.test import Client
from openpyxl import load_workbook
from pytest_django import DjangoAssertNumQueries

from farm.actions.tracing.holding import hold
from farm.models import Stage
from farm.queries.keeping import keeps_until, too_old_words
from ledger.models import Lot
from tests.conftest import signed_in
from tests.farm.filled import prefilled, send, text, typed
from tests.farm.goods import crop
from tests.farm.world import KG, World, farm_today, filled_bags, fruiting, grow_blocks, picked


@pytest.fixture
def client(world: World) -> Client:
    return signed_in(world.owner)


def sheet_of(client: Client, address: str) -> list[tuple[object, ...]]:
    book = load_workbook(BytesIO(client.get(address).content))
    return list(book.worksheets[1].iter_rows(values_only=True))


def test_lots_are_those_on_hand_unless_asked_otherwise(world: World, client: Client) -> None:
    filled_bags(world)
    gone = Lot.objects.get(item__name="sawdust")

    assert gone.code not in text(client.get("/lots/"))
    assert gone.code in text(client.get("/lots/?on_hand="))
    assert gone.code in text(client.get("/lots/?on_hand=no"))


def test_lots_are_filtered_by_stage_and_strain(world: World, client: Client) -> None:
    grow_blocks(world)
    by_stage = text(client.get("/lots/?stage=6"))
    by_strain = text(client.get(f"/lots/?strain={world.other_strain.pk}"))

    assert "1 listed" in by_stage
    assert "0 listed" in by_strain


def test_a_whole_code_goes_straight_to_its_lot(world: World, client: Client) -> None:
    lot = world.received("rye", KG)

    assert client.get(f"/lots/?code={lot.code.lower()}").url == f"/lots/{lot.code}/"  # type: ignore[attr-defined]


def test_a_misread_code_is_answered_with_the_one_meant(world: World, client: Client) -> None:
    lot = world.received("rye", KG)
    wrong = ("2" if lot.code[0] != "2" else "3") + lot.code[1:]

    assert f"Did you mean {lot.code}?" in text(client.get(f"/lots/?code={wrong}"))


def test_the_spreadsheet_holds_the_filtered_rows_as_numbers(world: World, client: Client) -> None:
    lot = world.received("rye", 12_400_000)
    world.received("block bag", 40)
    rows = sheet_of(client, "/lots/?take=xlsx&sort=item__name")
    (row,) = [row for row in rows if row[0] == lot.code]

    assert row[1] == "rye"
    # kilograms, not milligrams
    assert row[4] == 12.4


def test_entries_are_filtered_by_kind_day_and_lot(world: World, client: Client) -> None:
    lot = world.received("rye", KG)
    filled_bags(world)

    assert "1 listed" in text(client.get(f"/entries/?lot={lot.code}"))
    assert "3 listed" in text(client.get("/entries/?kind=receive+supplies"))
    assert "0 listed" in text(client.get("/entries/?since=2026-09-08"))


def test_entries_and_sales_are_taken_away(world: World, client: Client) -> None:
    packs = sold_packs(world, client)
    entries = sheet_of(client, "/entries/?take=xlsx")
    sales = sheet_of(client, "/sales/?take=xlsx")

    assert any("sell" in row for row in entries)
    (row,) = [row for row in sales if packs.code in row]
    assert 25 in row


@pytest.mark.parametrize("address", ["/lots/?on_hand=", "/entries/", "/sales/", "/stock/", "/"])
def test_a_longer_list_asks_no_more_queries(
    world: World,
    client: Client,
    address: str,
    django_assert_max_num_queries: DjangoAssertNumQueries,
) -> None:
    sold_packs(world, client)
    client.get(address)
    with django_assert_max_num_queries(60) as first:
        client.get(address)
    for name in ("rye", "sawdust", "block bag", "grain bag"):
        world.received(name, 1000)
    filled_bags(world, sterilised=False)
    with django_assert_max_num_queries(len(first.captured_queries)):
        client.get(address)


def test_the_stock_is_added_up_stage_by_stage(world: World, client: Client) -> None:
    world.received("rye", KG)
    world.received("sawdust", 2 * KG)
    page = text(client.get("/stock/"))

    assert "3.00 kg · 6.61 lb" in page
    assert ("supplies", 2, 3, 0, 0) in sheet_of(client, "/stock/?take=xlsx")


def test_a_lot_says_what_it_is_and_what_can_be_done_with_it(world: World, client: Client) -> None:
    crop = picked(world)
    page = text(client.get(f"/lots/{crop.code}/"))

    for words in (
        "10.00 kg · 22.05 lb",
        "Fridge, 1",
        "firsts",
        f"/trace/{crop.code}/",
        f"/record/weigh-again/?lot={crop.code}",
        "Put on hold",
    ):
        assert words in page


def test_a_lot_on_hold_offers_its_release(world: World, client: Client) -> None:
    crop = picked(world)
    send(client, "/record/hold/", lot_list=crop.code, reason="smells sour")
    page = text(client.get(f"/lots/{crop.code}/"))

    assert f"/record/release/?lot={crop.code}" in page


def test_a_lot_on_hold_offers_only_what_the_book_takes_of_it(world: World, client: Client) -> None:
    lot = crop(world)
    free = text(client.get(f"/lots/{lot.code}/"))
    hold(world.doing(reason="smells sour"), [lot])
    held = text(client.get(f"/lots/{lot.code}/"))

    for slug in ("pack", "sell", "load-stall", "give-away", "dry", "clone-culture"):
        assert f'href="/record/{slug}/' in free
        assert f'href="/record/{slug}/' not in held
    for slug in ("move", "weigh-again", "throw-away"):
        assert f'href="/record/{slug}/' in held


def test_a_pick_of_held_blocks_says_that_it_is_held_too(world: World, client: Client) -> None:
    blocks = fruiting(world)
    sent = {"blocks": blocks.code, "flush": "1", "firsts_mg": "2 kg", "sure": "on"}
    hold(world.doing(reason="green dust"), [blocks])
    page = text(client.post("/record/pick/", typed(**sent), follow=True))
    lot = Lot.objects.get(card__stage=Stage.CROP)

    assert f"Made of a lot on hold, so on hold too: {lot.code}." in page


@pytest.mark.parametrize(
    ("days", "words"),
    [(-1, ""), (0, "today is its last day"), (1, "1 day too old"), (7, "7 days too old")],
)
def test_a_lot_is_called_too_old_from_the_day_after_its_last(
    world: World, days: int, words: str
) -> None:
    lot = crop(world)
    last = keeps_until(lot.card)
    assert last

    assert too_old_words(lot.card, last + timedelta(days=days)) == words


def test_the_load_of_a_stall_marks_food_past_its_days(world: World, client: Client) -> None:
    lot = crop(world)
    last = keeps_until(lot.card)
    assert last
    over = (farm_today() - last).days

    page = text(client.get(f"/record/load-stall/?place={world.stall.pk}"))
    assert over > 1
    assert f"{over} days too old" in page


def test_a_helper_gets_no_way_to_the_cost(world: World) -> None:
    crop = picked(world)

    assert "/cost/" not in text(signed_in(world.helper).get(f"/lots/{crop.code}/"))


def sold_packs(world: World, client: Client) -> Lot:
    """Five packs sold at the stall for 25.00."""
    picked(world)
    world.received("punnet", 50)
    address = f"/record/pack/?product={world.product.pk}&packs=20&when=2026-10-20T09:00"
    client.post(address, prefilled(client, address) | typed())
    packs = Lot.objects.get(card__stage=9)
    client.post(f"/record/sell/?place={world.stall.pk}", typed(**{f"sold_{packs.pk}": "5"}))
    return packs


def test_a_list_with_nothing_in_it_blames_no_filter(world: World, client: Client) -> None:
    nothing, filtered = "Nothing is listed yet.", "Nothing fits. Change the filter"

    assert nothing in client.get("/look-ups/by-products/").content.decode()
    assert filtered in client.get("/look-ups/suppliers/?name=nobody").content.decode()
