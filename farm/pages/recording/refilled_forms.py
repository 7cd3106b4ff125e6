"""The way back to a form, filled in as it was sent: what was taken back, or where one was stopped.

A session remembers the last forms; for any other entry the form is offered with its lot alone.
"""

from django.utils.html import format_html

from farm.pages.access import PageRequest
from farm.pages.deeds import BY_SLUG, Deed
from farm.pages.sent_forms import AGAIN, SLUG, as_sent, remember, session_key
from farm.pages.ways_out import WayOn, to_record
from ledger.models import Entry

# In place of an entry's number: the form that could not be recorded before something else is.
STOPPED = "stopped"


def again(request: PageRequest, deed: Deed | None, entry: Entry) -> WayOn | None:
    """Lead to the form of an entry that was taken back, as far filled in as is known."""
    way = _as_sent(request, str(entry.seq), " again, with the same values")
    if way or deed is None:
        return way
    line = entry.lines.select_related("lot").order_by("pk").first()
    return to_record(deed, " anew", **({deed.field: line.lot.code} if deed.field and line else {}))


def stop(request: PageRequest, deed: Deed) -> str:
    """Keep a form that something else must come before; say where it is gone on with."""
    remember(request, deed.slug, key=STOPPED)
    request.session[f"{session_key(request)}-{STOPPED}"] = deed.slug
    way = _as_sent(request, STOPPED)
    return way.address if way else ""


def go_on(request: PageRequest, deed: Deed) -> list[str]:
    """Lead, once, from what was recorded to the form that was stopped for it."""
    slug = request.session.pop(f"{session_key(request)}-{STOPPED}", deed.slug)
    way = _as_sent(request, STOPPED) if slug != deed.slug else None
    if way is None:
        return []
    words = '{} was stopped. <a href="{}">Go on with it, as it was typed</a>'
    return [format_html(words, way.title, way.address)]


def _as_sent(request: PageRequest, key: str, about: str = "") -> WayOn | None:
    sent = request.session.get(session_key(request), {}).get(key)
    if not sent:
        return None
    address = as_sent(sent).address.dict()
    said = {name: str(value) for name, value in address.items()} | {AGAIN: key}
    return to_record(BY_SLUG[sent[SLUG][0]], about, **said)
