"""What a page weighs on first load: itself, its stylesheets and its scripts, not compressed.

Pictures are left out, drawings within the page among them; so is what a script fetches later.
"""

import re

from django.http import FileResponse, HttpResponse
from django.test import Client

LOADED = re.compile(r'<(?:link rel="stylesheet" href|script src)="([^"]+)"')
DRAWING = re.compile(r"<svg\b.*?</svg>", re.DOTALL)


def weight_of(client: Client, page: HttpResponse) -> int:
    """Weigh a page in bytes."""
    words = page.content.decode()
    beside = sum(_size(client, address) for address in set(LOADED.findall(words)))
    return len(DRAWING.sub("", words).encode()) + beside


def _size(client: Client, address: str) -> int:
    response = client.get(address)
    assert response.status_code == 200, address
    if isinstance(response, FileResponse):
        return len(b"".join(response.streaming_content))  # type: ignore[arg-type]
    return len(response.content)
