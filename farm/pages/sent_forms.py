"""A form as it was sent: written down, and read again from what waits or from the session.

The book keeps what came of a form and never the form itself. What was refused is kept under To
sort out; of what was recorded, a session remembers the last forms.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from uuid import uuid4

from django.http import QueryDict

from farm.actions.recording import unfinished
from farm.actions.recording.unfinished import Kept
from farm.pages.access import PageRequest
from farm.pages.recording_form import QUESTIONS

# What the address said (the first step) is kept beside what was sent.
IN_ADDRESS = "?"
# In an address: which form that waits is opened again, and which entry is recorded again.
WAITING, AGAIN = "waiting", "again"
# When a telephone kept a form and when it sent it, by its own clock.
BY_PHONE = ("phone_saved_at", "phone_sent_at")
NOT_KEPT = ("csrfmiddlewaretoken", "initials", "pin", *BY_PHONE)
ROWS_PIN = "pin_"
# Why a form waits for a person, and is not tried again by itself: sent again, a conflict would
# record the same work twice; a question is for somebody to answer, an error to mend.
WHY = "!why"
CONFLICT, QUESTION, ERROR = "conflict", "question", "error"
# Beside an error or a question: the form elsewhere that mends what was refused.
WAY = "!way"
# Beside a conflict: the entry that the first sending of the form became.
FIRST_ENTRY = "!entry"
# Beside what a session remembers: the action of the form.
SLUG = "!slug"
# A session remembers so many forms.
MOST_REMEMBERED = 20


@dataclass(frozen=True)
class Sent:
    """A form's address and content; ``data`` None: it is being opened. ``kept``: it waits."""

    address: QueryDict
    data: QueryDict | None = None
    kept: Kept | None = None


def sent_form(request: PageRequest) -> Sent:
    """Read a form that is sent; one that is opened, as it was sent before, where it was."""
    posted = request.POST if request.method == "POST" else None
    kept = kept_under(request.GET.get(WAITING))
    if kept is not None:
        sent = as_sent(kept.data, request.GET)
        return Sent(sent.address, sent.data if posted is None else posted, kept)
    return _remembered(request) if posted is None else Sent(request.GET, posted)


def kept_under(uuid: str | None) -> Kept | None:
    """Find what waits under a UUID given in an address."""
    waiting = unfinished.still_waiting() if uuid else []
    return next((kept for kept in waiting if str(kept.uuid) == uuid), None)


def as_sent(kept: Mapping[str, list[str]], anew: QueryDict | None = None) -> Sent:
    """Read a form as it was sent; ``anew``: an address that answers its first step otherwise."""
    address, data = QueryDict(mutable=True), QueryDict(mutable=True)
    for name, values in kept.items():
        if name.startswith(IN_ADDRESS):
            address.setlist(name.removeprefix(IN_ADDRESS), values)
        else:
            data.setlist(name, values)
    return Sent(anew if anew and set(anew) != {WAITING} else address, data)


def as_kept(data: QueryDict, address: QueryDict) -> dict[str, list[str]]:
    """Write down a form as it was sent. The doer is kept beside it; a PIN is written nowhere."""
    said = {
        name: values
        for name, values in data.lists()
        if name not in NOT_KEPT and not name.startswith(ROWS_PIN)
    }
    beside = {name: values for name, values in address.lists() if name not in (WAITING, AGAIN)}
    return said | {IN_ADDRESS + name: values for name, values in beside.items()}


# --- what a session remembers ----------------------------------------------------------------


def remember(request: PageRequest, slug: str, *, key: str) -> None:
    """Keep what was sent for this session and person under a key; the oldest are let go."""
    sent = as_kept(request.POST, request.GET) | {SLUG: [slug]}
    known = {**request.session.get(session_key(request), {}), key: sent}
    request.session[session_key(request)] = dict(list(known.items())[-MOST_REMEMBERED:])


def session_key(request: PageRequest) -> str:
    """Under which name a session keeps what a person sent; nobody else at the device sees it."""
    return f"sent-{request.person.pk}"


def _remembered(request: PageRequest) -> Sent:
    """Read the address of a form; where it names an entry to record again, with what was sent.

    A row that was added meanwhile, since the form missed it, is chosen in it.
    """
    known = request.session.get(session_key(request), {}).get(request.GET.get(AGAIN, ""))
    if not known:
        return Sent(request.GET)
    before = as_sent(known)
    data = before.data or QueryDict(mutable=True)
    for question in QUESTIONS:
        data.pop(question, None)
    for name in set(request.GET) - set(before.address) - {AGAIN}:
        data[name] = data.get(name) or request.GET[name]
    data["uuid"] = str(uuid4())
    return Sent(request.GET, data)
