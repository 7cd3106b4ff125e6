"""The pages in a real browser: nothing sticks out on a phone, no script fails, the way works."""

import pytest
from pytest_django.live_server_helper import LiveServer
from selenium.webdriver.chrome.webdriver import WebDriver
from selenium.webdriver.common.by import By
from selenium.webdriver.support.expected_conditions import staleness_of
from selenium.webdriver.support.select import Select
from selenium.webdriver.support.wait import WebDriverWait

from ledger.models import Entry, Lot
from tests.farm.world import World, fruiting, picked

PAGES = (
    "/", "/record/", "/record/receive-supplies/", "/record/pick/", "/record/sell/", "/lots/",
    "/stock/", "/entries/", "/sales/", "/cost/", "/trace/", "/month/", "/look-ups/",
    "/look-ups/species/", "/card/", "/labels/", "/style/",
)  # fmt: skip


def failures(site: WebDriver) -> list[str]:
    return [
        line["message"]
        for line in site.get_log("browser")  # type: ignore[no-untyped-call]
        if line["level"] == "SEVERE" and "favicon" not in line["message"]
    ]


def send(site: WebDriver, button: str) -> None:
    """Press a form's button, and wait for the page that follows."""
    pressed = site.find_element(By.CSS_SELECTOR, button)
    site.execute_script("arguments[0].scrollIntoView({block: 'center'})", pressed)
    pressed.click()
    WebDriverWait(site, 30).until(staleness_of(pressed))


@pytest.mark.parametrize("page", PAGES)
def test_a_page_fits_a_phone_and_no_script_fails(
    site: WebDriver, live_server: LiveServer, page: str
) -> None:
    site.get(live_server.url + page)

    wide = site.execute_script("return document.documentElement.scrollWidth")
    assert wide <= site.execute_script("return window.innerWidth")
    assert site.find_element(By.TAG_NAME, "h1").text
    assert failures(site) == []


def test_the_answers_fit_a_phone(site: WebDriver, live_server: LiveServer, world: World) -> None:
    lot = picked(world)

    for page in (f"/lots/{lot.code}/", f"/cost/{lot.code}/", f"/trace/{lot.code}/"):
        site.get(live_server.url + page)
        wide = site.execute_script("return document.documentElement.scrollWidth")
        assert wide <= site.execute_script("return window.innerWidth"), page
        assert failures(site) == []


def test_a_delivery_is_recorded_and_undone(site: WebDriver, live_server: LiveServer) -> None:
    site.get(f"{live_server.url}/record/receive-supplies/")
    Select(site.find_element(By.NAME, "supply")).select_by_visible_text("rye")
    site.find_element(By.NAME, "quantity").send_keys("25 kg")
    site.find_element(By.NAME, "paid_money").send_keys("31.50")
    send(site, "main form button.main")

    entry = Entry.objects.latest("seq")
    assert entry.kind == "receive supplies"
    lot = Lot.objects.get(made_by=entry)
    assert (lot.quantity, lot.materials) == (25_000_000, 315_000)
    assert lot.code in site.find_element(By.TAG_NAME, "main").text

    send(site, "form[action$='/undo/'] button")

    lot.refresh_from_db()
    assert (lot.quantity, lot.materials) == (0, 0)


def test_a_weight_of_two_bowls_is_typed_with_the_plus_beside_its_box(
    site: WebDriver, live_server: LiveServer, world: World
) -> None:
    blocks = fruiting(world)
    site.get(f"{live_server.url}/record/pick/?blocks={blocks.code}")
    box = site.find_element(By.NAME, "firsts_mg")
    plus = site.find_element(By.CSS_SELECTOR, "[name='firsts_mg'] + .plus")
    site.execute_script("arguments[0].scrollIntoView({block: 'center'})", box)

    plus.click()
    assert box.get_property("value") == ""
    site.switch_to.active_element.send_keys("5.2")
    plus.click()
    plus.click()
    site.switch_to.active_element.send_keys("4.8")

    assert box.get_property("value") == "5.2+4.8"
    said = site.find_element(By.CSS_SELECTOR, "[name='firsts_mg'] ~ output").text
    assert said.startswith("10.000 kg · 10000.0 g · 22.05 lb")
    send(site, "main form button.main")
    assert picked_mg() == 10_000_000
    assert failures(site) == []


def picked_mg() -> int:
    return Lot.objects.get(made_by=Entry.objects.get(kind="pick")).quantity


def test_a_stranger_is_asked_to_sign_in(chromium: WebDriver, live_server: LiveServer) -> None:
    chromium.delete_all_cookies()
    chromium.get(f"{live_server.url}/lots/")

    assert "/sign-in/" in chromium.current_url
    assert chromium.find_element(By.NAME, "password")
