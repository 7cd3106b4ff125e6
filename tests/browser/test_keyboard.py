"""The keyboard alone: everything is reached, seen to be reached, and left again."""

import pytest
from pytest_django.live_server_helper import LiveServer
from selenium.webdriver.chrome.webdriver import WebDriver
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

WHERE = "const at = document.activeElement; return at.id || at.textContent.trim()"
OUTLINE = "return getComputedStyle(document.activeElement).outlineStyle"
OPEN = "return document.getElementById('ways').matches(':popover-open')"


def press(site: WebDriver, *keys: str) -> None:
    for key in keys:
        ActionChains(site).send_keys(key).perform()


def ask(site: WebDriver, script: str) -> object:
    return site.execute_script(script)


def test_the_first_stop_skips_to_the_page(site: WebDriver) -> None:
    press(site, Keys.TAB)
    assert ask(site, WHERE) == "Skip to the page"

    press(site, Keys.ENTER)

    assert ask(site, WHERE) == "main"


def test_the_second_stop_skips_to_the_most_used_pages(site: WebDriver) -> None:
    press(site, Keys.TAB, Keys.TAB, Keys.ENTER)

    assert ask(site, WHERE) == "bar"


def test_all_pages_open_from_the_bar_and_close_again(site: WebDriver) -> None:
    button = site.find_element(By.CSS_SELECTOR, ".bar button")
    button.send_keys(Keys.ENTER)
    assert ask(site, OPEN) is True

    press(site, Keys.ESCAPE)

    assert ask(site, OPEN) is False
    assert site.switch_to.active_element == button


@pytest.mark.parametrize("page", ["/", "/record/pick/", "/lots/", "/style/"])
def test_every_stop_is_seen_and_none_holds_the_focus(
    site: WebDriver, live_server: LiveServer, page: str
) -> None:
    """Tab through the whole page: each stop has an outline, and the end is reached."""
    site.get(live_server.url + page)
    last = site.find_element(By.CSS_SELECTOR, ".bar button")

    for _ in range(400):
        press(site, Keys.TAB)
        assert ask(site, OUTLINE) != "none", ask(site, WHERE)
        if site.switch_to.active_element == last:
            return
    pytest.fail("The last button of the page is never reached.")


def test_movement_stops_where_less_of_it_is_asked_for(site: WebDriver) -> None:
    site.execute_cdp_cmd(
        "Emulation.setEmulatedMedia",
        {"features": [{"name": "prefers-reduced-motion", "value": "reduce"}]},
    )

    moving = ask(
        site,
        "return [...document.querySelectorAll('*')].filter(one => {"
        "const look = getComputedStyle(one);"
        "return look.animationName !== 'none' || parseFloat(look.transitionDuration) > 0}).length",
    )

    site.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
    assert moving == 0
