"""Photos beside entries and records: added, shown and taken out by who may see those."""

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_POST

from farm.actions.records.photos import MOST_PHOTOS, add_photo, remove_photo, shrunk
from farm.models import PhoneForm, Photo, Record
from farm.pages import from_phone, visible_rows
from farm.pages.access import PageRequest, Right, get_or_refuse, may, page
from farm.pages.sent_forms import ERROR
from farm.pages.uploads import PHOTO, checked
from farm.queries import entries as entry_query
from farm.queries.recording.phone import came_from_phone, photos, photos_of
from farm.queries.records import records as record_query
from farm.records import BY_SLUG
from ledger.errors import Refused
from ledger.models import Entry

WRITE = (Right.RECORD, Right.SELL)
SEE = (Right.SEE_LOTS, Right.SEE_SAFETY)


@dataclass(frozen=True)
class Beside:
    """What a page shows beside an entry or a record; ``address``: where a photo is sent to."""

    photos: list[Photo]
    address: str
    may_add: bool
    may_remove: bool
    form: PhoneForm | None

    @property
    def clock_words(self) -> str:
        """Say how far off the telephone's clock was, where that is more than it may be."""
        if self.form is None or not self.form.is_clock_off:
            return ""
        off_s = self.form.clock_off_s
        minutes = f"{abs(off_s) // 60} minutes {'fast' if off_s > 0 else 'slow'}"
        return f"The phone's clock was {minutes} when it sent this: the time stated may be off."


def beside(request: PageRequest, to: Entry | Record) -> Beside:
    found = photos_of(to)
    there = [photo for photo in found if photo.removed_at is None]
    writes = any(may(request.person, right) for right in _rights_to_add(to))
    return Beside(
        photos=found,
        address=_address(to, "photo"),
        may_add=writes and len(there) < MOST_PHOTOS and not _is_private(to),
        may_remove=may(request.person, Right.CHANGE_FARM),
        form=came_from_phone(to.uuid),
    )


@require_POST
@page(*WRITE)
def entry_photo(request: PageRequest, seq: int) -> HttpResponse:
    rows = visible_rows.entries(request.person, entry_query.entries())
    return add(request, get_or_refuse(request, rows, *WRITE, pk=seq))


@require_POST
@page(Right.RECORD)
def record_photo(request: PageRequest, slug: str, pk: int) -> HttpResponse:
    rows = visible_rows.records(request.person, record_query.records(kind=slug))
    return add(request, get_or_refuse(request, rows, Right.RECORD, pk=pk))


@page(*SEE)
def photo(request: PageRequest, pk: int) -> HttpResponse:
    """Show a picture to who may see its entry or record; nobody else learns that it is there."""
    found = photo_or_refuse(request, pk)
    response = HttpResponse(bytes(found.image), content_type="image/jpeg")
    response.headers["Cache-Control"] = "private, no-store"
    response.headers["Content-Disposition"] = f'inline; filename="photo-{pk}.jpg"'
    return response


@require_POST
@page(Right.CHANGE_FARM)
def photo_remove(request: PageRequest, pk: int) -> HttpResponse:
    found = photo_or_refuse(request, pk)
    remove_photo(found, request.person)
    messages.success(request, "The picture is taken out for good; that there was one stays.")
    return redirect(_page_of(found))


@require_POST
@page(*WRITE)
def photo_from_phone(request: PageRequest) -> HttpResponse:
    """Keep a photo that waited on a telephone beside what its form became; answered in JSON.

    ``of``: the numbers of the form and its rows. Until one is entered, the telephone keeps it.
    """
    numbers = [from_phone.as_uuid(number) for number in request.POST.getlist("of")]
    found = _became(request, [number for number in numbers if number])
    file = request.FILES.get("photo")
    if not found or file is None:
        return from_phone.kept("Its form is not entered yet. It waits under To sort out, or here.")
    try:
        small = shrunk(checked(file, PHOTO))
        for to in found:
            add_photo(request.person, to, small)
    except (ValidationError, Refused) as refusal:
        return from_phone.told(ERROR, words_of(refusal), _address(found[0]))
    return from_phone.entered(f"Photo beside {found[0]}.", _address(found[0]))


def _became(request: PageRequest, numbers: list[UUID]) -> list[Entry | Record]:
    """Find what forms became, where this person may add a photo to it."""
    person = request.person
    entries = visible_rows.entries(person, entry_query.entries()).filter(uuid__in=numbers)
    found: list[Entry | Record] = list(entries)
    if may(person, Right.RECORD):
        records = visible_rows.records(person, record_query.records()).filter(uuid__in=numbers)
        found += [record for record in records if not _is_private(record)]
    return found


def photo_or_refuse(request: PageRequest, pk: int) -> Photo:
    """Find a photo through what it is beside, by the same right and the same rows."""
    found = get_or_refuse(request, photos().filter(removed_at=None), *SEE, pk=pk)
    rows: Any
    if found.entry is not None:
        rows, right = visible_rows.entries(request.person, entry_query.entries()), Right.SEE_LOTS
    else:
        rows, right = visible_rows.records(request.person, record_query.records()), Right.SEE_SAFETY
    try:
        get_or_refuse(request, rows, right, pk=(found.entry_id or found.record_id))
    except PermissionDenied as refusal:
        raise Http404 from refusal
    return found


def add(request: PageRequest, to: Entry | Record) -> HttpResponse:
    file = request.FILES.get("photo")
    if _is_private(to):
        raise Http404
    if file is None:
        messages.error(request, "No photo arrived. Take or choose one.")
        return redirect(_address(to))
    try:
        add_photo(request.person, to, shrunk(checked(file, PHOTO)))
    except (ValidationError, Refused) as refusal:
        messages.error(request, words_of(refusal))
    else:
        messages.success(request, "The photo is kept.")
    return redirect(_address(to))


def words_of(refusal: ValidationError | Refused) -> str:
    return " ".join(refusal.messages) if isinstance(refusal, ValidationError) else str(refusal)


def _rights_to_add(to: Entry | Record) -> tuple[Right, ...]:
    return WRITE if isinstance(to, Entry) else (Right.RECORD,)


def _is_private(to: Entry | Record) -> bool:
    """Private words can be erased on request; a picture of them would stay."""
    return isinstance(to, Record) and BY_SLUG[to.kind].erasable


def _address(to: Entry | Record, what: str = "") -> str:
    if isinstance(to, Entry):
        return reverse(f"entry-{what}" if what else "entry", args=[to.seq])
    return reverse(f"record-{what}" if what else "record-one", args=[to.kind, to.pk])


def _page_of(photo: Photo) -> str:
    to = photo.entry or photo.record
    assert to is not None
    return _address(to)
