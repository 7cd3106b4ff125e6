"""What every test of a phone without a signal does: sign in, fill in, wait, read."""

from urllib.parse import urlsplit

from django.conf import settings
from django.test import Client
from selenium.common.exceptions import TimeoutException
from selenium.webdriver.chrome.webdriver import WebDriver
from selenium.webdriver.common.by import By
from selenium.webdriver.support.wait import WebDriverWait

from farm.models import Person
from ledger.models import Entry
from tests.browser.signal import Cable

# A page's own script answers within this, or not at all.
SCRIPT_S = 5


def signed_in(chromium: WebDriver, cable: Cable, person: Person) -> None:
    client = Client()
    client.force_login(person.user)
    chromium.get(f"{cable.url}/sign-in/")
    cookie = client.cookies[settings.SESSION_COOKIE_NAME].value
    chromium.add_cookie({"name": settings.SESSION_COOKIE_NAME, "value": cookie, "path": "/"})
    chromium.get(f"{cable.url}/not-sent/")
    until(
        chromium,
        f"(await Waiting.known('person')) === {person.pk} && (await Waiting.known('kept_at')) > 0",
    )


def visit_again(phone: WebDriver, cable: Cable) -> None:
    """Be on the site once more with a signal, long after: what is kept is renewed."""
    until(phone, "(await Waiting.know('kept_at', 0), true)")
    phone.get(f"{cable.url}/not-sent/")
    until(phone, "(await Waiting.known('kept_at')) > 0")


def until(phone: WebDriver, condition: str) -> None:
    """Wait until a condition holds on the phone, asked of the page's own script.

    A page that is left while it is asked never answers, so it is asked again.
    """
    asked = f"const say = arguments[0]; (async () => say({condition}))().catch(() => say(false));"
    wait = WebDriverWait(phone, 40, ignored_exceptions=[TimeoutException])
    wait.until(lambda _: phone.execute_async_script(asked))


def arrives(phone: WebDriver, path: str) -> None:
    WebDriverWait(phone, 40).until(lambda _: urlsplit(phone.current_url).path.startswith(path))


def press(phone: WebDriver, button: str) -> None:
    """Press a button, brought clear of the bar at the thumb."""
    found = phone.find_element(By.CSS_SELECTOR, button)
    phone.execute_script("arguments[0].scrollIntoView({block: 'center'})", found)
    found.click()


def send_now(phone: WebDriver) -> None:
    """Press the button by script: it moves while the page draws, and goes once all is sent."""
    phone.execute_script("document.getElementById('send-now').click()")


def unsent(phone: WebDriver) -> str:
    return phone.find_element(By.CSS_SELECTOR, ".unsent a").text


def all_sent(phone: WebDriver) -> None:
    until(phone, "(await Waiting.waiting()).length === 0")


def kept_pages(phone: WebDriver) -> list[str]:
    asked = """const say = arguments[0];
        caches.open("pages").then((cache) => cache.keys())
            .then((found) => say(found.map((request) => new URL(request.url).pathname)));"""
    pages: list[str] = phone.execute_async_script(asked)
    return pages


def enter_pick(phone: WebDriver, cable: Cable, weight: str) -> None:
    phone.get(f"{cable.url}/record/pick/")
    fill_in_pick(phone, weight)


def fill_in_pick(phone: WebDriver, weight: str) -> None:
    """Fill in and send the form that is open."""
    phone.find_element(By.NAME, "firsts_mg").send_keys(weight)
    box = phone.find_element(By.NAME, "blocks")
    if not box.is_selected():
        box.click()
    press(phone, "main form button.main")
    arrives(phone, "/not-sent/")


def picks() -> list[Entry]:
    return list(Entry.objects.filter(kind="pick"))


def type_in(phone: WebDriver, name: str, words: str) -> None:
    box = phone.find_element(By.NAME, name)
    box.clear()
    box.send_keys(words)


def main_of(phone: WebDriver) -> str:
    return phone.find_element(By.TAG_NAME, "main").text
