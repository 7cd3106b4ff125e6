"""No address answers 500, whatever a form, an address or a file carries.

Every address of the site is opened and every form on its page is sent as the owner, with days
from year 1 to 9999, offsets, huge and unicode numbers, names of fields that are no rows, and
files: one a page by itself, more in ``.ci/run``, and ``FARM_ANY_INPUT=300`` draws so many.
"""

import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import MAXYEAR, MINYEAR, datetime, timedelta, timezone
from functools import cache, partial
from pathlib import Path
from urllib.parse import quote, urlencode, urljoin, urlsplit
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection, transaction
from django.test import Client
from django.test.client import BOUNDARY, MULTIPART_CONTENT, encode_multipart
from django.urls import get_resolver
from django.urls.resolvers import URLPattern
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pytest_django import DjangoDbBlocker

from farm.models import Order, Role
from farm.pages.all_actions import DEEDS
from farm.pages.lookups.lookup_list import LOOKUPS
from farm.records import KINDS
from farm.units import UnitError, read_mass, read_money
from ledger.codes import is_code, near, tidy
from tests.conftest import signed_in
from tests.farm.everything import Everything, everything
from tests.farm.fields_of import PageForm, forms_of
from tests.repeated import seeds
from tests.walk import names

pytestmark = pytest.mark.django_db

LONG = int(os.environ.get("FARM_ANY_INPUT", "0"))
# On a server's database, which is slower to ask, one a page meets what differs there: NUL, numbers.
A_PAGE = LONG or (len(seeds(4)) if connection.vendor == "sqlite" else 1)
PAGES = Path(__file__).parents[3] / "farm" / "pages"
SLUGS = {
    "record-action": [deed.slug for deed in DEEDS],
    "lookup": [lookup.slug for lookup in LOOKUPS],
    "lookup-add": [lookup.slug for lookup in LOOKUPS],
    "record-list": [kind.slug for kind in KINDS],
    "record-add": [kind.slug for kind in KINDS],
    "wall-sheet": ["picks/2026-10-01", "checks/2026-10-01"],
}
# Who is signed out, or whose password is another, opens nothing after it.
ENDS_THE_SIGN_IN = {"sign-out", "sessions-end", "session-end", "own-password"}

DAYS = st.one_of(
    st.dates().map(str),
    st.sampled_from(["0001-01-01", "0001-12-31", "0026-03-02", "1899-12-31", "1970-01-01",
                     "2026-10-20", "2028-02-29", "9999-12-31", "9998-01-01", "2026-02-30",
                     "0000-01-01", "10000-01-01"]),
)  # fmt: skip
OFFSETS = st.integers(-1_439, 1_439).map(lambda minutes: timezone(timedelta(minutes=minutes)))
MOMENTS = st.one_of(
    st.tuples(DAYS, st.sampled_from(["T00:00", "T23:59", " 12:30", "T02:30:00.5", "T25:00"])).map(
        "".join
    ),
    st.datetimes(timezones=OFFSETS).map(datetime.isoformat),
    st.sampled_from([MINYEAR, MAXYEAR]).flatmap(
        lambda year: st.sampled_from(
            [f"{year:04}-01-01T00:00:00+14:00", f"{year:04}-12-31T23:59:59-12:00"]
        )
    ),
)
MONTHS = st.one_of(DAYS.map(lambda day: day.rpartition("-")[0]), DAYS.map(lambda day: day[:4]))
HUGE = [2**15, 2**31, 2**32, 2**53, 2**63 - 1, 2**63, 2**64, 10**19, 10**30, 10**400]
NUMBERS = st.one_of(
    st.sampled_from([0, 1, -1, *HUGE, *(-huge for huge in HUGE)]).map(str),
    st.integers().map(str),
    st.floats().map(str),
    st.sampled_from(["NaN", "sNaN", "-Infinity", "1e400", "1E-400", "1e1000000", "0x10", "1_000",
                     "²", "٣", "١٢", "৭.৫", "１２", "Ⅷ", "½", "1,234.5", "1.234,5", "--1", "+5",
                     "999999999", "0.0000000001", "99999999999999.99"]),
)  # fmt: skip
UNITS = st.sampled_from(["kg", "g", "mg", "lb", "oz", "lb 99 oz", "stone", "psi", "kPa", "bar",
                         "C", "F", "°F", "%", "kWh", "EUR", "$"])  # fmt: skip
WORDS = st.one_of(
    st.text(max_size=20),
    st.sampled_from(["", " ", "\0", "a\0b", "x" * 30_000, "9" * 30_000, "\ud800", "\U0010ffff",
                     "<b>", "'\"", "../../etc", "%00", "\r\n", "\x1f", "é" * 300, "None", "on",
                     "00000000-0000-0000-0000-000000000000", "csv", "xlsx", "pdf", "json"]),
)  # fmt: skip
ABSURD = st.one_of(DAYS, MOMENTS, MONTHS, NUMBERS, WORDS,
                   st.tuples(NUMBERS, UNITS).map(" ".join))  # fmt: skip
# What fits most boxes that a page leaves blank, so that a form gets past its fields.
USUAL = st.sampled_from(["1", "2", "1 kg", "10", "2026-10-20", ""])
PARTS = st.one_of(
    DAYS, MONTHS, NUMBERS.filter(lambda part: len(part) < 500), st.sampled_from(
        ["x", "²", "٣", "a-b", "A-0001", "R-99999999999999999999", "\0", "%", "..", "-1",
         "00000000-0000-0000-0000-000000000000", "ZZZZZ", "2026-W05", "new"]),
)  # fmt: skip
FILES = st.tuples(
    st.sampled_from(["a.csv", "\0.csv", "x" * 300 + ".xlsx", "../a.jpg", "é.png"]),
    st.one_of(
        st.binary(max_size=200),
        st.sampled_from([b"", b"Time;Temp\n0001-01-01 00:00;20\n9999-12-31 23:59;21",
                         b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"PK\x03\x04", b"\xff\xfe\x00\xd8",
                         b"Minutes;Temp\n0;20\n" + b"9" * 200_000 + b";21"]),
    ),
)  # fmt: skip


@dataclass(frozen=True)
class Site:
    """``pages``: the addresses to start from, by a name; ``asked``: names that pages ask for."""

    made: Everything
    pages: dict[str, str]
    asked: tuple[str, ...]

    @property
    def owner(self) -> Client:
        return signed_in(self.made.people[Role.OWNER])


@contextmanager
def undone() -> Iterator[None]:
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


@pytest.fixture(scope="module")
def site(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[Site]:
    """Make the farm once, and leave nothing behind."""
    with django_db_blocker.unblock(), transaction.atomic():
        made = everything()
        yield Site(made, {key: address_of(key, made) for key in KEYS}, tuple(asked_for()))
        transaction.set_rollback(True)


def _routes() -> dict[str, str]:
    return {
        str(pattern.name): str(pattern.pattern)
        for pattern in get_resolver().url_patterns
        if isinstance(pattern, URLPattern)
    }


ROUTES = _routes()
KEYS = [
    key
    for name in sorted(ROUTES)
    for key in [f"{name} {slug}" for slug in SLUGS.get(name, [])] or [name]
]
CONVERTED = re.compile(r"<(?:(\w+):)?\w+>")


def address_of(key: str, made: Everything) -> str:
    """Fill the parts of an address with those of real rows."""
    name, _, slug = key.partition(" ")
    parts = iter([slug, *["1"] * 3] if slug else [str(part) for part in made.at.get(name, [])])
    return "/" + CONVERTED.sub(lambda found: next(parts, "1"), ROUTES[name])


@cache
def asked_for() -> list[str]:
    """Every name that a page asks an address or a form for, read off the pages' own source."""
    source = "\n".join(path.read_text() for path in sorted(PAGES.rglob("*.py")))
    asked = set(re.findall(r"\.(?:get|getlist)\(\s*\"(\w+)\"", source))
    fields = set(re.findall(r"^    (\w+) = (?:forms\.)?\w+(?:Field|\()", source, re.MULTILINE))
    return sorted(asked | fields | {"uuid", "when", "kept_at", "clock", "sent_at"})


def as_bytes(pairs: list[tuple[str, str]]) -> str:
    return urlencode(pairs, errors="surrogatepass")


def answers(client: Client, method: str, address: str, **sent: object) -> str:
    """Open or send, with nothing kept; give the page. Whatever a page does not catch is raised."""
    with undone():
        response = client.generic(method, address, **sent)  # type: ignore[arg-type]
        assert response.status_code < 500, f"{method} {address} answers {response.status_code}"
        content = b"".join(response) if response.streaming else response.content
    is_page = response.headers.get("Content-Type", "").startswith("text/html")
    return content.decode() if is_page else ""


def test_every_address_is_tried() -> None:
    assert {key.partition(" ")[0] for key in KEYS} == names()


@pytest.mark.parametrize("key", KEYS)
def test_no_form_and_no_query_is_answered_500(site: Site, key: str) -> None:
    address, client = site.pages[key], site.owner
    forms = found_forms(client, address)

    @settings(max_examples=A_PAGE, derandomize=not LONG, database=None, print_blob=True,
              suppress_health_check=list(HealthCheck))  # fmt: skip
    @given(st.data())
    def every(data: st.DataObject) -> None:
        if key in ENDS_THE_SIGN_IN or data.draw(st.integers(0, 3)) == 0:
            answers(client, "GET", f"{address}?{drawn_query(data, site)}", **headers(data))
        else:
            send(client, data, site, data.draw(st.sampled_from(forms)))

    every()


@pytest.mark.parametrize("name", sorted(name for name, route in ROUTES.items() if "<" in route))
def test_no_part_of_an_address_is_answered_500(site: Site, name: str) -> None:
    client = site.owner
    real = [str(part) for part in site.made.at.get(name, [])]

    @settings(max_examples=A_PAGE, derandomize=not LONG, database=None, print_blob=True,
              suppress_health_check=list(HealthCheck))  # fmt: skip
    @given(st.data())
    def every(data: st.DataObject) -> None:
        parts = iter([*real, *["1"] * 3])

        def part(found: re.Match[str]) -> str:
            usual = next(parts)
            ids = st.sampled_from([0, 1, 2, 9_998, 9_999, *HUGE[:-1]]).map(str)
            absurd = ids if found[1] == "row" else PARTS
            drawn = data.draw(st.one_of(st.just(usual), absurd, absurd))
            return quote(drawn, safe="", errors="surrogatepass")

        address = "/" + CONVERTED.sub(part, ROUTES[name])
        sent = "GET" if name in ENDS_THE_SIGN_IN else data.draw(st.sampled_from(["GET", "POST"]))
        answers(client, sent, address)

    every()


@pytest.mark.parametrize("huge", [2**63, 2**64, 10**30])
def test_a_number_that_no_row_can_have_is_not_found(site: Site, huge: int) -> None:
    for name in ("entry", "order", "photo", "recall", "fee-sheet", "statement", "stock-count"):
        address = "/" + CONVERTED.sub(str(huge), ROUTES[name])
        with undone():
            assert site.owner.get(address).status_code == 404, address


def test_a_weekly_order_from_the_year_26_is_refused_with_words(site: Site) -> None:
    said = {"customer": str(site.made.world.customer.pk), "due_on": "0026-03-02",
            "every_weeks": "1", "until": "9999-12-31", "uuid": str(uuid4())}  # fmt: skip
    with undone():
        address = f"/orders/take/?customer={said['customer']}"
        page = site.owner.post(address, said).content.decode()
        assert "The year 26 cannot be meant. Type the day with all four digits" in page
        assert "The year 9999 cannot be meant" in page and not Order.objects.filter(
            due_on__year__lt=2000
        )


@pytest.mark.parametrize(
    "when", ["0001-01-01T00:00", "9999-12-31T23:59", "0026-10-20", "0001-01-01T00:00:00+14:00"]
)
def test_a_deed_of_another_age_is_refused_with_words(site: Site, when: str) -> None:
    said = {"when": when, "uuid": str(uuid4()), "lot": site.made.lots.packs.code}
    with undone():
        page = site.owner.post("/record/move/", said).content.decode()
    assert re.search(r"The year \d+ cannot be meant", page) or "Enter a valid date" in page


def test_signs_that_cannot_be_seen_are_no_part_of_a_code() -> None:
    """A scanner may send a group mark before a code; PostgreSQL takes no NUL."""
    assert tidy("\x1dk7-m4\0q\x7f") == "K7M4Q"


def test_a_code_as_long_as_a_book_is_looked_up_at_once(site: Site) -> None:
    """Signs that may have been mistyped are looked for in codes alone: 30,000 took for ever."""
    for code in ("X" * 30_000, "9" * 30_000):
        assert near(code) == [] and not is_code(code)
        with undone():
            page = site.owner.post("/scan/", {"code": code})
        assert page.status_code < 500


@pytest.mark.parametrize("digits", ["9" * 100_000, "1." + "0" * 100_000 + "x"])
def test_an_amount_as_long_as_a_book_is_refused_at_once(digits: str) -> None:
    for read in (partial(read_mass, default_unit="kg"), partial(read_money, currency="EUR")):
        with pytest.raises(UnitError, match="too many digits"):
            read(digits)


def headers(data: st.DataObject) -> dict[str, str]:
    """As a browser, as a phone that sends what waited, or as one that keeps a page."""
    return data.draw(
        st.sampled_from([{}, {"HTTP_ACCEPT": "application/json"}, {"HTTP_LEDGER_KEEP": "yes"}])
    )


def drawn_query(data: st.DataObject, site: Site) -> str:
    few = st.lists(st.tuples(st.sampled_from(site.asked), ABSURD), max_size=4)
    pairs = data.draw(few)
    return as_bytes([(name, value[:2_000]) for name, value in pairs])


def found_forms(client: Client, address: str) -> list[PageForm]:
    """The forms of a page, and of the one behind its first step; else a bare one to be sent."""
    found = []
    for form in forms_of(answers(client, "GET", address)):
        where = replace(form, action=urljoin(address, form.action))
        found.append(where)
        if form.method == "get" and where.action.partition("?")[0] == address:
            behind = f"{address}?{as_bytes(first_answers(form))}"
            found += [
                replace(second, action=urljoin(behind, second.action or behind))
                for second in forms_of(answers(client, "GET", behind))
            ]
    own = [form for form in found if urlsplit(form.action).path == address]
    return own or [PageForm(address, "post"), *found]


def first_answers(form: PageForm) -> list[tuple[str, str]]:
    said = {name: next(filter(None, offered), "") for name, offered in form.offered.items()}
    said |= {name: values[0] for name, values in form.values.items() if values[0]}
    return [(name, value or "2") for name, value in said.items()]


def send(client: Client, data: st.DataObject, site: Site, form: PageForm) -> None:
    pairs = drawn_pairs(data, site, form)
    path, _, query = form.action.partition("?")
    if form.method == "get":
        answers(client, "GET", f"{path}?{as_bytes(pairs)[:20_000]}")
        return
    said = headers(data)
    if form.files:
        name, content = data.draw(FILES)
        file = SimpleUploadedFile(name, content)
        plain = {name: value.replace("\ud800", "?") for name, value in pairs}
        body = encode_multipart(BOUNDARY, {**plain, form.files[0]: file})
        answers(client, "POST", form.action, data=body, content_type=MULTIPART_CONTENT, **said)
        return
    answers(client, "POST", f"{path}?{query}" if query else path, data=as_bytes(pairs),
            content_type="application/x-www-form-urlencoded", **said)  # fmt: skip


def drawn_pairs(data: st.DataObject, site: Site, form: PageForm) -> list[tuple[str, str]]:
    """What a browser would send, with some fields changed, and some of other names beside."""
    said = {name: list(values) for name, values in form.values.items()}
    for name, offered in form.offered.items():
        if any(offered) and (name not in said or not any(said[name])):
            said[name] = [data.draw(st.sampled_from([value for value in offered if value]))]
    for name in [name for name, values in said.items() if not any(values)]:
        said[name] = [data.draw(USUAL)]
    if form.names:
        most = data.draw(st.sampled_from([1, 1, 2, len(form.names)]))
        changed = data.draw(
            st.lists(st.sampled_from(form.names), min_size=1, max_size=most, unique=True)
        )
        for name in changed:
            said[name] = [data.draw(ABSURD)]
    for name, value in data.draw(st.lists(st.tuples(others(site, form), ABSURD), max_size=1)):
        said[name] = [value]
    return [(name, value) for name, values in said.items() for value in values]


def others(site: Site, form: PageForm) -> st.SearchStrategy[str]:
    """Names that pages ask for elsewhere, and a field's own with another row's number."""
    tails = st.sampled_from(["0", "²", "-1", str(2**63), "9" * 40, "x", ""])
    stems = [re.sub(r"\d+$", "", name) for name in form.names] or ["row_"]
    return st.one_of(st.sampled_from(site.asked),
                     st.tuples(st.sampled_from(stems), tails).map("".join))  # fmt: skip
