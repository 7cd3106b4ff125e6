"""Walk the site by its links, as a person would, and list one address of each kind of page.

A page that is added is found by itself as soon as something leads to it; its lot, its customer
or its entry is whatever the farm of the test has. Forms are walked once an action, and once more
where they are opened for a lot.
"""

import re
from collections import deque
from collections.abc import Iterator
from html import unescape
from urllib.parse import urljoin, urlsplit

from django.http.response import HttpResponseBase
from django.test import Client
from django.urls import Resolver404, get_resolver, resolve
from django.urls.resolvers import URLPattern

from tests.weighing import Shown

# Where a link from elsewhere leads in, or none does: the walk starts at these.
STARTS = ("/", "/style/")
LINK = re.compile(r'<a\b[^>]*?\bhref="([^"#]+)')


def walk(client: Client) -> dict[str, str]:
    """Give the addresses of pages by kind, in the order in which they are found."""
    found: dict[str, str] = {}
    ahead = deque(STARTS)
    while ahead:
        address = ahead.popleft()
        response = client.get(address, follow=True)
        assert response.status_code == 200, f"{address} answers {response.status_code}"
        if not is_page(response):
            continue
        for link in links(response, address):
            kind = kind_of(link)
            if kind and kind not in found:
                found[kind] = link
                ahead.append(link)
    return found


def is_page(response: HttpResponseBase) -> bool:
    return response.headers["Content-Type"].startswith("text/html")


def links(response: Shown, address: str) -> Iterator[str]:
    """What a page leads to within the site; its forms lead nowhere by themselves."""
    for href in LINK.findall(response.content.decode()):
        link = urlsplit(urljoin(address, unescape(href)))
        if not link.netloc:
            yield f"{link.path}?{link.query}" if link.query else link.path


def kind_of(address: str) -> str | None:
    """Name the kind of page at an address: its name, what it is of, whether it is opened for one.

    None for what is no page of the site: a file, an address elsewhere.
    """
    link = urlsplit(address)
    try:
        match = resolve(link.path)
    except Resolver404:
        return None
    parts = [match.url_name or "", str(match.kwargs.get("slug", ""))]
    if match.url_name == "record-action" and link.query:
        parts.append(link.query.split("=")[0])
    return " ".join(filter(None, parts))


def names() -> set[str]:
    """Every address of the site, by name."""
    return {
        str(pattern.name)
        for pattern in get_resolver().url_patterns
        if isinstance(pattern, URLPattern)
    }
