"""Without a signal, in a real browser: what is entered waits on the phone, and goes in once.

The worker and the page have no line to the site while the cable is pulled; nothing is simulated
in the browser.
"""

from django.contrib.sessions.backends.db import SessionStore
from django.contrib.sessions.models import Session
from selenium.webdriver.chrome.webdriver import WebDriver
from selenium.webdriver.common.by import By

from farm.actions.store.storing import throw_away
from farm.models import Person, PhoneForm, Role
from farm.pages.entering import WHO
from ledger.models import Lot
from tests.browser.phone import (
    all_sent,
    arrives,
    enter_pick,
    fill_in_pick,
    kept_pages,
    main_of,
    picks,
    press,
    send_now,
    signed_in,
    type_in,
    unsent,
    until,
)
from tests.browser.signal import Cable
from tests.farm.kept import PIN, pinned
from tests.farm.world import World, assert_book_is_sound, fresh


def test_what_is_entered_without_a_signal_waits_and_is_entered_once(
    phone: WebDriver, cable: Cable
) -> None:
    cable.pull()
    enter_pick(phone, cable, "1.2 kg")

    assert unsent(phone) == "Kept on this phone: 1 not sent"
    assert "1.2 kg" in phone.find_element(By.ID, "waiting").text
    assert picks() == []

    cable.plug_in()
    send_now(phone)
    all_sent(phone)

    (entry,) = picks()
    assert Lot.objects.get(made_by=entry).quantity == 1_200_000
    assert "Entered Picked: 1.20 kg" in main_of(phone)
    assert_book_is_sound()


def test_two_forms_go_in_their_order_when_a_page_finds_the_signal_again(
    phone: WebDriver, cable: Cable
) -> None:
    cable.pull()
    enter_pick(phone, cable, "1.2 kg")
    enter_pick(phone, cable, "0.4 kg")
    assert unsent(phone) == "Kept on this phone: 2 not sent"

    cable.plug_in()
    phone.get(f"{cable.url}/record/")
    all_sent(phone)

    weights = [Lot.objects.get(made_by=entry).quantity for entry in picks()]
    assert weights == [1_200_000, 400_000]
    assert len({entry.uuid for entry in picks()}) == 2


def test_what_arrived_though_its_answer_was_lost_is_entered_once(
    phone: WebDriver, cable: Cable
) -> None:
    phone.get(f"{cable.url}/record/pick/")
    cable.loses_answers = True
    fill_in_pick(phone, "1.2 kg")
    assert unsent(phone) == "Kept on this phone: 1 not sent"
    assert len(picks()) == 1

    cable.loses_answers = False
    phone.get(f"{cable.url}/not-sent/")
    all_sent(phone)

    assert len(picks()) == 1
    assert "nothing was written twice" in main_of(phone)


def test_what_the_book_refuses_waits_to_be_sorted_out(
    phone: WebDriver, cable: Cable, world: World, blocks: Lot
) -> None:
    cable.pull()
    phone.get(f"{cable.url}/record/throw-away/?lot={blocks.code}")
    type_in(phone, "quantity", "4")
    phone.find_element(By.CSS_SELECTOR, "[name=cause] option:nth-child(2)").click()
    press(phone, "main form button.main")
    arrives(phone, "/not-sent/")
    # Meanwhile somebody at the farm throws three of the four away.
    throw_away(world.doing(reason="green mould"), lot=blocks, quantity=3)

    cable.plug_in()
    phone.get(f"{cable.url}/not-sent/")
    all_sent(phone)

    assert fresh(blocks).quantity == 1
    phone.get(f"{cable.url}/unfinished/")
    assert "Throw away" in main_of(phone)
    assert blocks.code in main_of(phone)


def test_a_form_with_something_wrong_in_it_is_mended_under_to_sort_out(
    phone: WebDriver, cable: Cable
) -> None:
    cable.pull()
    enter_pick(phone, cable, "1.2 stone")
    cable.plug_in()
    phone.get(f"{cable.url}/not-sent/")
    all_sent(phone)

    phone.get(f"{cable.url}/unfinished/")
    assert "Firsts:" in main_of(phone)
    phone.find_element(By.PARTIAL_LINK_TEXT, "Open and mend it").click()
    type_in(phone, "firsts_mg", "1.2 kg")
    press(phone, "main form button.main")
    arrives(phone, "/entries/")

    assert len(picks()) == 1
    phone.get(f"{cable.url}/unfinished/")
    assert "Nothing to sort out" in main_of(phone)


def test_when_the_sign_in_has_ended_it_says_so_and_keeps_what_waits(
    phone: WebDriver, cable: Cable, owner: Person
) -> None:
    cable.pull()
    enter_pick(phone, cable, "1.2 kg")
    cable.plug_in()
    Session.objects.all().delete()
    send_now(phone)

    until(phone, "document.getElementById('signal').textContent.includes('sign-in has ended')")
    assert unsent(phone) == "Kept on this phone: 1 not sent"

    signed_in(phone, cable, owner)
    all_sent(phone)
    assert len(picks()) == 1


def test_somebody_else_on_the_phone_sends_nothing_of_it_and_sees_no_page_of_it(
    phone: WebDriver, cable: Cable, owner: Person
) -> None:
    cable.pull()
    enter_pick(phone, cable, "1.2 kg")
    Session.objects.all().delete()
    cable.plug_in()
    signed_in(phone, cable, Person.objects.get(role=Role.HELPER))

    assert unsent(phone) == "Kept on this phone: 1 not sent, 1 of OL"
    assert "OL\n1 not sent" in phone.find_element(By.ID, "theirs").text
    assert "OL made it" in main_of(phone) and "1.2 kg" not in main_of(phone)
    assert picks() == []

    signed_in(phone, cable, owner)
    all_sent(phone)
    assert [entry.by for entry in picks()] == [owner.pk]
    # A phone is passed round: what was answered to one is not shown to the next.
    until(phone, "document.getElementById('sent').textContent.includes('Picked')")
    signed_in(phone, cable, Person.objects.get(role=Role.HELPER))
    assert "Picked" not in main_of(phone)


def test_what_was_entered_after_taking_over_waits_for_them_and_the_page_says_so(
    phone: WebDriver, cable: Cable, world: World
) -> None:
    pinned(world.helper)
    take_over(phone, cable, world.helper)
    cable.pull()
    enter_pick(phone, cable, "1.2 kg")
    # Meanwhile they were idle: the device is its owner's again.
    for session in Session.objects.all():
        kept = SessionStore(session.session_key)
        kept.pop(WHO, None)
        kept.save()
    cable.plug_in()
    phone.get(f"{cable.url}/not-sent/")

    until(phone, "document.querySelector('.unsent').textContent.includes('1 of HU')")
    assert "HU\n1 not sent\nNothing of it is lost." in phone.find_element(By.ID, "theirs").text
    assert "HU made it. It is sent when they enter on this phone again" in main_of(phone)
    assert picks() == []

    take_over(phone, cable, world.helper)
    all_sent(phone)
    assert [entry.by for entry in picks()] == [world.helper.pk]


def take_over(phone: WebDriver, cable: Cable, person: Person) -> None:
    phone.get(f"{cable.url}/who/{person.pk}/?next=/not-sent/")
    type_in(phone, "pin", PIN)
    press(phone, "main form button.main")
    arrives(phone, "/not-sent/")
    until(
        phone,
        f"(await Waiting.known('person')) === {person.pk} && (await Waiting.known('kept_at')) > 0",
    )


def test_signing_out_clears_the_pages_and_leaves_what_was_not_sent(
    phone: WebDriver, cable: Cable
) -> None:
    cable.pull()
    enter_pick(phone, cable, "1.2 kg")
    press(phone, "form.who button")
    arrives(phone, "/sign-out/")
    assert "Not signed out: no signal" in main_of(phone)
    phone.get(f"{cable.url}/record/pick/")

    assert "Nothing is kept on this phone yet" in main_of(phone)

    cable.plug_in()
    phone.get(f"{cable.url}/not-sent/")
    all_sent(phone)
    assert len(picks()) == 1


def test_no_page_with_money_or_health_is_kept(phone: WebDriver, cable: Cable) -> None:
    kept = kept_pages(phone)

    assert {"/record/pick/", "/record/check/", "/records/cleaning/add/", "/not-sent/"} <= {*kept}
    assert not {
        "/",
        "/entries/",
        "/lots/",
        "/sales/",
        "/invoices/",
        "/orders/",
        "/records/illness/add/",
    } & {*kept}


def test_the_time_is_the_phones_and_how_its_clock_runs_is_noted(
    phone: WebDriver, cable: Cable
) -> None:
    cable.pull()
    enter_pick(phone, cable, "1.2 kg")
    cable.plug_in()
    phone.get(f"{cable.url}/not-sent/")
    all_sent(phone)

    noted = PhoneForm.objects.get(uuid=picks()[0].uuid)
    assert noted.saved_at <= noted.received_at
    assert not noted.is_clock_off
