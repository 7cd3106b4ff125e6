"""Forms that waited on a telephone: the same forms on the same way, answered in JSON.

A telephone asks for JSON (Accept) and gets one of four: ``entered``, ``kept`` (the book may take
it later), ``question`` or ``error``. What is not entered is kept here, under To sort out, before
it is answered: the telephone may let go of a form once it has any of the four.
"""

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any
from uuid import UUID, uuid4

from django.http import HttpRequest, JsonResponse, QueryDict
from django.urls import reverse

from farm.actions.recording import unfinished
from farm.actions.recording.phone import Told, receive
from farm.pages.access import PageRequest
from farm.pages.clock import YEARS
from farm.pages.sending import Outcome, State
from farm.pages.sent_forms import BY_PHONE, ERROR, QUESTION, WAY, WHY, as_kept
from farm.pages.ways_out import way_elsewhere

ENTERED, KEPT = "entered", "kept"


def asks_for_json(request: HttpRequest) -> bool:
    return request.get_preferred_type(["text/html", "application/json"]) == "application/json"


def receive_form(request: PageRequest) -> JsonResponse | None:
    """Note that a form arrived from a telephone; answer it where it was answered here before."""
    if not asks_for_json(request):
        return None
    uuid = uuid_of(request.POST)
    saved_at, sent_at = (moment(request.POST.get(name, "")) for name in BY_PHONE)
    if uuid and saved_at and sent_at:
        receive(Told(uuid, saved_at, sent_at), request.person)
    before = unfinished.answer_of(uuid) if uuid else ""
    return kept(f"It was kept here before: {before}.") if before else None


def in_json(
    request: PageRequest, name: str, outcome: Outcome[Any], *, done: Sequence[str] = ()
) -> JsonResponse:
    """Tell what became of a form; one that somebody must answer or mend is kept under ``name``.

    ``done``: the keys of its rows that were entered; what was typed into those is left out.
    """
    words = " ".join(outcome.words)
    if outcome.state in (State.DONE, State.BEFORE):
        return entered(words, outcome.address)
    if outcome.state is State.WAITS:
        return kept(words)
    why = QUESTION if outcome.state is State.ASKED else ERROR
    way = way_elsewhere(outcome.refusal)
    sent = as_kept(request.POST, request.GET) | {WHY: [why]} | ({WAY: way.as_kept()} if way else {})
    entered_in = tuple(f"_{key}" for key in done)
    data = {name: values for name, values in sent.items() if not name.endswith(entered_in)}
    uuid = uuid_of(request.POST) or uuid4()
    data["uuid"] = [str(uuid)]
    unfinished.set_aside(name, data, uuid=uuid, by=request.person, why=words)
    return told(why, words, reverse("unfinished"))


def entered(words: str, address: str) -> JsonResponse:
    return told(ENTERED, words, address)


def kept(words: str) -> JsonResponse:
    """Say that it waits until the book takes it, or somebody answers."""
    return told(KEPT, words, reverse("unfinished"))


def told(state: str, words: str, address: str) -> JsonResponse:
    return JsonResponse({state: {"words": words, "address": address}})


def uuid_of(data: QueryDict) -> UUID | None:
    return as_uuid(data.get("uuid", ""))


def as_uuid(text: str) -> UUID | None:
    try:
        return UUID(text)
    except ValueError:
        return None


def moment(text: str) -> datetime | None:
    """Read a moment as a telephone writes it: ISO 8601 with its zone."""
    try:
        read = datetime.fromisoformat(text)
    except ValueError:
        return None
    return read.astimezone(UTC) if read.tzinfo and read.year in YEARS else None
