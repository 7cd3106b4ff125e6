"""Forms of many rows without a signal: a wall sheet with its photo, a shelf, a room counted."""

from datetime import timedelta
from pathlib import Path

from django.utils import timezone
from selenium.webdriver.chrome.webdriver import WebDriver
from selenium.webdriver.common.by import By

from farm.models import Photo, StockCount
from ledger.models import Lot
from tests.browser.phone import (
    all_sent,
    arrives,
    picks,
    press,
    send_now,
    type_in,
    until,
    visit_again,
)
from tests.browser.signal import Cable
from tests.farm.goods import crop
from tests.farm.records.test_photos import jpeg
from tests.farm.store.test_in_store import put_in_fridge
from tests.farm.world import GRAM, KG, World, assert_book_is_sound, fresh


def test_a_sheet_waits_with_its_photo_and_is_entered_row_by_row(
    phone: WebDriver, cable: Cable, world: World, blocks: Lot, tmp_path: Path
) -> None:
    (tmp_path / "sheet.jpg").write_bytes(jpeg())
    day = timezone.localdate(timezone=world.farm.zone)
    cable.pull()
    phone.get(f"{cable.url}/wall-sheets/")
    press(phone, f"main a[href='/wall-sheets/picks/{day}/1/']")
    arrives(phone, f"/wall-sheets/picks/{day}/1/")
    type_in(phone, f"firsts_{blocks.pk}", "1.2 kg")
    press(phone, "main form button.main")
    arrives(phone, "/not-sent/")
    until(phone, "document.querySelectorAll('#waiting .waiting').length === 1")
    assert f"{blocks.code} " in phone.find_element(By.ID, "waiting").text
    phone.find_element(By.CSS_SELECTOR, "#waiting input[type=file]").send_keys(
        str(tmp_path / "sheet.jpg")
    )
    until(phone, "(await Waiting.photos()).length === 1")

    cable.plug_in()
    send_now(phone)
    all_sent(phone)
    until(phone, "(await Waiting.photos()).length === 0")

    (entry,) = picks()
    assert Photo.objects.get().entry == entry
    assert_book_is_sound()


def test_a_photo_on_a_sheet_that_was_opened_with_a_signal_waits_as_well(
    phone: WebDriver, cable: Cable, world: World, blocks: Lot, tmp_path: Path
) -> None:
    (tmp_path / "sheet.jpg").write_bytes(jpeg())
    day = timezone.localdate(timezone=world.farm.zone)
    phone.get(f"{cable.url}/wall-sheets/picks/{day}/1/")
    cable.pull()
    type_in(phone, f"firsts_{blocks.pk}", "1.2 kg")
    phone.find_element(By.ID, "photo").send_keys(str(tmp_path / "sheet.jpg"))
    press(phone, "main form button.main")
    arrives(phone, "/not-sent/")

    until(phone, "(await Waiting.photos()).length === 1")
    until(phone, "document.getElementById('waiting').textContent.includes('goes with it')")


def test_a_cold_room_is_counted_and_its_shelf_weighed_in_one_visit_without_a_signal(
    phone: WebDriver, cable: Cable, world: World
) -> None:
    world.now = timezone.now() - timedelta(days=2)  # long enough for 200 g of water
    lot, room = put_in_fridge(world, crop(world, 10 * KG)), world.fridge_shelf.room
    visit_again(phone, cable)
    cable.pull()
    for path, box, amount in (("counts", "found", "9.9 kg"), ("weigh", "weight", "9.8 kg")):
        phone.get(f"{cable.url}/not-sent/")
        press(phone, f"main a[href^='/store/{path}/']")
        arrives(phone, f"/store/{path}/")
        type_in(phone, f"{box}_{lot.pk}", amount)
        press(phone, "main form button.main")
        arrives(phone, "/not-sent/")
    until(phone, "document.querySelectorAll('#waiting .waiting').length === 2")
    photos = phone.find_elements(By.CSS_SELECTOR, "#waiting input[type=file]")
    assert [photo.is_displayed() for photo in photos] == [False, True]

    cable.plug_in()
    send_now(phone)
    all_sent(phone)

    count = StockCount.objects.get()
    assert (count.room, count.hidden) == (room, True)
    assert fresh(lot).quantity == 9_800 * GRAM
    assert_book_is_sound()
