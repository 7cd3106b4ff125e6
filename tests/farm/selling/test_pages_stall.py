"""The pages of a stall: one form for the evening, what the day earned, the till, the fee sheet."""

import re
from collections.abc import Mapping
from typing import TYPE_CHECKING
from uuid import uuid4

import pytest
from django.test import Client

from farm.actions.common import Draw
from farm.actions.selling.stalls import load_stall
from farm.models import (
    CashUp,
    GivenAway,
    Person,
    Role,
    Sale,
    SaleLine,
    StallDay,
    Tap,
    TillPrice,
    Token,
    TokensPaid,
)
from ledger.models import Lot
from tests.conftest import person_in_role, signed_in
from tests.farm.filled import Answered
from tests.farm.goods import a_day, on_hand, packs
from tests.farm.world import UNIT, World, small_farm

if TYPE_CHECKING:
    from django.test.client import _MonkeyPatchedWSGIResponse


@pytest.fixture
def world(db: None) -> World:
    return small_farm()


@pytest.fixture
def lot(world: World) -> Lot:
    return packs(world)


@pytest.fixture
def client(world: World) -> Client:
    return signed_in(world.owner)


@pytest.fixture
def seller(world: World) -> Person:
    return person_in_role(Role.SELLER, "sam")


def loaded(world: World, *lots: Lot, seller: Person | None = None) -> StallDay:
    lines = [Draw(lot, lot.quantity) for lot in lots]
    entry = load_stall(
        world.doing(), place=world.stall, day=a_day(world), lines=lines, seller=seller
    ).entry
    return StallDay.objects.get(entry=entry)


def settle(client: Client, load: StallDay, **said: object) -> "_MonkeyPatchedWSGIResponse":
    data = {"when": "2026-09-07T20:00", "uuid": str(uuid4()), **said}
    return client.post(f"/record/settle-stall/?stall_day={load.pk}", data, follow=True)


def tap(
    client: Client, load: StallDay, lot: Lot, what: str = "sold"
) -> "_MonkeyPatchedWSGIResponse":
    data = {"uuid": str(uuid4()), "item": lot.item_id, "what": what}
    return client.post(f"/stall/till/{load.pk}/tap/", data, follow=True)


def text(response: Answered) -> str:
    """The words of a page, without its tags and line breaks."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", response.content.decode()))


def prefilled(client: Client, load: StallDay, by: str = "") -> Mapping[str, object]:
    page = client.get(f"/record/settle-stall/?stall_day={load.pk}{by}")
    form = page.context["form"]
    return {name: form[name].value() for name in form.fields}


# --- the evening -----------------------------------------------------------------------------


def test_one_form_settles_the_day_and_says_what_it_earned(
    world: World, client: Client, lot: Lot
) -> None:
    load = loaded(world, lot)

    said = text(settle(
        client, load, **{f"back_item{lot.item_id}": "9", f"sample_item{lot.item_id}": "1",
                         f"gift_item{lot.item_id}": "2", "cash_money": "198", "card_money": "40",
                         "paid_out_money": "25", "float_money": "100"},
    ))  # fmt: skip

    # 40 less 9 back, 1 sample and 2 gifts are 28 at 5.00; 100 + 140 - 40 - 25 are 175.
    assert "The day earned" in said
    assert "€140.00" in said and "€175.00" in said and "More than expected €23.00" in said
    assert (on_hand(lot), GivenAway.objects.count(), CashUp.objects.count()) == (9, 2, 1)


def test_a_day_settled_later_is_offered_as_sold_on_its_own_evening(
    world: World, client: Client, lot: Lot
) -> None:
    load = loaded(world, lot)
    page = client.get(f"/record/settle-stall/?stall_day={load.pk}")

    assert f'value="{load.day}T18:00"' in page.content.decode()
    assert "18:00, in the usual time" in text(page)


def test_a_day_of_which_nothing_is_said_to_come_back_is_asked_about_once(
    world: World, client: Client, lot: Lot
) -> None:
    load = loaded(world, lot)

    asked = text(settle(client, load))
    assert "Was everything sold?" in asked and not Sale.objects.exists()
    settle(client, load, sure="on")

    sold = SaleLine.objects.get()
    assert sold.gross == 200 * UNIT
    assert "Was everything sold?" in sold.line.entry.particulars


def test_nothing_brought_back_is_no_question_where_it_is_stated(
    world: World, client: Client, lot: Lot
) -> None:
    settle(client, loaded(world, lot), **{f"back_item{lot.item_id}": "0"})

    assert SaleLine.objects.get().gross == 200 * UNIT


def test_two_lots_of_a_product_are_one_row_and_the_older_is_sold_first(
    world: World, client: Client
) -> None:
    older, newer = packs(world, 30), packs(world, 10)

    settle(client, loaded(world, older, newer), **{f"back_item{older.item_id}": "9"})

    assert (on_hand(older), on_hand(newer)) == (0, 9)


def test_lot_by_lot_each_has_a_row_of_its_own(world: World, client: Client) -> None:
    older, newer = packs(world, 30), packs(world, 10)
    load = loaded(world, older, newer)

    assert f"back_lot{older.pk}" in prefilled(client, load, "&by_lot=1")
    settle(client, load, by_lot="1", **{f"back_lot{older.pk}": "9", f"sample_lot{newer.pk}": "1"})

    assert (on_hand(older), on_hand(newer)) == (9, 0)
    assert SaleLine.objects.count() == 2


def test_the_form_refuses_more_than_was_loaded_and_keeps_what_was_typed(
    world: World, client: Client, lot: Lot
) -> None:
    back = {f"back_item{lot.item_id}": "39", f"sample_item{lot.item_id}": "2"}

    said = settle(client, loaded(world, lot), **back)

    assert f"{lot.code}" in text(said) and "at most what was loaded" in text(said)
    assert said.context["form"][f"back_item{lot.item_id}"].value() == "39"
    assert not Sale.objects.exists()


def test_something_taken_off_says_why(world: World, client: Client, lot: Lot) -> None:
    said = text(settle(client, loaded(world, lot), off_why="end of the day", **{
        f"back_item{lot.item_id}": "9", f"off_item{lot.item_id}": "7",
    }))  # fmt: skip

    assert SaleLine.objects.get().gross == 148 * UNIT
    assert "sold for less: end of the day" in said


def test_cards_without_cash_ask_for_the_cash(world: World, client: Client, lot: Lot) -> None:
    said = text(settle(client, loaded(world, lot), card_money="40",
                       **{f"back_item{lot.item_id}": "9"}))  # fmt: skip

    assert "State the cash in the till" in said and not Sale.objects.exists()


def test_cash_left_blank_is_counted_later(world: World, client: Client, lot: Lot) -> None:
    settle(client, loaded(world, lot), **{f"back_item{lot.item_id}": "9"})
    sale = Sale.objects.get()
    assert "The cash was not counted" in text(client.get(f"/stall/{sale.entry_id}/"))

    client.post(f"/stall/{sale.entry_id}/cash/", {
        "uuid": str(uuid4()), "cash_money": "154.50", "word": "change given wrong",
    })  # fmt: skip

    said = text(client.get(f"/stall/{sale.entry_id}/"))
    assert "Less than expected change given wrong €0.50" in said


def test_a_second_count_is_prefilled_with_the_first(world: World, client: Client, lot: Lot) -> None:
    token = Token.objects.create(
        name="Market pound", place=world.stall, value_money=UNIT, issuer="Town council"
    )
    settle(client, loaded(world, lot), cash_money="150",
           **{f"back_item{lot.item_id}": "9", f"token_{token.pk}": "7"})  # fmt: skip

    page = client.get(f"/stall/{Sale.objects.get().entry_id}/cash/")

    form = page.context["form"]
    assert (form["cash_money"].value(), form[f"token_{token.pk}"].value()) == ("€150.00", "7")


def test_the_whole_day_is_taken_back_with_one_press(world: World, client: Client, lot: Lot) -> None:
    settle(client, loaded(world, lot), cash_money="1", **{
        f"back_item{lot.item_id}": "9", f"sample_item{lot.item_id}": "1",
    })  # fmt: skip
    sale = Sale.objects.get()

    client.post(f"/entries/{sale.entry_id}/undo/", {"uuid": str(uuid4()), "all": "1"})

    assert on_hand(lot) == 40
    assert "Back from the market" in text(client.get("/"))


# --- who sees what ---------------------------------------------------------------------------


def test_a_seller_sees_takings_and_cash_and_no_cost(world: World, seller: Person, lot: Lot) -> None:
    client = signed_in(seller)

    said = text(settle(client, loaded(world, lot, seller=seller), cash_money="160",
                       **{f"back_item{lot.item_id}": "9"}))  # fmt: skip

    assert "The day took €155.00" in said and "More than expected €5.00" in said
    assert "earned" not in said.lower() and "had cost" not in said


def test_a_seller_neither_settles_nor_sees_another_stall(
    world: World, client: Client, seller: Person, lot: Lot
) -> None:
    load, other = loaded(world, lot), signed_in(seller)

    settle(other, load, **{f"back_item{lot.item_id}": "9"})
    assert not Sale.objects.exists()
    assert other.get(f"/stall/till/{load.pk}/").status_code == 404
    settle(client, load, **{f"back_item{lot.item_id}": "9"})
    sale = Sale.objects.get()

    assert other.get(f"/stall/{sale.entry_id}/").status_code == 404
    assert other.get(f"/stall/{sale.entry_id}/cash/").status_code == 404


def test_a_helper_settles_and_sees_no_money(world: World, lot: Lot) -> None:
    client = signed_in(world.helper)

    said = text(settle(client, loaded(world, lot), **{f"back_item{lot.item_id}": "9"}))

    assert "The day is settled" in said and "155" not in said
    assert client.get(f"/stall/fees/{world.stall.pk}/").status_code == 403


# --- the till --------------------------------------------------------------------------------


def test_taps_are_filled_in_in_the_evening(world: World, client: Client, lot: Lot) -> None:
    load = loaded(world, lot)
    for what in ("sold", "sold", "sample", "gift", "back"):
        tap(client, load, lot, what)

    shown = prefilled(client, load)

    assert shown[f"back_item{lot.item_id}"] == "37"
    assert (shown[f"sample_item{lot.item_id}"], shown[f"gift_item{lot.item_id}"]) == ("1", None)


def test_what_was_tapped_for_less_is_taken_off_in_the_evening(
    world: World, client: Client, lot: Lot
) -> None:
    load = loaded(world, lot)
    client.post(f"/stall/till/{load.pk}/price/", {
        "uuid": str(uuid4()), "item": lot.item_id, "unit_money": "4", "why": "end of the day",
    })  # fmt: skip
    assert TillPrice.objects.get().unit_money == 4 * UNIT

    tap(client, load, lot)

    # One at 4.00 instead of 5.00.
    assert prefilled(client, load)[f"off_item{lot.item_id}"] == "€1.00"


def test_a_tap_from_a_phone_is_answered_in_json(world: World, client: Client, lot: Lot) -> None:
    load = loaded(world, lot)
    data = {"uuid": str(uuid4()), "item": lot.item_id, "what": "sold"}

    answers = [
        client.post(f"/stall/till/{load.pk}/tap/", data, headers={"Accept": "application/json"})
        for _ in range(2)
    ]

    assert [list(answer.json()) for answer in answers] == [["entered"], ["entered"]]
    assert Tap.objects.count() == 1


def test_a_tap_that_is_refused_says_why(world: World, client: Client, lot: Lot) -> None:
    load = loaded(world, lot)
    data = {"uuid": str(uuid4()), "item": lot.item_id, "what": "back"}

    answer = client.post(
        f"/stall/till/{load.pk}/tap/", data, headers={"Accept": "application/json"}
    )

    assert "nothing is tapped" in answer.json()["error"]["words"]
    assert "nothing is tapped" in text(tap(client, load, lot, "back"))


def test_the_till_of_a_settled_day_says_so(world: World, client: Client, lot: Lot) -> None:
    load = loaded(world, lot)
    settle(client, load, **{f"back_item{lot.item_id}": "9"})

    assert "This day is settled" in text(client.get(f"/stall/till/{load.pk}/"))


# --- lists, tokens, fees ---------------------------------------------------------------------


def test_settled_days_are_listed_with_what_they_earned(
    world: World, client: Client, lot: Lot
) -> None:
    settle(client, loaded(world, lot), cash_money="150", **{f"back_item{lot.item_id}": "9"})

    said = text(client.get("/stall/"))

    assert "€155.00" in said and "-€5.00" in said


def test_what_an_issuer_paid_is_entered(world: World, client: Client, lot: Lot) -> None:
    token = Token.objects.create(
        name="Market pound", place=world.stall, value_money=UNIT, issuer="Town council"
    )
    settle(client, loaded(world, lot), cash_money="148", **{
        f"back_item{lot.item_id}": "9", f"token_{token.pk}": "7",
    })  # fmt: skip
    assert "Town council owes €7.00" in text(client.get("/stall/"))

    client.post("/stall/", {
        "uuid": str(uuid4()), "token": token.pk, "day": "2026-10-01", "amount": "7",
    })  # fmt: skip

    assert TokensPaid.objects.get().amount == 7 * UNIT
    assert "Town council owes €0.00" in text(client.get("/stall/"))


def test_the_fee_sheet_is_of_one_market_and_shows_no_cost(
    world: World, client: Client, lot: Lot
) -> None:
    world.stall.fee_ppm = 60_000
    world.stall.save()
    settle(client, loaded(world, lot), **{f"back_item{lot.item_id}": "9"})

    said = text(client.get(
        f"/stall/fees/{world.stall.pk}/", {"first": "2026-09-01", "last": "2026-09-30"}
    ))  # fmt: skip

    # 31 at 5.00; 25.00 a day and 6 %.
    assert "Sales at Saturday market" in said and "155.00" in said
    assert "34.30" in said and "had cost" not in said


@pytest.mark.parametrize(("file", "begins"), [("pdf", b"%PDF"), ("zip", b"PK")])
def test_the_fee_sheet_is_taken_away(
    world: World, client: Client, lot: Lot, file: str, begins: bytes
) -> None:
    settle(client, loaded(world, lot), **{f"back_item{lot.item_id}": "9"})

    answer = client.get(
        f"/stall/fees/{world.stall.pk}/",
        {"first": "2026-09-01", "last": "2026-09-30", "file": file},
    )

    assert answer.content.startswith(begins)


def test_something_is_given_away_from_its_lot(world: World, client: Client, lot: Lot) -> None:
    client.post(f"/record/give-away/?lot={lot.code}", {
        "when": "2026-09-07T20:00", "uuid": str(uuid4()), "quantity": "2", "why": "gift",
        "reason": "school visit",
    })  # fmt: skip

    assert on_hand(lot) == 38
    assert GivenAway.objects.get().entry.reason == "gift: school visit"
