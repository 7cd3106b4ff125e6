"""Forms that the book refused: kept as they were sent, listed, and tried again."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from uuid import uuid5

from django.http import QueryDict
from django.shortcuts import get_object_or_404
from django.urls import reverse

from farm.actions.common import Recorded
from farm.actions.recording import unfinished
from farm.actions.recording.unfinished import Kept
from farm.models import Farm, Person
from farm.pages import visible_rows
from farm.pages.access import STALL, Right, may
from farm.pages.deeds import BY_SLUG, Deed
from farm.pages.recording_form import DoingForm
from farm.pages.sending import Outcome, send
from farm.pages.sent_forms import CONFLICT, FIRST_ENTRY, WAITING, WHY, as_kept, as_sent
from farm.queries.entries import entry_of, lots_touched
from ledger.errors import Conflict, Refused


@dataclass(frozen=True)
class WaitingForm:
    """A form that may wait and is no action's: a tap, a wall sheet, a stock count.

    ``prefix``: before what its name ends in. ``opened``: its title, and where it is opened again,
    by that ending. ``retry``: sends it once more, where it is tried again by itself.
    """

    prefix: str
    opened: Callable[[str], tuple[str, str] | None]
    right: Right = Right.RECORD
    retry: Callable[[Kept, Farm], None] | None = None


# Handed in from above, by the subjects whose forms they are.
WAITING_FORMS: list[WaitingForm] = []


@dataclass(frozen=True)
class UnfinishedRow:
    """``by``: who sent it, by initials. ``address``: where whoever has a right opens it again."""

    kept: Kept
    title: str
    by: str
    address: str
    rights: tuple[Right, ...]


# --- kept, and listed ------------------------------------------------------------------------


def keep(deed: Deed, outcome: Outcome[Recorded], address: QueryDict) -> None:
    """Keep a form that the book refuses now and may take later."""
    form, refusal = outcome.form, outcome.refusal
    assert isinstance(form, DoingForm) and isinstance(form.data, QueryDict)
    assert isinstance(refusal, Refused)
    data = as_kept(form.data, address)
    doing = form.doing()
    if isinstance(refusal, Conflict):
        # Its UUID is taken; one made of the content lets the same conflict wait once.
        doing = replace(doing, uuid=uuid5(doing.uuid, str(sorted(data.items()))))
        data |= {"uuid": [str(doing.uuid)], WHY: [CONFLICT]}
        first = entry_of(form.data.get("uuid", ""))
        data |= {FIRST_ENTRY: [str(first.seq)]} if first else {}
    unfinished.keep(deed.slug, doing, data, refusal=refusal)


def unfinished_rows(person: Person) -> list[UnfinishedRow]:
    """List what waits, oldest first: refused, asked or wrong. A seller sees what they sent."""
    if not any(may(person, right) for right in STALL):
        return []
    waiting = unfinished.still_waiting()
    if visible_rows.is_seller(person):
        waiting = [kept for kept in waiting if kept.by == person.pk]
    initials = dict(Person.objects.values_list("pk", "initials")) if waiting else {}
    rows = [_row(kept, initials.get(kept.by, "?")) for kept in waiting]
    return [row for row in rows if row]


def _row(kept: Kept, by: str) -> UnfinishedRow | None:
    """Name what waits, and where it is opened again; nothing where its form is no more."""
    form, deed = _waiting_form(kept), BY_SLUG.get(kept.name)
    if deed:
        opened, rights = (deed.title, reverse("record-action", args=[deed.slug])), deed.rights
    elif form and (found := form.opened(kept.name.removeprefix(form.prefix))):
        opened, rights = found, (form.right,)
    else:
        return None
    return UnfinishedRow(kept, opened[0], by, f"{opened[1]}?{WAITING}={kept.uuid}", rights)


def _waiting_form(kept: Kept) -> WaitingForm | None:
    return next((form for form in WAITING_FORMS if kept.name.startswith(form.prefix)), None)


# --- tried again -----------------------------------------------------------------------------


def retry(lot_ids: Iterable[int], farm: Farm) -> list[tuple[Deed, Recorded]]:
    """Send what waits for some lots once more; return what was accepted.

    What is accepted may be what others waited for, so it goes on until nothing more is: each
    round answers one at least, so there are no more rounds than forms that wait.
    """
    accepted: list[tuple[Deed, Recorded]] = []
    lots = set(lot_ids)
    for _ in unfinished.still_waiting():
        more = _retry_once(lots, farm)
        if not more:
            break
        accepted += more
        lots |= {lot for _, recorded in more for lot in lots_touched(recorded.entry)}
    return accepted


def _retry_once(lot_ids: Iterable[int], farm: Farm) -> list[tuple[Deed, Recorded]]:
    """Send each form that waits for some lots once; what waits for a person is left to them.

    What makes no entry, such as a tap at the till, is answered by itself and not returned.
    """
    accepted = []
    for kept in unfinished.to_retry(lot_ids):
        if WHY in kept.data:
            continue
        deed, form = BY_SLUG.get(kept.name), _waiting_form(kept)
        if form and form.retry:
            form.retry(kept, farm)
        recorded = _sent_again(deed, kept, farm) if deed else None
        if deed and recorded:
            unfinished.answered(kept.uuid, f"accepted as entry {recorded.entry.seq}")
            accepted.append((deed, recorded))
    return accepted


def _sent_again(deed: Deed, kept: Kept, farm: Farm) -> Recorded | None:
    """Send one kept form the same way once more; what is still refused goes on waiting."""
    person = get_object_or_404(Person, pk=kept.by)
    return send(deed, as_sent(kept.data), farm=farm, person=person).made
