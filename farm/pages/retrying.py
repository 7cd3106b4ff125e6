"""Forms that the book refused: kept as they were sent, tried again, opened again, dropped."""

from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from uuid import UUID, uuid5

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.views.decorators.http import require_POST

from farm.actions.common import Recorded
from farm.actions.recording import unfinished
from farm.actions.recording.unfinished import Kept
from farm.models import Farm, Person, StallDay
from farm.pages import visible_rows
from farm.pages.access import STALL, PageRequest, may, page
from farm.pages.deeds import BY_SLUG, Deed
from farm.pages.filling import Sent, filled_form, first_step
from farm.pages.frame import show
from farm.pages.recording.sorting_out import CONFLICT, FIRST_ENTRY, WHY, may_do, way_on
from farm.pages.recording_form import DoingForm
from farm.pages.selling.tapping import TAP, tapped
from farm.pages.selling.till_forms import TapForm
from farm.pages.ways_out import WayOn
from farm.queries.day.wall_sheets import TITLES
from farm.queries.entries import entry_of, lots_touched
from farm.records import BY_SLUG as KINDS_BY_SLUG
from farm.units import UnitError
from ledger.errors import Conflict, Refused
from ledger.models import Lot

# What the address said (the first step) is kept beside what was sent.
IN_ADDRESS = "?"
# In an address: which form that waits is opened again, and which entry is recorded again.
WAITING, AGAIN = "waiting", "again"
# When a telephone kept a form and when it sent it, by its own clock.
BY_PHONE = ("phone_saved_at", "phone_sent_at")
NOT_KEPT = ("csrfmiddlewaretoken", "initials", "pin", *BY_PHONE)
ROWS_PIN = "pin_"
# Before the sheet, day and page of a wall sheet that is typed up.
WALL = "wall:"
# Before the shelf that is weighed in.
SHELF = "shelf:"
COUNT = "stock count"
# Before the name of a kind of record; the others are names of actions.
RECORD = "record:"


@dataclass(frozen=True)
class UnfinishedRow:
    """``by``: who sent it, by initials. ``address``: where it is opened again."""

    kept: Kept
    title: str
    by: str
    address: str


@dataclass(frozen=True)
class ToSortOut:
    """A form that waits with its next thing; ``may_open`` it, ``may_go`` on by the button."""

    row: UnfinishedRow
    way: WayOn
    may_open: bool
    may_go: bool


@dataclass(frozen=True)
class UnfinishedPage:
    rows: list[ToSortOut]


@page(*STALL)
def unfinished_list(request: PageRequest) -> HttpResponse:
    rows = unfinished_rows(request.person)
    lots = unfinished.lots_named([row.kept.uuid for row in rows])
    shown = [_to_sort_out(request, row, lots.get(row.kept.uuid, [])) for row in rows]
    return show(request, "farm/record/unfinished.html", UnfinishedPage(shown))


def _to_sort_out(request: PageRequest, row: UnfinishedRow, lots: list[Lot]) -> ToSortOut:
    way = way_on(row.kept, lots, request.farm, opened_at=row.address)
    may_open = may_do(row.kept.name, request.person)
    may_go = way.is_open_to(request.person) if way.rights else may_open
    return ToSortOut(row, way, may_open, may_go)


@require_POST
@page(*STALL)
def drop(request: PageRequest, uuid: UUID) -> HttpResponse:
    """Give up what waits; a seller may what they sent themselves."""
    if not any(row.kept.uuid == uuid for row in unfinished_rows(request.person)):
        messages.warning(request, "It waits no more.")
        return redirect("unfinished")
    try:
        unfinished.drop(uuid, request.POST.get("reason", ""))
    except Refused as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, "Given up; the word stays with it.")
    return redirect("unfinished")


def unfinished_rows(person: Person) -> list[UnfinishedRow]:
    """List what waits, oldest first: refused, asked or wrong. A seller sees what they sent."""
    if not any(may(person, right) for right in STALL):
        return []
    waiting = unfinished.still_waiting()
    if visible_rows.is_seller(person):
        waiting = [kept for kept in waiting if kept.by == person.pk]
    initials = dict(Person.objects.values_list("pk", "initials")) if waiting else {}
    found = [(kept, form_of(kept.name)) for kept in waiting]
    return [
        UnfinishedRow(kept, form[0], initials.get(kept.by, "?"), f"{form[1]}?waiting={kept.uuid}")
        for kept, form in found
        if form
    ]


def form_of(name: str) -> tuple[str, str] | None:
    """Give the title and the address of the form that was kept under a name."""
    if name.startswith(WALL):
        sheet, *page_of_day = name.removeprefix(WALL).split(":")
        return TITLES[sheet], reverse("wall-type-up", args=[sheet, *page_of_day])
    if name.startswith(SHELF):
        return "Weigh in a shelf", reverse("shelf-weigh", args=[name.removeprefix(SHELF)])
    if name.startswith(TAP):
        return "Tap at the till", reverse("till", args=[name.removeprefix(TAP)])
    if name == COUNT:
        return "Stock count", reverse("count-start")
    deed, kind = BY_SLUG.get(name), KINDS_BY_SLUG.get(name.removeprefix(RECORD))
    if deed:
        return deed.title, reverse("record-action", args=[name])
    return (kind.title, reverse("record-add", args=[kind.slug])) if kind else None


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


def keep(deed: Deed, form: DoingForm, *, refusal: Refused, address: QueryDict) -> None:
    """Keep a form that the book refuses now and may take later."""
    assert isinstance(form.data, QueryDict)
    data = as_kept(form.data, address)
    doing = form.doing()
    if isinstance(refusal, Conflict):
        # Its UUID is taken; one made of the content lets the same conflict wait once.
        doing = replace(doing, uuid=uuid5(doing.uuid, str(sorted(data.items()))))
        data |= {"uuid": [str(doing.uuid)], WHY: [CONFLICT]}
        first = entry_of(form.data.get("uuid", ""))
        data |= {FIRST_ENTRY: [str(first.seq)]} if first else {}
    unfinished.keep(deed.slug, doing, data, refusal=refusal)


def retry(lot_ids: Iterable[int], farm: Farm) -> list[tuple[Deed, Recorded]]:
    """Send what waits for some lots once more; return what was accepted.

    What is accepted may be what others waited for, so it goes on until nothing more is: each
    round answers one at least, so there are no more rounds than forms that wait.
    """
    accepted: list[tuple[Deed, Recorded]] = []
    lots = set(lot_ids)
    for _ in unfinished.still_waiting():
        more = retry_once(lots, farm)
        if not more:
            break
        accepted += more
        lots |= {lot for _, recorded in more for lot in lots_touched(recorded.entry)}
    return accepted


def retry_once(lot_ids: Iterable[int], farm: Farm) -> list[tuple[Deed, Recorded]]:
    """Send each form that waits for some lots once; a conflict waits for a person to decide.

    A tap at the till makes no entry: it is answered here and not returned.
    """
    accepted = []
    for kept in unfinished.to_retry(lot_ids):
        if kept.name.startswith(TAP) and WHY not in kept.data:
            tapped_again(kept, farm)
        deed = None if WHY in kept.data else BY_SLUG.get(kept.name)
        recorded = sent_again(deed, kept, farm) if deed else None
        if deed and recorded:
            unfinished.answered(kept.uuid, f"accepted as entry {recorded.entry.seq}")
            accepted.append((deed, recorded))
    return accepted


def tapped_again(kept: Kept, farm: Farm) -> None:
    """Send a tap that waited once more; what is still refused goes on waiting."""
    load = get_object_or_404(StallDay, pk=kept.name.removeprefix(TAP))
    person = get_object_or_404(Person, pk=kept.by)
    with suppress(Refused, ValidationError, UnitError):
        tapped(person, load, TapForm(as_sent(kept.data).data, farm=farm))


def sent_again(deed: Deed, kept: Kept, farm: Farm) -> Recorded | None:
    """Run one kept form through its action; what is still refused goes on waiting."""
    sent = as_sent(kept.data)
    person = get_object_or_404(Person, pk=kept.by)
    first = first_step(deed, sent.address, farm=farm, person=person)
    if first is not None and not first.is_valid():
        return None
    form = filled_form(deed, sent, farm=farm, person=person, first=first)
    if not form.is_valid():
        return None
    try:
        return form.run(form.doing())
    except (Refused, ValidationError, UnitError):
        return None
