"""The way that counts when something is wrong: from a photo of a label to the list of whom to call.

On a phone, by somebody who was never told how: every step is a button whose words say it.
"""

import base64
from dataclasses import dataclass
from pathlib import Path

import pytest
from django.utils import timezone
from pytest_django.live_server_helper import LiveServer
from selenium.webdriver.chrome.webdriver import WebDriver
from selenium.webdriver.common.by import By
from selenium.webdriver.support.expected_conditions import staleness_of
from selenium.webdriver.support.wait import WebDriverWait

from farm.actions.common import Draw
from farm.actions.selling.selling import SoldLine, sell
from farm.actions.store.packing import pack
from farm.models import Customer, Recall
from farm.queries.stock import lot_by_code
from farm.queries.tracing.labels import labels_of
from farm.reports.tracing.label_sheets import SHEETS
from farm.reports.tracing.labels import labels_pdf
from ledger.errors import OnHold
from ledger.models import Lot
from tests.farm.papers import pdf_words
from tests.farm.photos import by_hand
from tests.farm.printing import needs_pdftoppm, rendered
from tests.farm.world import KG, UNIT, World, fresh, picked

MOST_TAPS = 5
FETCH = """
const done = arguments[arguments.length - 1];
fetch(arguments[0]).then((answer) => answer.arrayBuffer()).then((bytes) => {
  done(btoa(Array.from(new Uint8Array(bytes), (byte) => String.fromCharCode(byte)).join("")));
});
"""


@dataclass
class Hand:
    """A thumb on the phone that counts what it does."""

    site: WebDriver
    taps: int = 0

    def take_photo(self, file: Path) -> None:
        """Take a photo where the page asks for one; the page that follows is waited for."""
        self.taps += 1
        field = self.site.find_element(By.CSS_SELECTOR, "main input[type=file]")
        field.send_keys(str(file))
        WebDriverWait(self.site, 30).until(staleness_of(field))

    def tap(self, words: str, *, leads_on: bool = True) -> None:
        """Tap what bears these very words."""
        self.taps += 1
        found = next(one for one in self.in_sight() if one.text.strip() == words)
        self.site.execute_script("arguments[0].scrollIntoView({block: 'center'})", found)
        found.click()
        if leads_on:
            WebDriverWait(self.site, 30).until(staleness_of(found))

    def choose(self, words: str) -> None:
        """Tap one of the choices, by the words that it begins with."""
        self.taps += 1
        labels = self.site.find_elements(By.CSS_SELECTOR, "main label")
        found = next(one for one in labels if one.text.strip().startswith(words))
        button = found.find_element(By.CSS_SELECTOR, "input[type=radio]")
        self.site.execute_script("arguments[0].scrollIntoView({block: 'center'})", button)
        button.click()

    def in_sight(self) -> list:  # type: ignore[type-arg]
        found = self.site.find_elements(By.CSS_SELECTOR, "main a, main button, main summary")
        return [one for one in found if one.is_displayed()]

    def taken_away(self, words: str) -> bytes:
        """Tap a link to a file, and return the file."""
        self.taps += 1
        address = self.site.find_element(By.LINK_TEXT, words).get_attribute("href")
        return base64.b64decode(self.site.execute_async_script(FETCH, address))


@pytest.fixture
def bad(world: World) -> Lot:
    """40 punnets, 20 of them delivered to the kitchen and 5 to a box; none to the third.

    They are of the pick of some blocks, of which 2 kg are in the fridge: there is a choice of how
    far back the fault lies.
    """
    crop = picked(world, 10 * KG)
    world.received("punnet", 40)
    recorded = pack(world.doing(), product=world.product, packs=40, draws=[Draw(crop, 8 * KG)])
    lot = fresh(recorded.lots[-1])
    box = Customer.objects.create(name="Box 7", place=world.kitchens, contact="0123 777")
    Customer.objects.create(name="Nobody's", place=world.kitchens, contact="0123 000")
    for customer, count in ((world.customer, 20), (box, 5)):
        sell(
            world.doing(),
            place=world.kitchens,
            customer=customer,
            lines=[SoldLine(lot, count, 4 * UNIT)],
        )
    return lot


@pytest.fixture
def photo(bad: Lot, world: World, tmp_path: Path) -> Path:
    lot = lot_by_code(bad.code)
    assert lot
    label = labels_of([lot], world.farm, "https://alder-lane.example/lots/")
    (page,) = rendered(labels_pdf(label, SHEETS["62x29"]), tmp_path)
    file = tmp_path / "photo.jpg"
    file.write_bytes(by_hand(page))
    return file


@needs_pdftoppm
def test_a_photo_of_a_label_leads_to_the_list_of_customers_in_five_taps(
    site: WebDriver, live_server: LiveServer, world: World, bad: Lot, photo: Path
) -> None:
    hand = Hand(site)
    site.get(f"{live_server.url}/scan/")

    hand.take_photo(photo)
    hand.tap("Hold or recall")
    hand.choose("This lot alone")
    site.find_element(By.ID, "recall_reason").send_keys("glass in a punnet")
    hand.tap("Open the recall")
    words = pdf_words(hand.taken_away("The list as a PDF"))

    assert hand.taps <= MOST_TAPS
    assert Recall.objects.get().reason == "glass in a punnet"
    for said in (bad.code, "glass in a punnet", world.customer.name, "Box 7", "0123 777"):
        assert said in words
    assert "Nobody's" not in words


@needs_pdftoppm
def test_after_a_recall_from_a_scanned_punnet_nothing_of_it_is_sold_on_the_phone(
    site: WebDriver, live_server: LiveServer, world: World, bad: Lot, photo: Path
) -> None:
    hand = Hand(site)
    site.get(f"{live_server.url}/scan/")
    hand.take_photo(photo)
    hand.tap("Hold or recall")
    hand.choose("The same pick")
    site.find_element(By.ID, "recall_reason").send_keys("glass in a punnet")
    hand.tap("Open the recall")

    # 15 of the 40 punnets, and the 2 kg that they were packed from.
    assert "2 customers not spoken to, 2 lots still here" in site.find_element(By.ID, "main").text
    site.get(f"{live_server.url}/")
    assert "Recall 1 is open" in site.find_element(By.ID, "main").text[:120]
    site.get(f"{live_server.url}/lots/{bad.code}/")
    assert "Recall 1 lists this lot." in site.find_element(By.ID, "main").text
    world.now = timezone.now()  # what was done before the hold may still be entered
    with pytest.raises(OnHold, match=f"Recall 1 lists lot {bad.code}"):
        sell(
            world.doing(reason="please", sure=True),
            place=world.kitchens,
            customer=world.customer,
            lines=[SoldLine(bad, 1, 4 * UNIT)],
        )


@needs_pdftoppm
def test_the_scan_is_found_from_the_list_of_lots(
    site: WebDriver, live_server: LiveServer, bad: Lot, photo: Path
) -> None:
    hand = Hand(site)
    site.get(f"{live_server.url}/lots/")
    hand.tap("Scan a label")
    hand.take_photo(photo)

    assert bad.code in site.find_element(By.TAG_NAME, "h1").text
