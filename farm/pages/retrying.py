"""Forms that the book refused: kept as they were sent, tried again, opened again, dropped."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from uuid import UUID, uuid5

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.http import require_POST

from farm.actions import unfinished
from farm.actions.common import Recorded
from farm.actions.unfinished import Kept
from farm.models import Farm, Person
from farm.pages.access import PageRequest, Right, page
from farm.pages.doings import BY_SLUG, Deed
from farm.pages.filling import Sent, filled_form, first_step
from farm.pages.forms.doing import DoingForm
from farm.pages.frame import show
from farm.queries.entries import lots_touched
from farm.units import UnitError
from ledger.errors import Conflict, Refused

# What the address said (the first step) is kept beside what was sent.
IN_ADDRESS = "?"
# Sent again by itself, a conflict would record the same work twice.
IS_CONFLICT = "!conflict"
NOT_KEPT = ("csrfmiddlewaretoken", "initials", "pin")


@dataclass(frozen=True)
class UnfinishedRow:
    """``by``: who sent it, by initials."""

    kept: Kept
    deed: Deed
    by: str


@dataclass(frozen=True)
class UnfinishedPage:
    rows: list[UnfinishedRow]


@page(Right.READ)
def unfinished_list(request: PageRequest) -> HttpResponse:
    return show(request, "farm/record/unfinished.html", UnfinishedPage(unfinished_rows()))


@require_POST
@page(Right.RECORD)
def drop(request: PageRequest, uuid: UUID) -> HttpResponse:
    try:
        unfinished.drop(uuid, request.POST.get("reason", ""))
    except Refused as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, "Dropped, with its reason.")
    return redirect("unfinished")


def unfinished_rows() -> list[UnfinishedRow]:
    initials = dict(Person.objects.values_list("pk", "initials"))
    return [
        UnfinishedRow(kept, BY_SLUG[kept.name], initials.get(kept.by, "?"))
        for kept in unfinished.still_waiting()
        if kept.name in BY_SLUG
    ]


def kept_under(uuid: str | None) -> Kept | None:
    """Find what waits under a UUID given in an address."""
    waiting = unfinished.still_waiting() if uuid else []
    return next((kept for kept in waiting if str(kept.uuid) == uuid), None)


def as_sent(kept: Kept) -> Sent:
    address, data = QueryDict(mutable=True), QueryDict(mutable=True)
    for name, values in kept.data.items():
        if name.startswith(IN_ADDRESS):
            address.setlist(name.removeprefix(IN_ADDRESS), values)
        else:
            data.setlist(name, values)
    return Sent(address, data)


def keep(deed: Deed, form: DoingForm, *, refusal: Refused, address: QueryDict) -> None:
    """Keep a form that the book refuses now and may take later."""
    assert isinstance(form.data, QueryDict)
    # The doer is kept beside the form; a PIN is written down nowhere.
    data = {name: values for name, values in form.data.lists() if name not in NOT_KEPT}
    data |= {IN_ADDRESS + name: values for name, values in address.lists()}
    doing = form.doing()
    if isinstance(refusal, Conflict):
        # Its UUID is taken; one made of the content lets the same conflict wait once.
        doing = replace(doing, uuid=uuid5(doing.uuid, str(sorted(data.items()))))
        data |= {"uuid": [str(doing.uuid)], IS_CONFLICT: ["1"]}
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
    """Send each form that waits for some lots once; a conflict waits for a person to decide."""
    accepted = []
    for kept in unfinished.to_retry(lot_ids):
        deed = None if IS_CONFLICT in kept.data else BY_SLUG.get(kept.name)
        recorded = sent_again(deed, kept, farm) if deed else None
        if deed and recorded:
            unfinished.answered(kept.uuid, f"accepted as entry {recorded.entry.seq}")
            accepted.append((deed, recorded))
    return accepted


def sent_again(deed: Deed, kept: Kept, farm: Farm) -> Recorded | None:
    """Run one kept form through its action; what is still refused goes on waiting."""
    sent = as_sent(kept)
    person = get_object_or_404(Person, pk=kept.by)
    first = first_step(deed, sent.address, farm)
    if first is not None and not first.is_valid():
        return None
    form = filled_form(deed, sent, farm=farm, person=person, first=first)
    if not form.is_valid():
        return None
    try:
        return form.run(form.doing())
    except (Refused, ValidationError, UnitError):
        return None
