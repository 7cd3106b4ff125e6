"""The binder of records: /records/, each kind's list, form and record, and the second signature."""

from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from farm.actions.records import erase_private, keep_record, review
from farm.actions.signing import signed
from farm.models import Record, Room
from farm.pages.access import PageRequest, Right, get_or_refuse, may, page, require
from farm.pages.forms.records import DaysForm, RecordForm
from farm.pages.frame import show
from farm.pages.handing_out import answer_page, made_by, taken_away
from farm.pages.laid_out import ShownTable, Way
from farm.queries import records as query
from farm.queries.records import Gap, KindSummary
from farm.queries.stores import store_rooms
from farm.records import BY_SLUG, RecordKind
from farm.reports.record_rows import (
    gap_words,
    record_report,
    second_signature,
    signature,
    state_words,
    words_of,
)
from farm.units import UnitError
from ledger.errors import Refused

USUAL = timedelta(days=60)
RECENT = timedelta(days=30)


@dataclass(frozen=True)
class RecordsPage:
    """``gaps``: what is missing of the last days, in words."""

    kinds: list[KindSummary]
    gaps: list[str]
    rooms: list[Room]
    waiting: int


@dataclass(frozen=True)
class KindPage:
    kind: RecordKind
    table: ShownTable
    days: DaysForm
    files: tuple[Way, ...]
    may_add: bool


@dataclass(frozen=True)
class AddPage:
    kind: RecordKind
    form: RecordForm
    corrects: Record | None


@dataclass(frozen=True)
class OnePage:
    """One record in words; what may be done with it by who looks at it."""

    kind: RecordKind
    record: Record
    facts: list[tuple[str, str]]
    is_struck: bool
    after: Record | None
    may_review: bool
    may_correct: bool
    may_erase: bool


@dataclass(frozen=True)
class ReviewPage:
    waiting: list[tuple[RecordKind, Record, list[tuple[str, str]]]]
    may_sign: bool


@page(Right.READ)
def records(request: PageRequest) -> HttpResponse:
    today = timezone.localdate()
    gaps = query.missing_days(today - RECENT, today - query.ONE_DAY, today=today)
    shown = RecordsPage(
        kinds=query.summaries(request.person),
        gaps=[gap_words(gap) for gap in latest(gaps)],
        rooms=store_rooms(),
        waiting=query.to_review().count(),
    )
    return show(request, "farm/records/index.html", shown)


@page(Right.READ)
def record_list(request: PageRequest, slug: str) -> HttpResponse:
    """Show a kind's records of some days, newest first, or hand them out as a file."""
    kind = kind_or_refuse(request, slug)
    days = DaysForm(request.GET, usual=USUAL)
    found = query.records(kind=slug)
    if days.is_valid():
        said = days.cleaned_data
        found = found.filter(happened_on__range=(said["first"], said["last"]))
    report = record_report(kind, found, request.farm, made=made_by(request))
    file = taken_away(request, report, f"records-{slug}")
    if file:
        return file
    laid = answer_page(request, report)
    shown = KindPage(
        kind=kind,
        table=with_links(laid.tables[0], slug),
        days=days,
        files=laid.files,
        may_add=may(request.person, Right.RECORD),
    )
    return show(request, "farm/records/list.html", shown)


@page(Right.RECORD)
def add_record(request: PageRequest, slug: str) -> HttpResponse:
    kind = kind_or_refuse(request, slug)
    corrects = record_corrected(request, kind)
    form = RecordForm(
        request.POST if request.method == "POST" else None,
        kind=kind,
        farm=request.farm,
        initial=as_initial(corrects) if corrects else {"room": request.GET.get("room")},
        is_correction=corrects is not None,
    )
    if form.is_bound and form.is_valid():
        try:
            said = form.cleaned_data
            who = signed(request.person, said["initials"], said["pin"])
            kept = keep_record(who, form.stated(), corrects=corrects)
        except (Refused, UnitError) as refusal:
            form.add_error(None, str(refusal))
        else:
            late = " It is marked as recorded late." if kept.is_late else ""
            messages.success(request, f"{kind.title}: {kept}, signed {kept.initials}.{late}")
            return redirect("record-one", slug, kept.pk)
    return show(request, "farm/records/add.html", AddPage(kind, form, corrects))


@page(Right.READ)
def record_one(request: PageRequest, slug: str, pk: int) -> HttpResponse:
    kind = kind_or_refuse(request, slug)
    record = get_or_refuse(request, query.records(kind=slug), Right.READ, pk=pk)
    after, private = query.correction_of(record), query.private_of(record)
    is_owner = may(request.person, Right.CHANGE_FARM)
    was_erased = private is not None and private.erased_at is not None
    shown = OnePage(
        kind=kind,
        record=record,
        facts=facts_of(request, kind, record),
        is_struck=after is not None,
        after=after,
        may_review=is_owner and bool(kind.review) and query.review_of(record) is None
        and after is None,
        may_correct=may(request.person, Right.RECORD) and after is None and not was_erased,
        may_erase=is_owner and private is not None and not was_erased,
    )  # fmt: skip
    return show(request, "farm/records/one.html", shown)


@page(Right.READ)
def reviews(request: PageRequest) -> HttpResponse:
    waiting = [
        (BY_SLUG[record.kind], record, facts_of(request, BY_SLUG[record.kind], record))
        for record in query.to_review().order_by("happened_at")
    ]
    shown = ReviewPage(waiting, may(request.person, Right.CHANGE_FARM))
    return show(request, "farm/records/review.html", shown)


@require_POST
@page(Right.CHANGE_FARM)
def review_record(request: PageRequest, slug: str, pk: int) -> HttpResponse:
    record = get_or_refuse(request, query.records(kind=slug), Right.CHANGE_FARM, pk=pk)
    try:
        made = review(record, request.person)
    except Refused as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, f"{record} is signed a second time, by {made.initials}.")
    return redirect("records-review")


@require_POST
@page(Right.CHANGE_FARM)
def erase_record(request: PageRequest, slug: str, pk: int) -> HttpResponse:
    record = get_or_refuse(request, query.records(kind=slug), Right.CHANGE_FARM, pk=pk)
    try:
        erase_private(record, request.person)
    except Refused as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, f"What {record} said is erased; its number and time stay.")
    return redirect("record-one", slug, pk)


# --- helpers ---------------------------------------------------------------------------------


def kind_or_refuse(request: PageRequest, slug: str) -> RecordKind:
    """Find a kind; illness notes only for who may see them, before anything is looked up."""
    kind = BY_SLUG.get(slug)
    if kind is None:
        raise Http404
    if kind.owner_only:
        require(request, Right.SEE_ILLNESS)
    return kind


def record_corrected(request: PageRequest, kind: RecordKind) -> Record | None:
    pk = request.GET.get("corrects", "")
    if not pk.isdigit():
        return None
    return get_or_refuse(request, query.records(kind=kind.slug), Right.RECORD, pk=int(pk))


def as_initial(record: Record) -> dict[str, Any]:
    values = {**query.values_of(record), "when": timezone.localtime(record.happened_at)}
    return {**values, "room": record.room_id, "lot": record.lot}


def facts_of(request: PageRequest, kind: RecordKind, record: Record) -> list[tuple[str, str]]:
    values = query.values_of(record)
    farm = request.farm
    place = [("Room", str(record.room))] if record.room else []
    lot = [("Lot", record.lot.code)] if record.lot else []
    said = [(f.label, words_of(f, values.get(f.name), farm)) for f in kind.fields]
    second = [("Second signature", second_signature(record, farm))] if kind.review else []
    return [
        ("Farm", f"{farm.name}, {farm.place}"),
        ("Done", f"{timezone.localtime(record.happened_at):%Y-%m-%d %H:%M}"),
        *place,
        *lot,
        *[(label, words) for label, words in said if words],
        *([("Note", record.note)] if record.note else []),
        ("Signed", signature(record)),
        ("Recorded", f"{timezone.localtime(record.recorded_at):%Y-%m-%d %H:%M}"),
        *second,
        *([("State", state_words(record))] if state_words(record) else []),
    ]


def latest(gaps: list[Gap], most: int = 8) -> list[Gap]:
    return sorted(gaps, key=lambda gap: gap.last, reverse=True)[:most]


def with_links(table: ShownTable, slug: str) -> ShownTable:
    """Turn each record's number into the way to it, and put the newest first."""
    rows = tuple(
        (replace(row[0], address=reverse("record-one", args=[slug, row[0].words])),
         *row[1:])
        for row in reversed(table.rows)
    )  # fmt: skip
    return replace(table, rows=rows, struck=tuple(len(rows) - 1 - at for at in table.struck))
