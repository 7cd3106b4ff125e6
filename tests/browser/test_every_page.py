"""Every page in a browser: usable by everybody as far as a program can tell, and on any screen.

The rules are axe-core's (https://github.com/dequelabs/axe-core): those for WCAG 2.2 levels A and
AA, target size (2.5.8) among them, and its best practices. FARM_AXE names its script: it is not a
part of this project, and these tests are skipped without it.
"""

import os
from collections.abc import Callable
from pathlib import Path

import pytest
from django.test import Client
from pytest_django.live_server_helper import LiveServer
from selenium.webdriver.chrome.webdriver import WebDriver

from farm.models import Person, Role
from tests.conftest import signed_in
from tests.played import play_weeks
from tests.walk import is_page, walk

Sign = Callable[[Client], WebDriver]
PHONE, TABLET, LAPTOP = 360, 768, 1280
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
RUN = """
const done = arguments[arguments.length - 1];
axe.run(document, {runOnly: {type: "tag", values: arguments[0]}}).then(found => done(
  found.violations.map(one => one.id + ": " + one.nodes.map(node => node.html.slice(0, 120)))));
"""


@pytest.fixture
def owner(live_server: LiveServer) -> Person:
    play_weeks()
    return Person.objects.filter(role=Role.OWNER).earliest("pk")


@pytest.fixture
def pages(owner: Person) -> list[str]:
    client = signed_in(owner)
    return [at for at in walk(client).values() if is_page(client.get(at, follow=True))]


@pytest.fixture(scope="session")
def axe() -> str:
    named = os.environ.get("FARM_AXE", "")
    if not named:
        pytest.skip("FARM_AXE names no axe-core: npm install axe-core, and name its axe.min.js")
    return Path(named).read_text()


def test_no_page_breaks_a_rule_of_axe(
    axe: str, site: WebDriver, live_server: LiveServer, pages: list[str]
) -> None:
    broken = {}
    site.set_script_timeout(60)
    for page in pages:
        site.get(live_server.url + page)
        site.execute_script(axe)  # type: ignore[no-untyped-call]
        found = site.execute_async_script(RUN, RULES)  # type: ignore[no-untyped-call]
        if found:
            broken[page] = found

    assert len(pages) > 150
    assert broken == {}


def test_no_page_is_wider_than_its_screen(
    site: WebDriver, live_server: LiveServer, pages: list[str]
) -> None:
    wide = []
    for page in pages:
        site.get(live_server.url + page)
        for width in (PHONE, TABLET, LAPTOP):
            site.set_window_size(width, 800)
            if site.execute_script(  # type: ignore[no-untyped-call]
                "return document.documentElement.scrollWidth > document.documentElement.clientWidth"
            ):
                wide.append((page, width))

    assert wide == []
