"""Forms that waited on a telephone: the same forms and actions, answered in JSON.

A telephone asks for JSON (Accept) and gets one of four: ``entered``, ``kept`` (the book may take
it later), ``question`` or ``error``. What is not entered is kept here, under To sort out, before
it is answered: the telephone may let go of a form once it has any of the four.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from types import MappingProxyType
from uuid import UUID, uuid4

from django import forms
from django.http import HttpRequest, JsonResponse, QueryDict
from django.urls import reverse

from farm.actions.recording import unfinished
from farm.actions.recording.phone import Told, receive
from farm.pages import retrying
from farm.pages.access import PageRequest
from farm.pages.clock import YEARS
from farm.pages.recording.sorting_out import ERROR, QUESTION, WAY, WHY
from farm.pages.ways_out import way_elsewhere

ENTERED, KEPT = "entered", "kept"


def asks_for_json(request: HttpRequest) -> bool:
    return request.get_preferred_type(["text/html", "application/json"]) == "application/json"


def receive_form(request: PageRequest) -> JsonResponse | None:
    """Note that a form arrived; answer it where it was kept here and answered before."""
    uuid = uuid_of(request.POST)
    saved_at, sent_at = (moment(request.POST.get(name, "")) for name in retrying.BY_PHONE)
    if uuid and saved_at and sent_at:
        receive(Told(uuid, saved_at, sent_at), request.person)
    before = unfinished.answer_of(uuid) if uuid else ""
    return kept(f"It was kept here before: {before}.") if before else None


def entered(words: str, address: str) -> JsonResponse:
    return told(ENTERED, words, address)


def kept(words: str) -> JsonResponse:
    """Say that it waits until the book takes it, or somebody answers."""
    return told(KEPT, words, reverse("unfinished"))


def question(
    request: PageRequest, name: str, words: str, *, instead: Exception | None = None
) -> JsonResponse:
    """Keep a form whose number is doubtful, until somebody answers, or does what comes before."""
    return set_aside(request, name, words=words, why=QUESTION, beside=_mended(instead))


def error(
    request: PageRequest,
    name: str,
    words: str,
    *,
    done: Sequence[str] = (),
    refusal: Exception | None = None,
) -> JsonResponse:
    """Keep a form with something wrong in it, until somebody mends it.

    ``done``: the keys of its rows that were entered; what was typed into those is left out.
    ``refusal``: what was said against it, which may be mended elsewhere.
    """
    beside = _mended(refusal)
    return set_aside(request, name, words=words, why=ERROR, done=done, beside=beside)


def _mended(refusal: Exception | None) -> dict[str, list[str]]:
    """Write down the way to what mends a refusal elsewhere, where there is one."""
    way = way_elsewhere(refusal) if refusal else None
    return {WAY: way.as_kept()} if way else {}


def set_aside(
    request: PageRequest,
    name: str,
    *,
    words: str,
    why: str,
    done: Sequence[str] = (),
    beside: Mapping[str, list[str]] = MappingProxyType({}),
) -> JsonResponse:
    sent = retrying.as_kept(request.POST, request.GET) | {WHY: [why], **beside}
    entered_in = tuple(f"_{key}" for key in done)
    data = {name: values for name, values in sent.items() if not name.endswith(entered_in)}
    uuid = uuid_of(request.POST) or uuid4()
    data["uuid"] = [str(uuid)]
    unfinished.set_aside(name, data, uuid=uuid, by=request.person, why=words)
    return told(why, words, reverse("unfinished"))


def told(state: str, words: str, address: str) -> JsonResponse:
    return JsonResponse({state: {"words": words, "address": address}})


def words_of_errors(form: forms.Form, before: Iterable[str] = ()) -> str:
    """Say what is wrong with a form, field by field: “Firsts: This is needed.”"""
    said = list(before)
    for name, found in form.errors.items():
        label = "" if name == "__all__" else f"{form[name].label}: "
        said += [f"{label}{words}" for words in found]
    return " ".join(said)


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
