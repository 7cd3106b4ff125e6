"""A form that is sent goes one way, and a page and a telephone are told the same of it."""

import re
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from html import unescape
from itertools import groupby
from pathlib import Path
from types import FrameType
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from farm.actions.tracing.holding import hold
from ledger.models import Entry, Lot, Waiting
from tests.conftest import signed_in
from tests.farm.filled import text, typed
from tests.farm.goods import packs
from tests.farm.world import World, filled_bags, fruiting, grow_spawn, prepared_grain
from tests.farm.world import fresh as now

pytestmark = pytest.mark.django_db

ROOT = Path(__file__).parents[3]
PAGES = ROOT / "farm" / "pages"
INOCULATE = "/record/inoculate-blocks/"
# What a form's fields do for themselves, and what a page's declaration says of itself.
NO_STOPS = ("fields", "clock", "form_renderer", "deeds")
MOST_STOPS, MOST_MODULES = 30, 10
Way = Callable[[Client, str, dict[str, Any]], dict[str, Any]]


@dataclass
class Walk:
    """The functions of the site's pages that a request went through, in order, by module."""

    calls: list[tuple[str, str]] = field(default_factory=list)

    def __call__(self, frame: FrameType, event: str, _: object) -> None:
        path, name = Path(frame.f_code.co_filename), frame.f_code.co_name
        if event == "call" and path.is_relative_to(PAGES) and name.isidentifier():
            module = path.relative_to(PAGES).with_suffix("").as_posix()
            if module not in NO_STOPS and (self.calls or name == "record"):
                self.calls.append((module, name))

    def stops(self) -> list[str]:
        """The modules in the order in which they are entered, also again."""
        return [module for module, _ in groupby(module for module, _ in self.calls)]


@contextmanager
def walked() -> Iterator[Walk]:
    before, walk = sys.getprofile(), Walk()
    sys.setprofile(walk)
    try:
        yield walk
    finally:
        sys.setprofile(before)


@pytest.fixture
def client(world: World) -> Client:
    return signed_in(world.owner)


def inoculation(world: World) -> dict[str, Any]:
    bags, spawn = filled_bags(world, 10), grow_spawn(world)[2]
    return {"bags_list": bags.code, "count": "4", f"spawn_{spawn.pk}": "1 kg"}


def to_page(client: Client, address: str, said: dict[str, Any]) -> dict[str, Any]:
    return {"at": client.post(address, typed(**said)).headers["Location"]}


def to_phone(client: Client, address: str, said: dict[str, Any]) -> dict[str, Any]:
    times = {"phone_saved_at": "2026-10-20T07:05:00Z", "phone_sent_at": timezone.now().isoformat()}
    sent = typed(**said) | times
    answer = client.post(address, sent, headers={"Accept": "application/json"})
    found: dict[str, Any] = answer.json()
    return found


# --- the way ---------------------------------------------------------------------------------


def told_steps() -> list[tuple[str, str]]:
    """The steps of a form as the developers' guide lists them: module and function."""
    guide = (ROOT / "DEVELOPERS.md").read_text()
    told = guide.partition("## How one action travels")[2].partition("\n## ")[0]
    found = re.findall(r"^\d+\. \*\*`(\S+)\.py`, `(\w+)`\*\*", told, re.MULTILINE)
    return [(module.removeprefix("farm/pages/"), name) for module, name in found]


@pytest.mark.parametrize("way", [to_page, to_phone])
def test_a_form_takes_the_steps_that_the_guide_tells(
    world: World, client: Client, way: Way
) -> None:
    said, steps = inoculation(world), told_steps()
    with walked() as walk:
        way(client, INOCULATE, said)

    # The last two steps are the two ways to show an outcome: a page takes one, a phone the other.
    *shared, page, phone = steps
    expected = [*shared, page if way is to_page else phone]
    assert [call for call in dict.fromkeys(walk.calls) if call in steps] == expected
    assert len(steps) >= 8


@pytest.mark.parametrize("way", [to_page, to_phone])
def test_a_form_makes_few_stops_in_few_modules(world: World, client: Client, way: Way) -> None:
    said = inoculation(world)
    client.get("/record/pick/")  # what is imported at the first request is no stop
    with walked() as walk:
        way(client, INOCULATE, said)
    stops = walk.stops()
    assert len(stops) <= MOST_STOPS
    assert len(set(stops)) <= MOST_MODULES


# --- one outcome, shown in two ways ----------------------------------------------------------


def both(client: Client, address: str, said: dict[str, Any]) -> tuple[str, dict[str, Any]]:
    """Send the same to the page and from a telephone, under two numbers."""
    page = client.post(address, typed(**said), follow=True)
    return unescape(text(page)), to_phone(client, address, said)


def test_what_is_recorded_is_read_back_alike(world: World, client: Client) -> None:
    page, phone = both(client, INOCULATE, inoculation(world))
    first, second = Entry.objects.filter(kind="inoculate blocks").order_by("seq")

    said = "Blocks inoculated: 4 blocks as lot {}."
    assert said.format(first.lines.get(role="made").lot.code) in page
    assert phone["entered"]["words"].startswith(said.format(second.lines.get(role="made").lot.code))
    assert phone["entered"]["address"] == f"/entries/{second.seq}/"


def test_what_is_doubtful_is_asked_alike(world: World, client: Client) -> None:
    blocks = fruiting(world, 4)
    said = {"blocks": [blocks.code], "flush": "1", "firsts_mg": "9 kg"}
    page, phone = both(client, "/record/pick/", said)

    words = phone["question"]["words"]
    assert "9.00 kg" in words and words in page
    assert 'name="sure"' in page
    assert not Entry.objects.filter(kind="pick").exists()


def test_what_is_not_there_is_refused_and_kept_alike(world: World, client: Client) -> None:
    lot = packs(world, 10)
    page, phone = both(
        client,
        f"/record/give-away/?lot={lot.code}",
        {"quantity": "12", "why": "sample", "sure": "on"},
    )

    words = phone["kept"]["words"]
    assert lot.code in words
    assert f"{words} The form is kept under To sort out." in page
    assert [kept.refusal for kept in Waiting.objects.all()] == [words, words]
    assert now(lot).quantity == 10


def test_what_is_on_hold_is_refused_and_kept_alike(world: World, client: Client) -> None:
    said = inoculation(world)
    spawn = Lot.objects.get(pk=next(iter(name for name in said if "spawn" in name)).split("_")[1])
    hold(world.doing(reason="smells sour"), [spawn])
    page, phone = both(client, INOCULATE, said)

    words = phone["kept"]["words"]
    assert "on hold" in words
    assert f"{words} The form is kept under To sort out." in page
    assert [kept.refusal for kept in Waiting.objects.all()] == [words, words]


def test_what_cannot_be_read_is_said_alike(world: World, client: Client) -> None:
    blocks = fruiting(world, 4)
    said = {"blocks": [blocks.code], "flush": "1", "firsts_mg": "1.2 stone"}
    page, phone = both(client, "/record/pick/", said)

    label, _, words = phone["error"]["words"].partition(": ")
    assert label == "Firsts" and words in page
    assert not Entry.objects.filter(kind="pick").exists()


def test_what_is_mended_elsewhere_leads_there_alike(world: World, client: Client) -> None:
    run = {
        "steriliser": world.steriliser.pk,
        "lots": prepared_grain(world).code,
        "gauge_pa": "20 psi",
        "minutes_at_temperature": "150",
    }
    page, phone = both(client, "/record/steriliser-run/", run)

    vessel = f'href="/look-ups/sterilisers/{world.steriliser.pk}/change/'
    assert phone["error"]["words"] in page
    assert vessel in page and vessel in text(client.get("/unfinished/"))


@pytest.mark.parametrize("count", ["4", "many"])
def test_what_was_sent_before_is_told_alike(world: World, client: Client, count: str) -> None:
    """Sent again with the same words, and with words that can no longer be read."""
    number = "0a0c7a39-53a9-4d27-9c2e-7f3a4f1f7f10"
    said = {**inoculation(world), "uuid": number}
    client.post(INOCULATE, typed(**said))
    page, phone = both(client, INOCULATE, {**said, "count": count})

    entry = Entry.objects.get(kind="inoculate blocks")
    assert "nothing was written twice" in page
    assert "nothing was written twice" in phone["entered"]["words"]
    assert phone["entered"]["address"] == f"/entries/{entry.seq}/"
