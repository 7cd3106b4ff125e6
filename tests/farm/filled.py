"""Fill a form as a browser would: what it shows, and what is typed over it."""

import re
from datetime import UTC, datetime
from typing import Any, Protocol
from uuid import uuid4

from django.http import HttpResponse
from django.test import Client

from ledger.models import Entry

# Two days before what is typed: what is picked then keeps.
JUST_BEFORE = datetime(2026, 10, 18, 8, tzinfo=UTC)


def typed(**values: Any) -> dict[str, Any]:
    """What every recording form sends, at a time that has passed, and the values given."""
    return {"uuid": str(uuid4()), "when": "2026-10-20T09:00", "own": "", **values}


def prefilled(client: Client, address: str) -> dict[str, str]:
    """Read the text boxes of a form that are filled in already."""
    page = client.get(address).content.decode()
    boxes = re.findall(
        r'<input type="(?:text|hidden|datetime-local|date)" name="(\w+)" value="([^"]*)"', page
    )
    return {name: value for name, value in boxes if name != "csrfmiddlewaretoken"}


def send(client: Client, address: str, **values: Any) -> HttpResponse:
    return client.post(address, typed(**values))  # type: ignore[return-value]


class Answered(Protocol):
    """What a client got back."""

    content: bytes


def text(response: Answered) -> str:
    return response.content.decode()


def last_entry() -> Entry:
    entry = Entry.objects.order_by("-seq").first()
    assert entry
    return entry
