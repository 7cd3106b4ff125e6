"""Saturday night on a phone: from the first page to what the day earned, and the till before it."""

import pytest
from pytest_django.live_server_helper import LiveServer
from selenium.webdriver.chrome.webdriver import WebDriver
from selenium.webdriver.common.by import By
from selenium.webdriver.remote.webelement import WebElement
from selenium.webdriver.support.wait import WebDriverWait

from farm.actions.common import Draw
from farm.actions.selling.stalls import load_stall
from farm.models import CashUp, GivenAway, Product, SaleLine, StallDay, Tap, TapOf, Token
from ledger.models import Lot
from tests.browser.signal import Cable
from tests.browser.test_site import failures, send
from tests.farm.goods import a_day, packs
from tests.farm.world import FIRST_DAY, UNIT, World

# Keystroke-level model, in hundredths of a second: to point at something, to make up one's mind,
# to strike a key, to wait for a page. Card, Moran and Newell 1980, from memory; the wait is ours.
POINT, MIND, KEY, WAIT = 110, 135, 28, 300
MINUTE = 6_000


class Hands:
    """What a person does: each box is found, thought about and typed into, each button pressed."""

    def __init__(self, site: WebDriver) -> None:
        self.site, self.taps, self.boxes, self.keys = site, 0, 0, 0

    def type_into(self, box: WebElement, words: str) -> None:
        assert box.is_displayed(), "nothing has to be unfolded first"
        box.send_keys(words)
        self.boxes += 1
        self.keys += len(words)

    def press(self, css: str) -> None:
        send(self.site, css)
        self.taps += 1

    def hundredths(self) -> int:
        found = (self.boxes + self.taps) * (POINT + MIND)
        return found + self.keys * KEY + self.taps * WAIT


@pytest.fixture
def lots(world: World) -> list[Lot]:
    """Six products, as many as a small stall shows; the stall takes tokens."""
    world.stall.float_money, world.stall.card_fee_ppm = 80 * UNIT, 20_000
    world.stall.save()
    Token.objects.create(
        name="Market pound", place=world.stall, value_money=UNIT, issuer="Town council"
    )
    return [packs_of(world, number) for number in range(6)]


def packs_of(world: World, number: int) -> Lot:
    if number:
        world.product = Product.objects.create(
            name=f"Oyster, pack {number}",
            species=world.species,
            form="fresh",
            net_mg=200_000,
            pack="open",
            packaging=world.supplies["punnet"],
        )
        world.product.prices.create(place=world.stall, from_day=FIRST_DAY, pack_money=5 * UNIT)
    return packs(world, 20)


@pytest.fixture
def load(world: World, lots: list[Lot]) -> StallDay:
    entry = load_stall(
        world.doing(),
        place=world.stall,
        day=a_day(world),
        lines=[Draw(lot, 20) for lot in lots],
    ).entry
    return StallDay.objects.get(entry=entry)


def taps() -> list[tuple[str, int]]:
    return list(Tap.objects.order_by("pk").values_list("of", "quantity"))


def test_saturday_night_takes_two_taps_and_well_under_three_minutes(
    load: StallDay, site: WebDriver, live_server: LiveServer
) -> None:
    site.get(live_server.url)
    hands = Hands(site)

    hands.press(".loads .button.main")
    rows = site.find_elements(By.CSS_SELECTOR, ".back-row[data-row]")
    for at, row in enumerate(rows):
        hands.type_into(row.find_element(By.CSS_SELECTOR, "[data-back]"), str(at))
    hands.type_into(rows[0].find_element(By.CSS_SELECTOR, "[data-given]"), "1")
    assert rows[0].find_element(By.CSS_SELECTOR, ".sold").text == "sold 19"
    hands.type_into(site.find_element(By.NAME, "cash_money"), "412.50")
    hands.type_into(site.find_element(By.NAME, "card_money"), "180")
    hands.type_into(site.find_element(By.CSS_SELECTOR, "[name^='token_']"), "7")
    hands.press("main form button.main")

    # 120 less 15 back and 1 sample are 104 at 5.00; 80 + 520 - 180 - 7 are 413.00.
    said = site.find_element(By.TAG_NAME, "main").text
    assert "The day earned" in site.find_element(By.TAG_NAME, "h1").text
    assert "€520.00" in said
    assert "Less than expected" in said
    assert "€0.50" in said
    assert (hands.taps, hands.boxes) == (2, 10)
    # Typing leaves two minutes for counting packs and coins.
    assert hands.hundredths() < MINUTE
    assert sum(SaleLine.objects.values_list("gross", flat=True)) == 520 * UNIT
    assert (GivenAway.objects.count(), CashUp.objects.count()) == (1, 1)
    assert failures(site) == []


@pytest.mark.parametrize(
    "page", ["/stall/", "/stall/till/{}/", "/record/settle-stall/?stall_day={}"]
)
def test_the_pages_of_a_stall_fit_a_phone(
    load: StallDay, site: WebDriver, live_server: LiveServer, page: str
) -> None:
    site.get(live_server.url + page.format(load.pk))

    wide = site.execute_script("return document.documentElement.scrollWidth")
    assert wide <= site.execute_script("return window.innerWidth")
    assert failures(site) == []


def test_a_tap_is_one_press_and_kept_at_once(
    load: StallDay, lots: list[Lot], site: WebDriver, live_server: LiveServer
) -> None:
    site.get(f"{live_server.url}/stall/till/{load.pk}/")
    button = site.find_element(By.ID, f"tap-{lots[0].item_id}")

    for what in ("sold", "sold", "sample", "back", "back"):
        button.find_element(By.CSS_SELECTOR, f"[value='{what}']").click()
    WebDriverWait(site, 30).until(lambda _: len(taps()) == 5)

    # Two sold and a sample; the sample and one sold are taken back.
    assert button.find_element(By.TAG_NAME, "output").text == "1 sold, 19 left"
    assert taps()[2:] == [(TapOf.SAMPLE, 1), (TapOf.SAMPLE, -1), (TapOf.SOLD, -1)]
    assert failures(site) == []


def test_taps_without_a_signal_wait_on_the_phone_and_count_once(
    load: StallDay, lots: list[Lot], site: WebDriver, live_server: LiveServer, cable: Cable
) -> None:
    site.get(f"{cable.url}/stall/till/{load.pk}/")
    form = site.find_element(By.ID, f"tap-{lots[0].item_id}")
    sold = form.find_element(By.CSS_SELECTOR, "[value='sold']")
    cable.pull()

    sold.click()
    sold.click()
    WebDriverWait(site, 30).until(
        lambda _: "2 not sent" in site.find_element(By.CSS_SELECTOR, ".unsent").text
    )
    assert taps() == []
    assert form.find_element(By.TAG_NAME, "output").text == "2 sold, 18 left"

    cable.plug_in()
    sold.click()
    WebDriverWait(site, 30).until(lambda _: len(taps()) == 3)
    assert taps() == [(TapOf.SOLD, 1)] * 3


def test_what_was_tapped_is_filled_in_in_the_evening(
    load: StallDay, lots: list[Lot], site: WebDriver, live_server: LiveServer
) -> None:
    site.get(f"{live_server.url}/stall/till/{load.pk}/")
    form = site.find_element(By.ID, f"tap-{lots[0].item_id}")
    for what in ("sold", "sold", "sample"):
        form.find_element(By.CSS_SELECTOR, f"[value='{what}']").click()
    WebDriverWait(site, 30).until(lambda _: len(taps()) == 3)

    site.get(f"{live_server.url}/record/settle-stall/?stall_day={load.pk}")

    row = site.find_element(By.CSS_SELECTOR, f"[data-row='item{lots[0].item_id}']")
    assert row.find_element(By.CSS_SELECTOR, "[data-back]").get_attribute("value") == "17"
    assert row.find_element(By.CSS_SELECTOR, ".sold").text == "sold 2"
