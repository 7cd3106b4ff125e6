"""What waits is taken away as a file, and handed in again under one's own name; once."""

import json
from pathlib import Path
from typing import Any

import pytest
from selenium.webdriver.chrome.webdriver import WebDriver
from selenium.webdriver.common.by import By
from selenium.webdriver.support.wait import WebDriverWait

from farm.models import Person, Photo, Role
from tests.browser.phone import (
    all_sent,
    enter_pick,
    main_of,
    picks,
    press,
    signed_in,
    until,
    visit_again,
)
from tests.browser.signal import Cable
from tests.farm.records.test_photos import jpeg
from tests.farm.world import World, assert_book_is_sound


@pytest.fixture
def taken(phone: WebDriver, cable: Cable, tmp_path: Path) -> Path:
    """A file of two picks, one with a photo, of a phone that lost them since."""
    cable.pull()
    enter_pick(phone, cable, "1.2 kg")
    (tmp_path / "crate.jpg").write_bytes(jpeg())
    phone.find_element(By.CSS_SELECTOR, "#waiting input[type=file]").send_keys(
        str(tmp_path / "crate.jpg")
    )
    until(phone, "(await Waiting.photos()).length === 1")
    enter_pick(phone, cable, "0.4 kg")
    until(phone, "document.querySelectorAll('#waiting .waiting').length === 2")
    where = {"behavior": "allow", "downloadPath": str(tmp_path)}
    phone.execute_cdp_cmd("Browser.setDownloadBehavior", where)
    press(phone, "#take-away")
    file = tmp_path / "not-sent.jsonl"
    WebDriverWait(phone, 40).until(lambda _: file.exists() and len(lines_of(file)) == 3)
    until(phone, "(await Promise.all((await Waiting.waiting()).map(Waiting.giveUp)), true)")
    cable.plug_in()
    visit_again(phone, cable)
    return file


def lines_of(file: Path) -> list[Any]:
    return [json.loads(line) for line in file.read_text().splitlines()]


def written(file: Path, lines: list[Any]) -> Path:
    file.write_text("".join(json.dumps(line) + "\n" for line in lines))
    return file


def choose(phone: WebDriver, file: Path) -> None:
    phone.find_element(By.ID, "hand-in").send_keys(str(file))


def enter(phone: WebDriver, count: int) -> None:
    button = phone.find_element(By.ID, "enter-file")
    WebDriverWait(phone, 40).until(lambda _: button.text == f"Enter these {count}")
    press(phone, "#enter-file")
    until(phone, "document.getElementById('enter-file').hidden")
    all_sent(phone)
    until(phone, "(await Waiting.photos()).length === 0")


def wrong(phone: WebDriver) -> str:
    place = phone.find_element(By.ID, "file-wrong")
    WebDriverWait(phone, 40).until(lambda _: place.is_displayed())
    return place.text


def test_it_shows_what_is_in_the_file_and_enters_it_once(
    phone: WebDriver, cable: Cable, taken: Path
) -> None:
    choose(phone, taken)
    until(phone, "document.getElementById('in-file').textContent.includes('1.2 kg')")
    enter(phone, 2)
    assert len(picks()) == 2
    assert Photo.objects.get().entry == picks()[0]

    choose(phone, taken)
    enter(phone, 2)
    assert len(picks()) == 2
    assert "nothing was written twice" in main_of(phone)
    assert_book_is_sound()


def test_somebody_elses_file_is_not_entered_and_says_who_hands_it_in(
    phone: WebDriver, cable: Cable, taken: Path, world: World
) -> None:
    signed_in(phone, cable, Person.objects.get(role=Role.HELPER))
    choose(phone, taken)

    assert "Line 2: OL typed it. OL signs in and hands this file in as well." in wrong(phone)
    assert not phone.find_element(By.ID, "enter-file").is_displayed()


def test_a_line_that_was_changed_is_named_and_the_others_are_entered(
    phone: WebDriver, cable: Cable, taken: Path
) -> None:
    head, first, second = lines_of(taken)
    elsewhere = {**second, "address": "/people/add/"}
    choose(phone, written(taken, [head, first, {**second, "values": "all"}, elsewhere]))

    said = wrong(phone)
    assert "Line 3: it was changed or cut off. Take the file away once more" in said
    assert "Line 4: nothing can be recorded at /people/add/ by OL" in said
    enter(phone, 1)
    assert len(picks()) == 1


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("a;b\n1;2\n", "Line 1: this is no file of forms that waited"),
        ("x" * 20_000_001, "20 MB at most"),
    ],
)
def test_a_file_of_another_kind_is_refused(
    phone: WebDriver, cable: Cable, tmp_path: Path, content: str, words: str
) -> None:
    file = tmp_path / "other.jsonl"
    file.write_text(content)
    choose(phone, file)

    assert words in wrong(phone)


def test_what_is_refused_of_a_file_waits_under_to_sort_out(
    phone: WebDriver, cable: Cable, taken: Path
) -> None:
    head, first, _ = lines_of(taken)
    values = [
        [name, "1.2 stone" if name == "firsts_mg" else said] for name, said in first["values"]
    ]
    choose(phone, written(taken, [head, {**first, "values": values, "photos": []}]))
    enter(phone, 1)

    def is_kept(_: WebDriver) -> bool:  # it may be on its way still when the queue is empty
        phone.get(f"{cable.url}/unfinished/")
        return "Firsts:" in main_of(phone)

    WebDriverWait(phone, 40).until(is_kept)
    assert picks() == []
