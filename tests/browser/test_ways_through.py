"""The main ways through the site, as somebody goes them: first hour, month's end, each role."""

from collections.abc import Iterator

import pytest
from pytest_django.live_server_helper import LiveServer
from selenium.webdriver.chrome.webdriver import WebDriver
from selenium.webdriver.common.by import By
from selenium.webdriver.support.select import Select

from farm.models import ClosedMonth, Farm, Recipe, Role, Shelf, Strain
from farm.queries.months.closings import earliest_open
from farm.queries.stock import lots_on_hand
from ledger.models import Entry
from tests.browser.conftest import signed_in_at
from tests.browser.test_site import failures, send
from tests.conftest import person_in_role
from tests.farm.goods import packs
from tests.farm.sold import sold
from tests.farm.world import World, fruiting


@pytest.fixture
def stranger(chromium: WebDriver, live_server: LiveServer) -> Iterator[WebDriver]:
    chromium.delete_all_cookies()
    chromium.set_window_size(360, 800)
    yield chromium
    chromium.get("about:blank")


def press(site: WebDriver, words: str) -> None:
    """Follow the link that says so, as its page is laid out."""
    found = site.find_element(By.PARTIAL_LINK_TEXT, words)
    site.execute_script("arguments[0].scrollIntoView({block: 'center'})", found)
    address = site.current_url
    found.click()
    assert site.current_url != address


# --- the first hour --------------------------------------------------------------------------


def test_an_empty_site_leads_from_its_name_to_what_to_start_from(
    stranger: WebDriver, live_server: LiveServer
) -> None:
    site = stranger
    site.get(live_server.url)
    press(site, "Name yours")
    for name, words in {
        "name": "Birch Lane",
        "place": "Lowfield",
        "currency": "EUR",
        "account": "ana.ruiz",
        "password": "wet gloves 41",
    }.items():
        box = site.find_element(By.NAME, name)
        box.clear()
        box.send_keys(words)
    Select(site.find_element(By.NAME, "time_zone")).select_by_value("Europe/Madrid")
    send(site, "main form button.main")
    assert site.find_element(By.TAG_NAME, "h1").text.startswith("The first hour")

    press(site, "Say what you grow")
    for value in ("Oyster", "Sawdust and bran, 5 lb", "Warm room"):
        box = site.find_element(By.CSS_SELECTOR, f"[value='{value}']")
        site.execute_script("arguments[0].scrollIntoView({block: 'center'})", box)
        box.click()
    site.find_element(By.NAME, "own_hour").send_keys("18")
    send(site, "main form button.main")

    assert Farm.objects.get().name == "Birch Lane"
    assert [Strain.objects.count(), Recipe.objects.count(), Shelf.objects.count()] == [1, 1, 1]
    assert "4 of 16 steps" in site.find_element(By.TAG_NAME, "h1").text
    assert failures(site) == []


def test_the_first_pick_is_entered_from_the_first_page(
    site: WebDriver, live_server: LiveServer, world: World
) -> None:
    blocks = fruiting(world)
    site.get(f"{live_server.url}/lots/{blocks.code}/")
    press(site, "Pick")
    site.find_element(By.NAME, "firsts_mg").send_keys("9.5 kg")
    send(site, "main form button.main")

    assert Entry.objects.latest("seq").kind == "pick"
    assert sum(lot.quantity for lot in lots_on_hand() if lot.card.harvested_on) == 9_500_000
    assert failures(site) == []


# --- the month's end -------------------------------------------------------------------------


def test_the_months_end_is_closed_and_its_files_stay(
    site: WebDriver, live_server: LiveServer, world: World
) -> None:
    sold(world, packs(world), 10)
    month = earliest_open()
    assert month
    site.get(f"{live_server.url}/month/{month.key}/")
    press(site, f"Close {month.name}")
    send(site, "main form button.main")

    closed = ClosedMonth.objects.get()
    shown = site.find_element(By.TAG_NAME, "main").text
    assert f"{month.name} is closed" in shown.replace("\n", " ")
    assert all(file.name in shown for file in closed.files.all())
    assert failures(site) == []


# --- each role -------------------------------------------------------------------------------


@pytest.mark.parametrize("role", Role)
def test_each_role_is_led_to_pages_that_open(
    chromium: WebDriver, live_server: LiveServer, world: World, role: Role
) -> None:
    packs(world)
    person = world.owner if role == Role.OWNER else person_in_role(role, f"a.{role}")
    with signed_in_at(chromium, live_server.url, person) as site:
        links = site.find_elements(By.CSS_SELECTOR, "nav a[href]")
        ways = dict.fromkeys(link.get_attribute("href") or "" for link in links)
        assert len(ways) >= 4
        for address in ways:
            site.get(address)
            assert site.find_element(By.TAG_NAME, "h1").text, address
        assert failures(site) == []
