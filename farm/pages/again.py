"""What was taken back, recorded again: its form, filled in as it was sent.

The book keeps what came of a form and never the form itself. So a session remembers the last ones;
for any other entry the form is offered with its lot alone.
"""

from uuid import uuid4

from django.http import QueryDict

from farm.pages.access import PageRequest
from farm.pages.doings import BY_SLUG, Deed
from farm.pages.filling import Sent
from farm.pages.forms.doing import QUESTIONS, DoingForm
from farm.pages.retrying import AGAIN, as_kept, as_sent
from farm.pages.ways_out import Way, to_record
from ledger.models import Entry

MOST = 20
SLUG = "!slug"


def remember(request: PageRequest, form: DoingForm, *, deed: Deed, entry: Entry) -> None:
    """Keep a form that was recorded for this session and person; the oldest ones are let go."""
    assert isinstance(form.data, QueryDict)
    sent = as_kept(form.data, request.GET) | {SLUG: [deed.slug]}
    known = {**request.session.get(_key(request), {}), str(entry.seq): sent}
    request.session[_key(request)] = dict(list(known.items())[-MOST:])


def again(request: PageRequest, deed: Deed | None, entry: Entry) -> Way | None:
    """Lead to the form of an entry that was taken back, as far filled in as is known."""
    sent = request.session.get(_key(request), {}).get(str(entry.seq))
    if sent:
        address = as_sent(sent).address.dict()
        said = {name: str(value) for name, value in address.items()} | {AGAIN: str(entry.seq)}
        return to_record(BY_SLUG[sent[SLUG][0]], " again, with the same values", **said)
    if deed is None:
        return None
    line = entry.lines.select_related("lot").order_by("pk").first()
    return to_record(deed, " anew", **({deed.field: line.lot.code} if deed.field and line else {}))


def sent_again(request: PageRequest) -> Sent:
    """Read the address of a form; where it names an entry to record again, with what was sent."""
    known = request.session.get(_key(request), {}).get(request.GET.get(AGAIN, ""))
    data = as_sent(known).data if known else None
    if data is not None:
        for question in QUESTIONS:
            data.pop(question, None)
        data["uuid"] = str(uuid4())
    return Sent(request.GET, data)


def _key(request: PageRequest) -> str:
    """Under which name a session keeps what a person sent; nobody else at the device sees it."""
    return f"sent-{request.person.pk}"
