"""A photo waits on the phone beside its entry, and goes with it; the entry never waits for it."""

import time
from pathlib import Path

import pytest
from selenium.webdriver.chrome.webdriver import WebDriver
from selenium.webdriver.common.by import By

from farm.models import Photo
from tests.browser.phone import (
    all_sent,
    arrives,
    enter_pick,
    main_of,
    picks,
    press,
    send_now,
    type_in,
    unsent,
    until,
)
from tests.browser.signal import Cable
from tests.farm.records.test_photos import jpeg

# So long Chromium goes by how much room there was when it last looked.
ROOM_IS_REMEMBERED_S = 31


@pytest.fixture
def picture(tmp_path: Path) -> str:
    file = tmp_path / "crate.jpg"
    file.write_bytes(jpeg(2400, 1200))
    return str(file)


def add_photo(phone: WebDriver, picture: str) -> None:
    phone.find_element(By.CSS_SELECTOR, "#waiting input[type=file]").send_keys(picture)


def sends(phone: WebDriver, cable: Cable) -> None:
    cable.plug_in()
    send_now(phone)
    all_sent(phone)


def test_a_photo_waits_with_its_entry_and_stands_beside_it(
    phone: WebDriver, cable: Cable, picture: str
) -> None:
    cable.pull()
    enter_pick(phone, cable, "1.2 kg")
    add_photo(phone, picture)
    until(phone, "document.getElementById('waiting').textContent.includes('goes with it')")
    assert unsent(phone) == "Kept on this phone: 1 not sent, photos: 1"

    sends(phone, cable)
    until(phone, "(await Waiting.photos()).length === 0")

    photo = Photo.objects.get()
    assert (photo.entry, photo.width, photo.height) == (picks()[0], 1600, 800)


def test_a_phone_without_room_says_so_and_keeps_the_entry(
    phone: WebDriver, cable: Cable, picture: str
) -> None:
    cable.pull()
    enter_pick(phone, cable, "1.2 kg")
    phone.execute_cdp_cmd("Storage.overrideQuotaForOrigin", {"origin": cable.url, "quotaSize": 1})
    time.sleep(ROOM_IS_REMEMBERED_S)
    add_photo(phone, picture)
    until(phone, "document.getElementById('waiting').textContent.includes('no room')")
    assert unsent(phone) == "Kept on this phone: 1 not sent"
    phone.execute_cdp_cmd("Storage.overrideQuotaForOrigin", {"origin": cable.url})

    sends(phone, cable)
    assert (len(picks()), Photo.objects.count()) == (1, 0)


def test_what_is_no_photo_is_said_and_the_entry_waits(
    phone: WebDriver, cable: Cable, tmp_path: Path
) -> None:
    file = tmp_path / "list.jpg"
    file.write_text("not a picture")
    cable.pull()
    enter_pick(phone, cable, "1.2 kg")
    add_photo(phone, str(file))

    until(phone, "document.getElementById('waiting').textContent.includes('cannot be read')")
    assert unsent(phone) == "Kept on this phone: 1 not sent"


def test_a_photo_waits_until_its_entry_is_sorted_out(
    phone: WebDriver, cable: Cable, picture: str
) -> None:
    cable.pull()
    enter_pick(phone, cable, "1.2 stone")
    add_photo(phone, picture)
    until(phone, "(await Waiting.photos()).length === 1")
    sends(phone, cable)
    until(phone, "Boolean((await Waiting.photos())[0].trouble)")
    assert "It waits under To sort out" in main_of(phone)

    phone.get(f"{cable.url}/unfinished/")
    press(phone, "main .actions a.main")
    type_in(phone, "firsts_mg", "1.2 kg")
    press(phone, "main form button.main")
    arrives(phone, "/entries/")
    phone.get(f"{cable.url}/not-sent/")
    send_now(phone)
    until(phone, "(await Waiting.photos()).length === 0")

    assert Photo.objects.get().entry == picks()[0]
