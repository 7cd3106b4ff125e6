"""Without a signal, in a real browser: what is entered waits on the phone, and goes in once.

The worker and the page have no line to the site while the cable is pulled; nothing is simulated
in the browser.
"""

from collections.abc import Iterator
from datetime import timedelta
from urllib.parse import urlsplit

import pytest
from django.conf import settings
from django.test import Client
from django.utils import timezone
from pytest_django.live_server_helper import LiveServer
from selenium.webdriver.chrome.webdriver import WebDriver
from selenium.webdriver.common.by import By
from selenium.webdriver.support.wait import WebDriverWait

from farm.actions.holding import hold
from farm.models import Person, PhoneForm, Role
from ledger.models import Entry, Lot, Waiting
from tests.browser.signal import Cable, plugged_in
from tests.conftest import person_in_role
from tests.farm.world import KG, World, assert_book_is_sound, fruiting, picked

UNSENT = (By.CSS_SELECTOR, ".unsent a")


@pytest.fixture
def cable(live_server: LiveServer) -> Iterator[Cable]:
    site = urlsplit(live_server.url)
    assert site.hostname and site.port
    with plugged_in(site.hostname, site.port) as cable:
        yield cable


@pytest.fixture
def blocks(world: World) -> Lot:
    """Four blocks that fruit: the only ones, so the form has chosen them."""
    return fruiting(world, 4)


@pytest.fixture
def phone(chromium: WebDriver, cable: Cable, owner: Person, blocks: Lot) -> WebDriver:
    """The owner's phone, which has been on the site with a signal: its forms are kept."""
    chromium.set_window_size(360, 800)
    signed_in(chromium, cable, owner)
    return chromium


def signed_in(chromium: WebDriver, cable: Cable, person: Person) -> None:
    client = Client()
    client.force_login(person.user)
    chromium.get(f"{cable.url}/sign-in/")
    cookie = client.cookies[settings.SESSION_COOKIE_NAME].value
    chromium.add_cookie({"name": settings.SESSION_COOKIE_NAME, "value": cookie, "path": "/"})
    chromium.get(f"{cable.url}/not-sent/")
    until(chromium, f"(await Waiting.known('person')) === {person.pk} && "
                    "(await Waiting.known('kept_at')) > 0")  # fmt: skip


def until(phone: WebDriver, condition: str) -> None:
    """Wait until a condition holds on the phone, asked of the page's own script."""
    asked = f"const say = arguments[0]; (async () => say({condition}))().catch(() => say(false));"
    WebDriverWait(phone, 40).until(lambda _: phone.execute_async_script(asked))


def enter_pick(phone: WebDriver, cable: Cable, weight: str) -> None:
    phone.get(f"{cable.url}/record/pick/")
    phone.find_element(By.NAME, "firsts_mg").send_keys(weight)
    box = phone.find_element(By.NAME, "blocks")
    if not box.is_selected():
        box.click()
    press(phone, "main form button.main")
    until(phone, "location.pathname !== '/record/pick/'")


def press(phone: WebDriver, button: str) -> None:
    """Press a button, brought clear of the bar at the thumb."""
    found = phone.find_element(By.CSS_SELECTOR, button)
    phone.execute_script("arguments[0].scrollIntoView({block: 'center'})", found)
    found.click()


def unsent(phone: WebDriver) -> str:
    return phone.find_element(*UNSENT).text


def all_sent(phone: WebDriver) -> None:
    until(phone, "(await Waiting.waiting()).length === 0")


def picks() -> list[Entry]:
    return list(Entry.objects.filter(kind="pick"))


def test_what_is_entered_without_a_signal_waits_and_is_entered_once(
    phone: WebDriver, cable: Cable, blocks: Lot
) -> None:
    cable.pull()
    enter_pick(phone, cable, "1.2 kg")

    assert unsent(phone) == "Kept on this phone: 1 not sent"
    assert "1.2 kg" in phone.find_element(By.ID, "waiting").text
    assert picks() == []

    cable.plug_in()
    press(phone, "#send-now")
    all_sent(phone)

    (entry,) = picks()
    assert Lot.objects.get(made_by=entry).quantity == 1_200_000
    assert phone.find_elements(*UNSENT) == [] or not unsent(phone)
    assert_book_is_sound()
