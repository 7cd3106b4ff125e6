"""A real browser before the running site, where it is asked for: ``pytest tests/browser``."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from django.conf import settings
from django.test import Client
from pytest_django.live_server_helper import LiveServer
from selenium import webdriver

from farm.models import Person, Role
from ledger.models import Lot
from tests.browser.phone import SCRIPT_S, signed_in
from tests.browser.signal import Cable, plugged_in
from tests.conftest import person_in_role
from tests.farm.world import World, fruiting, small_farm

# Chromium's background services look for the net, which these tests must not need.
_OPTIONS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--disable-dev-shm-usage",
)  # fmt: skip


@pytest.fixture(scope="session")
def chromium(tmp_path_factory: pytest.TempPathFactory) -> Iterator[webdriver.Chrome]:
    browser, driver = shutil.which("chromium"), shutil.which("chromedriver")
    if not browser or not driver:
        pytest.fail(
            "Chromium and its driver are not here: apt-get install chromium chromium-driver"
        )
    options = webdriver.ChromeOptions()
    options.binary_location = browser
    profile: Path = tmp_path_factory.mktemp("chromium")
    for option in (*_OPTIONS, f"--user-data-dir={profile}"):
        options.add_argument(option)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    chrome = webdriver.Chrome(options=options, service=webdriver.ChromeService(driver))
    chrome.implicitly_wait(20)  # a page that was asked for may still be on its way
    chrome.set_script_timeout(SCRIPT_S)
    yield chrome
    chrome.quit()


@pytest.fixture
def cable(live_server: LiveServer) -> Iterator[Cable]:
    site = urlsplit(live_server.url)
    assert site.hostname and site.port
    with plugged_in(site.hostname, site.port) as cable:
        yield cable


@pytest.fixture
def world(live_server: LiveServer) -> World:
    return small_farm()


@pytest.fixture
def owner(world: World) -> Person:
    found = Person.objects.filter(role=Role.OWNER).first()
    return found or person_in_role(Role.OWNER, "olive")


@contextmanager
def signed_in_at(
    chromium: webdriver.Chrome, address: str, person: Person
) -> Iterator[webdriver.Chrome]:
    """Sign somebody in, and show their first page at a phone's width.

    The browser leaves before the tables are cleared: a page asks for more by itself.
    """
    client = Client()
    client.force_login(person.user)
    chromium.set_window_size(360, 800)
    chromium.get(f"{address}/sign-in/")
    cookie = client.cookies[settings.SESSION_COOKIE_NAME].value
    chromium.add_cookie({"name": settings.SESSION_COOKIE_NAME, "value": cookie, "path": "/"})
    chromium.get(address)
    chromium.get_log("browser")  # type: ignore[no-untyped-call]
    yield chromium
    chromium.get("about:blank")


@pytest.fixture
def site(
    chromium: webdriver.Chrome, live_server: LiveServer, owner: Person
) -> Iterator[webdriver.Chrome]:
    """A browser in which the owner is signed in."""
    with signed_in_at(chromium, live_server.url, owner) as site:
        yield site


@pytest.fixture
def blocks(world: World) -> Lot:
    """Four blocks that fruit: the only ones, so a form has chosen them."""
    return fruiting(world, 4)


@pytest.fixture
def phone(chromium: webdriver.Chrome, cable: Cable, owner: Person, blocks: Lot) -> webdriver.Chrome:
    """The owner's phone, which has been on the site with a signal: its forms are kept."""
    chromium.set_window_size(360, 800)
    signed_in(chromium, cable, owner)
    return chromium
