"""What a page weighs on first load: itself, its stylesheets and its scripts, as they are sent.

Pictures are left out; so is what a script fetches later.
"""

import gzip
import re
from typing import Protocol

from django.test import Client

LOADED = re.compile(r'<(?:link rel="stylesheet" href|script src)="([^"]+)"')
PACKED = {"Accept-Encoding": "gzip"}


class Shown(Protocol):
    """A page as the test client gets it."""

    @property
    def content(self) -> bytes: ...


def weight_of(client: Client, page: Shown) -> int:
    """Weigh a page, asked for as PACKED, in bytes; its drawings are among them."""
    beside = set(LOADED.findall(gzip.decompress(page.content).decode()))
    return len(page.content) + sum(_size(client, address) for address in beside)


def _size(client: Client, address: str) -> int:
    response = client.get(address, headers=PACKED)
    assert response.status_code == 200, address
    return len(response.getvalue())
