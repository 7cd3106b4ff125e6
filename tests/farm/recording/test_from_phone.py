"""What waited on a phone is answered in JSON: entered once, or kept until somebody sorts it out."""

from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.utils import timezone

from farm.actions.store.storing import throw_away
from farm.models import PhoneForm, Record, Role
from ledger.models import Entry, Lot, Waiting
from tests.conftest import person_in_role, signed_in
from tests.farm.filled import prefilled, text, typed
from tests.farm.world import World, assert_book_is_sound, fresh, fruiting

SAVED = "2026-10-20T07:05:00.000Z"


@pytest.fixture
def client(world: World) -> Client:
    return signed_in(world.owner)


@pytest.fixture
def blocks(world: World) -> Lot:
    return fruiting(world, 4)


def from_phone(client: Client, address: str, fast_s: int = 0, **values: Any) -> dict[str, Any]:
    """Send a form as the phone does; its clock is so many seconds fast."""
    sent_at = timezone.now() + timedelta(seconds=fast_s)
    said = {"phone_saved_at": SAVED, "phone_sent_at": sent_at.isoformat(), **typed(**values)}
    answer = client.post(address, said, headers={"Accept": "application/json"})
    assert answer.status_code == 200
    found: dict[str, Any] = answer.json()
    return found


def pick_of(blocks: Lot, weight: str = "1.2 kg", **more: Any) -> dict[str, Any]:
    return {"blocks": [blocks.code], "flush": "1", "firsts_mg": weight, **more}


def test_what_is_sent_is_entered_and_its_entry_named(client: Client, blocks: Lot) -> None:
    answer = from_phone(client, "/record/pick/", **pick_of(blocks))

    entry = Entry.objects.get(kind="pick")
    assert answer["entered"]["address"] == f"/entries/{entry.seq}/"
    assert answer["entered"]["words"].startswith("Picked: 1.20 kg")
    assert_book_is_sound()


def test_sent_twice_it_is_entered_once(client: Client, blocks: Lot) -> None:
    said = pick_of(blocks, uuid=str(uuid4()))
    first = from_phone(client, "/record/pick/", **said)
    again = from_phone(client, "/record/pick/", fast_s=3, **said)

    assert again["entered"]["address"] == first["entered"]["address"]
    assert "nothing was written twice" in again["entered"]["words"]
    assert Entry.objects.filter(kind="pick").count() == 1
    assert_book_is_sound()


def test_other_words_under_the_same_number_wait_to_be_sorted_out(
    client: Client, blocks: Lot
) -> None:
    number = str(uuid4())
    from_phone(client, "/record/pick/", **pick_of(blocks, uuid=number))
    answer = from_phone(client, "/record/pick/", **pick_of(blocks, "0.9 kg", uuid=number))

    assert "sent before with other content" in answer["kept"]["words"]
    assert Entry.objects.filter(kind="pick").count() == 1
    assert "sent before with other content" in text(client.get("/unfinished/"))


def test_what_the_book_refuses_is_kept_and_taken_when_the_lot_allows_it(
    world: World, client: Client, blocks: Lot
) -> None:
    gone = throw_away(world.doing(reason="green mould"), lot=blocks, quantity=3)
    answer = from_phone(
        client, f"/record/throw-away/?lot={blocks.code}", quantity="2", cause="green mould"
    )
    assert blocks.code in answer["kept"]["words"]

    client.post(f"/entries/{gone.entry.seq}/undo/", {"uuid": str(uuid4())})

    # 4 blocks, of which the form that waited takes 2.
    assert fresh(blocks).quantity == 2
    assert not Waiting.objects.filter(answered_at=None).exists()
    assert_book_is_sound()


def test_a_question_waits_with_its_words_and_is_answered_there(client: Client, blocks: Lot) -> None:
    answer = from_phone(client, "/record/pick/", **pick_of(blocks, "9 kg"))
    assert "9.00 kg" in answer["question"]["words"]
    assert not Entry.objects.filter(kind="pick").exists()

    address = f"/record/pick/?waiting={Waiting.objects.get().uuid}"
    page = text(client.get(address))
    assert "Yes, that is right" in page
    assert 'value="9 kg"' in page

    # Without an answer it is asked anew; a yes is taken.
    sent = prefilled(client, address) | pick_of(blocks, "9 kg") | {"own": ""}
    assert "Yes, that is right" in text(client.post(address, sent))
    assert not Entry.objects.filter(kind="pick").exists()
    client.post(address, sent | {"sure": "on"})
    assert Entry.objects.filter(kind="pick").count() == 1
    assert not Waiting.objects.filter(answered_at=None).exists()


def test_a_form_with_something_wrong_waits_and_is_mended(client: Client, blocks: Lot) -> None:
    answer = from_phone(client, "/record/pick/", **pick_of(blocks, "1.2 stone"))
    assert answer["error"]["words"].startswith("Firsts: ")

    waiting = Waiting.objects.get()
    address = f"/record/pick/?waiting={waiting.uuid}"
    shown = prefilled(client, address)
    client.post(address, shown | pick_of(blocks) | {"own": ""})

    assert shown["firsts_mg"] == "1.2 stone"
    assert Entry.objects.get(kind="pick").uuid == waiting.uuid
    assert "Nothing to sort out" in text(client.get("/unfinished/"))


def test_nothing_that_waits_for_a_person_is_tried_again_by_itself(
    world: World, client: Client, blocks: Lot
) -> None:
    from_phone(client, "/record/pick/", **pick_of(blocks, "9 kg"))

    from_phone(client, "/record/pick/", **pick_of(blocks))

    assert Waiting.objects.filter(answered_at=None).count() == 1


def test_what_was_given_up_is_not_kept_again_when_the_phone_sends_it_again(
    client: Client, blocks: Lot
) -> None:
    said = pick_of(blocks, "1.2 stone", uuid=str(uuid4()))
    from_phone(client, "/record/pick/", **said)
    client.post(f"/unfinished/{said['uuid']}/drop/", {"reason": "typed in twice"})

    answer = from_phone(client, "/record/pick/", **said)

    assert "typed in twice" in answer["kept"]["words"]
    assert not Waiting.objects.filter(answered_at=None).exists()


def test_a_pin_is_never_kept(client: Client, blocks: Lot) -> None:
    from_phone(client, "/record/pick/", **pick_of(blocks, "1.2 stone", initials="HU", pin="4711"))

    assert "4711" not in Waiting.objects.get().payload


@pytest.mark.parametrize(("fast_s", "is_off"), [(720, True), (-720, True), (200, False)])
def test_a_clock_more_than_five_minutes_off_is_said_beside_the_entry(
    client: Client, blocks: Lot, fast_s: int, is_off: bool
) -> None:
    answer = from_phone(client, "/record/pick/", fast_s, **pick_of(blocks))

    noted = PhoneForm.objects.get(uuid=Entry.objects.get(kind="pick").uuid)
    assert noted.clock_off_s == pytest.approx(fast_s, abs=60)
    page = text(client.get(answer["entered"]["address"]))
    assert ("clock was" in page) is is_off
    assert "It waited on a phone" in page


def test_a_record_is_kept_the_same_way(client: Client) -> None:
    values: dict[str, Any] = {"what": "fan", "how": "", "note": ""}
    answer = from_phone(client, "/records/maintenance/add/", **values)
    assert set(answer) == {"error"}

    page = text(client.get("/unfinished/"))
    assert "/records/maintenance/add/?waiting=" in page
    assert not Record.objects.exists()


def test_private_records_wait_nowhere(client: Client) -> None:
    answer = client.post("/records/illness/add/", typed(), headers={"Accept": "application/json"})

    assert answer.status_code == 403
    assert not Waiting.objects.exists()


def test_a_phone_is_told_who_is_signed_in_and_what_it_may_keep(
    world: World, client: Client
) -> None:
    said = client.get("/phone-now.json").json()

    assert said["person"] == world.owner.pk
    assert {"/record/pick/", "/record/take-back/"} <= {*said["pages"]}
    assert "/records/illness/add/" not in [*said["pages"], *said["sent_to"]]


def test_a_phone_without_a_sign_in_is_told_so_and_no_more(stranger: Client) -> None:
    answer = stranger.get("/phone-now.json")

    assert (answer.status_code, answer.json()) == (401, {"signed_out": True})


def test_a_seller_keeps_the_forms_of_the_stall_only(world: World) -> None:
    pages = signed_in(person_in_role(Role.SELLER, "sam")).get("/phone-now.json").json()["pages"]

    assert "/record/load-stall/" in pages
    assert not [page for page in pages if "/record/pick/" in page or "/records/" in page]


def test_a_page_may_be_kept_only_without_money_and_names_for_a_short_time(
    world: World, client: Client
) -> None:
    keep = {"Ledger-Keep": "1"}
    kept = {
        address: client.get(address, headers=keep).headers.get("Ledger-Keep", "no")
        for address in (
            "/record/pick/",
            f"/record/sell/?place={world.stall.pk}",
            "/not-sent/",
            "/entries/",
            f"/record/sell/?place={world.kitchens.pk}",
            "/record/deliver/",
            "/record/take-back/",
        )
    }

    says = list(kept.values())
    assert says[:4] == ["yes", "yes", "yes", "no"]
    until = {datetime.fromisoformat(said).astimezone(world.farm.zone) for said in says[4:]}
    today = timezone.localdate(timezone=world.farm.zone)
    assert [moment.date() - today for moment in until] == [timedelta(days=2)]


def test_every_form_that_is_kept_says_that_it_may_be(client: Client, blocks: Lot) -> None:
    pages = client.get("/phone-now.json").json()["pages"]
    answers = {page: client.get(page, headers={"Ledger-Keep": "1"}) for page in pages}

    assert {page for page, answer in answers.items() if answer.status_code != 200} == set()
    assert all("Ledger-Keep" in answer.headers for answer in answers.values())


def test_the_worker_is_served_from_the_root_with_a_version_and_no_foreign_address(
    stranger: Client,
) -> None:
    answer = stranger.get("/worker.js")

    script = text(answer)
    assert answer.headers["Content-Type"] == "text/javascript"
    assert '"/static/farm/site.css"' in script
    assert "http://" not in script and "https://" not in script


def test_the_first_screen_has_a_name_and_pictures(world: World) -> None:
    said = Client().get("/app.webmanifest").json()

    assert said["name"] == "Alder Lane ledger"
    assert [icon["sizes"] for icon in said["icons"]] == ["any", "192x192", "512x512"]


def test_a_page_kept_for_any_number_says_how_much_goes_into_one(
    world: World, client: Client, blocks: Lot
) -> None:
    world.received("rye", 3_000_000)
    address = f"/record/prepare-grain/?recipe={world.grain_recipe.pk}&count="
    kept = text(client.get(address, headers={"Ledger-Keep": "1"}))

    assert 'data-part="rye" data-each="885000" data-by="count" data-there="3000000"' in kept
    assert 'data-said="count"' in kept
    # With a signal the number is asked for, and the server works the rest out.
    asked = text(client.get(address))
    assert "data-each" not in asked and "How many bags or jars" in asked


def test_a_page_kept_for_any_lot_is_read_in_the_lots_own_unit_when_it_is_sent(
    client: Client, blocks: Lot
) -> None:
    kept = text(client.get("/record/throw-away/?lot=", headers={"Ledger-Keep": "1"}))
    assert "How much of it" in kept and "or pieces if counted" in kept

    address, why = f"/record/throw-away/?lot_list=&lot_code={blocks.code}", "green mould"
    refused = from_phone(client, address, quantity="2 kg", cause=why)
    taken = from_phone(client, address, quantity="2", cause=why)

    assert "2 kg" in refused["error"]["words"]
    assert set(taken) == {"entered"}
    assert fresh(blocks).quantity == 2


def test_a_first_step_with_something_wrong_is_answered_anew_with_the_rest_as_it_was_typed(
    client: Client, blocks: Lot
) -> None:
    from_phone(client, "/record/throw-away/?lot=ZZZZZ", quantity="3", cause="green mould")
    waiting = Waiting.objects.get()
    asked = text(client.get(f"/record/throw-away/?waiting={waiting.uuid}"))
    assert "It waits." in asked and f'name="waiting" value="{waiting.uuid}"' in asked

    again = f"/record/throw-away/?waiting={waiting.uuid}&lot_list={blocks.code}&lot_code="
    assert prefilled(client, again)["quantity"] == "3"


def test_a_kept_page_carries_no_index_of_pages_that_need_a_signal(client: Client) -> None:
    kept = text(client.get("/record/pick/", headers={"Ledger-Keep": "1"}))

    assert "<b>Without a signal</b>" in kept and 'href="/owed/"' not in kept
    assert 'href="/owed/"' in text(client.get("/record/pick/"))
