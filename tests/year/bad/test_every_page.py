"""Every kind of page and file of the bad year, as three roles see them: whole, and adding up.

One page of each kind, unless FARM_EVERY_ADDRESS=1 asks for every address that anything leads to,
files as well, and as a helper too.
"""

import io
import os
import re
from collections import deque
from collections.abc import Iterator
from html import unescape
from urllib.parse import parse_qs, urlsplit

import pytest
from django.http import HttpResponse
from django.test import Client
from openpyxl import load_workbook

from farm.models import Role
from tests.conftest import person_in_role, signed_in
from tests.mishaps.year import clock_of
from tests.printed_tables import as_number, of_page
from tests.walk import STARTS, is_page, kind_of, links
from tests.year.bad.conftest import BadYear
from tests.year.test_month_figures import totals_of

pytestmark = pytest.mark.django_db
EVERY_ADDRESS = "FARM_EVERY_ADDRESS" in os.environ
ROLES = [Role.OWNER, Role.BOOKKEEPER, *([Role.HELPER] if EVERY_ADDRESS else [])]
# “None” begins a sentence: none on hand, none yet.
HOLLOW = re.compile(
    r"\bNone\b(?!\.\s|: | on hand| yet)|\b(nan|NaN|inf|Infinity)\b|\{\{|\{%|object at 0x"
)


def found_by(client: Client) -> Iterator[tuple[str, HttpResponse]]:
    """Ask for what links lead to, each key once; nothing is sent."""
    ahead, known = deque(STARTS), set[str]()
    while ahead:
        address = ahead.popleft()
        response = client.get(address, follow=True)
        yield address, response  # type: ignore[misc]
        if response.status_code != 200 or not is_page(response):
            continue
        for link in links(response, address):
            key = key_of(link)
            if key and key not in known:
                known.add(key)
                ahead.append(link)


def key_of(link: str) -> str:
    if EVERY_ADDRESS:
        return link if kind_of(link) else ""
    is_file = {"file", "take"} & set(parse_qs(urlsplit(link).query))
    return "" if is_file else kind_of(link) or ""


def hollow(response: HttpResponse) -> list[str]:
    """Words of a page, a text or a spreadsheet that say nothing."""
    content = b"".join(response) if response.streaming else response.content
    kind = response.headers["Content-Type"]
    if kind.startswith("text/html"):
        said = words_of(content.decode())
    elif "spreadsheet" in kind:
        sheets = load_workbook(io.BytesIO(content), data_only=True).worksheets
        said = "\n".join(
            str(cell)
            for sheet in sheets
            for row in sheet.iter_rows(values_only=True)
            for cell in row
            if isinstance(cell, str)
        )
    else:
        said = content.decode() if kind.startswith("text/") else ""
    return [said[max(at.start() - 40, 0) : at.end() + 20] for at in HOLLOW.finditer(said)]


def words_of(html: str) -> str:
    """What is seen of a page: no scripts, and of a tag only what it says aloud or fills in."""
    html = re.sub(r"<(script|style)\b.*?</\1>", " ", html, flags=re.DOTALL)
    spoken = " ".join(re.findall(r'\b(?:value|alt|title|aria-label|placeholder)="([^"]*)"', html))
    return unescape(re.sub(r"<[^>]*>", " ", html) + " " + spoken)


def uneven(html: str) -> list[str]:
    """Totals that are not what their rows come to."""
    return [
        f"{title}: {name}"
        for title, table in of_page(html).items()
        for name, total, column in totals_of(table)
        if sum(map(as_number, column)) != as_number(total)
    ]


@pytest.mark.parametrize("role", ROLES)
def test_every_page_is_whole_and_adds_up(bad: BadYear, role: Role) -> None:
    wrong: dict[str, list[str]] = {}
    seen = totals = 0
    with clock_of(bad.world):
        for address, response in found_by(signed_in(person_in_role(role, f"new {role}"))):
            seen += 1
            found = [] if response.status_code == 200 else [f"answers {response.status_code}"]
            found += hollow(response)
            if is_page(response):
                html = response.content.decode()
                totals += sum(bool(table.total) for table in of_page(html).values())
                found += uneven(html)
            if found:
                wrong[address] = found

    assert wrong == {}
    assert seen > 60
    assert totals > 0
