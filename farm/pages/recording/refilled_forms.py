"""A form once more, filled in as it was sent: what was taken back, or where somebody was stopped.

The book keeps what came of a form and never the form itself. So a session remembers the last ones;
for any other entry the form is offered with its lot alone.
"""

from uuid import uuid4

from django.http import QueryDict
from django.utils.html import format_html

from farm.pages.access import PageRequest
from farm.pages.deeds import BY_SLUG, Deed
from farm.pages.filling import Sent
from farm.pages.recording_form import QUESTIONS, DoingForm
from farm.pages.retrying import AGAIN, as_kept, as_sent
from farm.pages.ways_out import WayOn, to_record
from ledger.models import Entry

MOST = 20
SLUG = "!slug"
# In place of an entry's number: the form that could not be recorded before something else is.
STOPPED = "stopped"


def remember(request: PageRequest, form: DoingForm, *, deed: Deed, key: str) -> None:
    """Keep a form for this session and person under an entry's number; the oldest are let go."""
    assert isinstance(form.data, QueryDict)
    sent = as_kept(form.data, request.GET) | {SLUG: [deed.slug]}
    known = {**request.session.get(_key(request), {}), key: sent}
    request.session[_key(request)] = dict(list(known.items())[-MOST:])


def again(request: PageRequest, deed: Deed | None, entry: Entry) -> WayOn | None:
    """Lead to the form of an entry that was taken back, as far filled in as is known."""
    way = _as_sent(request, str(entry.seq), " again, with the same values")
    if way or deed is None:
        return way
    line = entry.lines.select_related("lot").order_by("pk").first()
    return to_record(deed, " anew", **({deed.field: line.lot.code} if deed.field and line else {}))


def stop(request: PageRequest, form: DoingForm, deed: Deed) -> str:
    """Keep a form that something else must come before; say where it is gone on with."""
    remember(request, form, deed=deed, key=STOPPED)
    request.session[f"{_key(request)}-{STOPPED}"] = deed.slug
    way = _as_sent(request, STOPPED)
    return way.address if way else ""


def go_on(request: PageRequest, deed: Deed) -> list[str]:
    """Lead, once, from what was recorded to the form that was stopped for it."""
    slug = request.session.pop(f"{_key(request)}-{STOPPED}", deed.slug)
    way = _as_sent(request, STOPPED) if slug != deed.slug else None
    if way is None:
        return []
    words = '{} was stopped. <a href="{}">Go on with it, as it was typed</a>'
    return [format_html(words, way.title, way.address)]


def _as_sent(request: PageRequest, key: str, about: str = "") -> WayOn | None:
    sent = request.session.get(_key(request), {}).get(key)
    if not sent:
        return None
    address = as_sent(sent).address.dict()
    said = {name: str(value) for name, value in address.items()} | {AGAIN: key}
    return to_record(BY_SLUG[sent[SLUG][0]], about, **said)


def sent_again(request: PageRequest) -> Sent:
    """Read the address of a form; where it names an entry to record again, with what was sent.

    A row that was added meanwhile, since the form missed it, is chosen in it.
    """
    known = request.session.get(_key(request), {}).get(request.GET.get(AGAIN, ""))
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


def _key(request: PageRequest) -> str:
    """Under which name a session keeps what a person sent; nobody else at the device sees it."""
    return f"sent-{request.person.pk}"
