"""The binder of records: /records/, each kind's list, form and record, and the second signature."""

from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse, QueryDict
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from farm.actions.recording import unfinished
from farm.actions.records.records import erase_private, keep_record, review
from farm.actions.signing import signed
from farm.models import Person, Record, Room
from farm.pages import visible_rows
from farm.pages.access import PageRequest, Right, get_or_refuse, may, page, require
from farm.pages.addresses import number_named
from farm.pages.frame import show
from farm.pages.from_phone import asks_for_json, in_json, receive_form
from farm.pages.kept_pages import may_be_kept
from farm.pages.records.photos import Beside, beside
from farm.pages.records.record_forms import RecordForm, UsualDaysForm
from farm.pages.report_files import answer_page, made_by, taken_away
from farm.pages.report_page import ShownTable, Way
from farm.pages.retrying import WaitingForm
from farm.pages.sending import Outcome, State, acted, words_of_errors
from farm.pages.sent_forms import sent_form
from farm.pages.ways_out import lead_on
from farm.queries.records import records as query
from farm.queries.records.records import Gap, KindSummary
from farm.queries.records.store_temperatures import store_rooms
from farm.records import BY_SLUG, RecordKind
from farm.reports.records.record_rows import (
    gap_words,
    record_report,
    second_signature,
    signature,
    state_words,
    words_of,
)
from farm.templatetags.farm_format import moment
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
    days: UsualDaysForm
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
    beside: Beside


@dataclass(frozen=True)
class ReviewPage:
    waiting: list[tuple[RecordKind, Record, list[tuple[str, str]]]]
    may_sign: bool


@page(Right.SEE_SAFETY)
def records(request: PageRequest) -> HttpResponse:
    today = timezone.localdate()
    first, last = visible_rows.days(request.person, today - RECENT, today - query.ONE_DAY)
    gaps = query.missing_days(first, last, today=today)
    rows = visible_rows.records(request.person, query.records())
    shown = RecordsPage(
        kinds=query.summaries(rows, sees_illness=may(request.person, Right.SEE_ILLNESS)),
        gaps=[gap_words(gap) for gap in latest(gaps)],
        rooms=store_rooms(),
        waiting=visible_rows.records(request.person, query.to_review()).count(),
    )
    return show(request, "farm/records/index.html", shown)


@page(Right.SEE_SAFETY)
def record_list(request: PageRequest, slug: str) -> HttpResponse:
    """Show a kind's records of some days, newest first, or hand them out as a file."""
    kind = kind_or_refuse(request, slug)
    usual = visible_rows.usual_days(request.person, timezone.localdate(), USUAL)
    days = UsualDaysForm(request.GET, usual=usual)
    found = visible_rows.records(request.person, query.records(kind=slug))
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
    sent = sent_form(request)
    corrects = record_corrected(request, kind, sent.address)
    form = RecordForm(
        sent.data,
        kind=kind,
        farm=request.farm,
        initial=as_initial(corrects) if corrects else {"room": request.GET.get("room")},
        is_correction=corrects is not None,
    )
    lead_on(form, request.person, back=request.path)
    if request.method == "POST":
        if kind.owner_only and asks_for_json(request):
            raise PermissionDenied("Private records are written with a signal, and wait nowhere.")
        before = receive_form(request)
        if before is not None:
            return before
        outcome = record_kept(request, form, corrects)
        if asks_for_json(request):
            return in_json(request, RECORD + kind.slug, outcome)
        if outcome.made is not None:
            messages.success(request, outcome.words[0])
            return redirect(outcome.address)
        outcome.write_on_form()
    response = show(request, "farm/records/add.html", AddPage(kind, form, corrects))
    return response if kind.owner_only else may_be_kept(response)


def record_kept(request: PageRequest, form: RecordForm, corrects: Record | None) -> Outcome[Record]:
    """Keep what a form says, and answer it where it waited under To sort out."""
    if not form.is_valid():
        return Outcome(State.WRONG, form, words_of_errors(form))
    outcome = acted(form, lambda: signed_record(request.person, form, corrects), request.person)
    record = outcome.made
    if record is None:
        return outcome
    unfinished.answered(record.uuid, f"accepted as record {record.pk}")
    address = reverse("record-one", args=[form.kind.slug, record.pk])
    return replace(outcome, words=(said_of(form.kind, record),), address=address)


def signed_record(person: Person, form: RecordForm, corrects: Record | None) -> Record:
    said = form.cleaned_data
    return keep_record(
        signed(person, said["initials"], said["pin"]), form.stated(), corrects=corrects
    )


def said_of(kind: RecordKind, record: Record) -> str:
    late = " It is marked as recorded late." if record.is_late else ""
    return f"{kind.title}: {record}, signed {record.initials}.{late}"


def opened_again(slug: str) -> tuple[str, str] | None:
    kind = BY_SLUG.get(slug)
    return (kind.title, reverse("record-add", args=[slug])) if kind else None


RECORD = "record:"
RECORD_WAITS = WaitingForm(RECORD, opened_again)


@page(Right.SEE_SAFETY)
def record_one(request: PageRequest, slug: str, pk: int) -> HttpResponse:
    kind = kind_or_refuse(request, slug)
    rows = visible_rows.records(request.person, query.records(kind=slug))
    record = get_or_refuse(request, rows, Right.SEE_SAFETY, pk=pk)
    after, private = query.correction_of(record), query.private_of(record)
    is_owner = may(request.person, Right.CHANGE_FARM)
    was_erased = private is not None and private.erased_at is not None
    shown = OnePage(
        kind=kind,
        record=record,
        facts=facts_of(request, kind, record),
        is_struck=after is not None,
        after=after,
        may_review=is_owner
        and bool(kind.review)
        and query.review_of(record) is None
        and after is None,
        may_correct=may(request.person, Right.RECORD) and after is None and not was_erased,
        may_erase=is_owner and private is not None and not was_erased,
        beside=beside(request, record),
    )
    return show(request, "farm/records/one.html", shown)


@page(Right.SEE_SAFETY)
def reviews(request: PageRequest) -> HttpResponse:
    waiting = [
        (BY_SLUG[record.kind], record, facts_of(request, BY_SLUG[record.kind], record))
        for record in visible_rows.records(request.person, query.to_review()).order_by(
            "happened_at"
        )
    ]
    shown = ReviewPage(waiting, may(request.person, Right.CHANGE_FARM))
    return show(request, "farm/records/review.html", shown)


@require_POST
@page(Right.CHANGE_FARM)
def settle_record(request: PageRequest, slug: str, pk: int, *, what: str) -> HttpResponse:
    """Sign a record a second time, or erase what it says."""
    if what not in ("review", "erase"):
        raise Http404
    record = get_or_refuse(request, query.records(kind=slug), Right.CHANGE_FARM, pk=pk)
    return (_review if what == "review" else _erase)(request, record)


def _review(request: PageRequest, record: Record) -> HttpResponse:
    try:
        made = review(record, request.person)
    except Refused as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, f"{record} is signed a second time, by {made.initials}.")
    return redirect("records-review")


def _erase(request: PageRequest, record: Record) -> HttpResponse:
    try:
        erase_private(record, request.person)
    except Refused as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, f"What {record} said is erased; its number and time stay.")
    return redirect("record-one", record.kind, record.pk)


# --- helpers ---------------------------------------------------------------------------------


def kind_or_refuse(request: PageRequest, slug: str) -> RecordKind:
    """Find a kind; illness notes only for who may see them, before anything is looked up."""
    kind = BY_SLUG.get(slug)
    if kind is None:
        raise Http404
    if kind.owner_only:
        require(request, Right.SEE_ILLNESS)
    return kind


def record_corrected(request: PageRequest, kind: RecordKind, address: QueryDict) -> Record | None:
    pk = number_named(address.get("corrects", ""))
    if pk is None:
        return None
    return get_or_refuse(request, query.records(kind=kind.slug), Right.RECORD, pk=pk)


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
        ("Done", moment(record.happened_at)),
        *place,
        *lot,
        *[(label, words) for label, words in said if words],
        *([("Note", record.note)] if record.note else []),
        ("Signed", signature(record)),
        ("Recorded", moment(record.recorded_at)),
        *second,
        *([("State", state_words(record))] if state_words(record) else []),
    ]


def latest(gaps: list[Gap], most: int = 8) -> list[Gap]:
    return sorted(gaps, key=lambda gap: gap.last, reverse=True)[:most]


def with_links(table: ShownTable, slug: str) -> ShownTable:
    """Turn each record's number into the way to it, and put the newest first."""
    rows = tuple(
        (replace(row[0], address=reverse("record-one", args=[slug, row[0].words])), *row[1:])
        for row in reversed(table.rows)
    )
    return replace(table, rows=rows, struck=tuple(len(rows) - 1 - at for at in table.struck))
