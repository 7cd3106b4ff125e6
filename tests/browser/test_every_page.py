"""Every page in a browser: usable by everybody as far as a program can tell, and on any screen.

The rules are axe-core's (https://github.com/dequelabs/axe-core): those for WCAG 2.2 levels A and
AA, target size (2.5.8) among them, and its best practices. FARM_AXE names its script: it is not a
part of this project, and without it the rules are left out.
"""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from pytest_django.live_server_helper import LiveServer
from selenium.webdriver.chrome.webdriver import WebDriver

from farm.models import Person, Role
from tests.browser.phone import SCRIPT_S
from tests.conftest import signed_in
from tests.played import play_weeks
from tests.walk import is_page, walk

PHONE, TABLET, LAPTOP = 360, 768, 1280
# The narrowest screen that pages are made for (WCAG 2.2, 1.4.10), and as it is while one types.
NARROWEST, SMALL_PHONE, KEYBOARD_UP = 320, 568, 300
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
RUN = """
const done = arguments[arguments.length - 1];
axe.run(document, {runOnly: {type: "tag", values: arguments[0]}}).then(found => done(
  found.violations.map(one => one.id + ": " + one.nodes.map(node => node.html.slice(0, 120)))));
"""
# A control is brought into sight as a browser does it, with no more movement than it takes.
COVERED = """
const controls = [...document.querySelectorAll("a[href], button, input, select, textarea, summary")]
  .filter(one => one.checkVisibility() && !one.closest(".wide") && !one.matches(".skip"));
return controls.filter(one => {
  one.scrollIntoView({block: "nearest", behavior: "instant"});
  const box = one.getClientRects()[0];
  const [x, y] = [box.left + box.width / 2, box.top + box.height / 2];
  if (x < 0 || x > innerWidth) return false;
  const hit = document.elementFromPoint(x, y);
  return !hit || !(one.contains(hit) || hit.contains(one) && !hit.matches(".bar, body, html"));
}).map(one => one.outerHTML.slice(0, 120));
"""


@pytest.fixture
def owner(live_server: LiveServer) -> Person:
    play_weeks(10)
    return Person.objects.filter(role=Role.OWNER).earliest("pk")


@pytest.fixture
def pages(owner: Person) -> list[str]:
    client = signed_in(owner)
    return [at for at in walk(client).values() if is_page(client.get(at, follow=True))]


@pytest.fixture(scope="session")
def axe() -> str:
    """The script of the rules; blank where it is not named."""
    named = os.environ.get("FARM_AXE", "")
    return Path(named).read_text() if named else ""


@pytest.fixture
def browser(site: WebDriver) -> Iterator[WebDriver]:
    """The owner's browser, without pages kept for use without a signal, on a screen of any size."""
    site.set_script_timeout(60)
    site.execute_cdp_cmd("Network.enable", {})
    site.execute_cdp_cmd("Network.setBypassServiceWorker", {"bypass": True})
    yield site
    site.execute_cdp_cmd("Network.setBypassServiceWorker", {"bypass": False})
    site.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    site.set_script_timeout(SCRIPT_S)


def screen(browser: WebDriver, width: int, height: int = 800) -> None:
    size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)


def measure(browser: WebDriver, what: str) -> int:
    """Measure the scrollWidth or scrollHeight of the page, or of what moves in it."""
    script = f"""return Math.max(...[document.documentElement, document.querySelector(".leaf")]
        .filter(Boolean).map((each) => each.{what}))"""
    pixels: int = browser.execute_script(script)
    return pixels


def covered(browser: WebDriver) -> list[str]:
    """Bring each control of the page into sight, and name those whose middle something covers."""
    found: list[str] = browser.execute_script(COVERED)
    return found


def test_every_page_fits_its_screen_and_breaks_no_rule_of_axe(
    axe: str, browser: WebDriver, live_server: LiveServer, pages: list[str]
) -> None:
    wide, hidden, broken = [], [], {}
    for page in pages:
        browser.get(live_server.url + page)
        for width in (LAPTOP, TABLET, PHONE):
            screen(browser, width)
            if measure(browser, "scrollWidth") > width:
                wide.append((page, width))
        for height in (SMALL_PHONE, KEYBOARD_UP):
            screen(browser, NARROWEST, height)
            hidden += [(page, height, each) for each in covered(browser)]
        # As tall as the page, so that the rules meet all of it.
        screen(browser, PHONE, measure(browser, "scrollHeight") + 400)
        browser.execute_script(axe)
        found = browser.execute_async_script(RUN, RULES) if axe else []
        if found:
            broken[page] = found

    assert len(pages) > 150
    assert wide == []
    assert hidden == []
    assert broken == {}
    if not axe:
        pytest.skip(
            "Every page fits. FARM_AXE names no axe-core: npm install axe-core, and name "
            "its axe.min.js"
        )
