"""What a page weighs on first load: itself, its stylesheets and its scripts, not compressed.

Pictures are left out, drawings within the page among them; so is what a script fetches later.
"""

import re
from typing import Protocol

from django.test import Client

LOADED = re.compile(r'<(?:link rel="stylesheet" href|script src)="([^"]+)"')
DRAWING = re.compile(r"<svg\b.*?</svg>", re.DOTALL)


class Shown(Protocol):
    """A page as the test client gets it."""

    @property
    def content(self) -> bytes: ...


def weight_of(client: Client, page: Shown) -> int:
    """Weigh a page in bytes."""
    words = page.content.decode()
    beside = sum(_size(client, address) for address in set(LOADED.findall(words)))
    return len(DRAWING.sub("", words).encode()) + beside


def _size(client: Client, address: str) -> int:
    response = client.get(address)
    assert response.status_code == 200, address
    return len(response.getvalue())
