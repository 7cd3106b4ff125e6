"""What is shown as a report: the binder, a store's temperature, the readings of a run."""

from dataclasses import dataclass
from datetime import timedelta

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone

from farm.actions.records.run_readings import attach_readings
from farm.actions.signing import signed
from farm.kinds.growing import PRESSURE, STERILISER_RUN
from farm.models import Room, RunReadings
from farm.pages import visible_rows
from farm.pages.access import PageRequest, Right, get_or_refuse, may, page
from farm.pages.frame import show
from farm.pages.records.record_forms import ReadingsForm, UsualDaysForm
from farm.pages.report_files import answer_page, made_by, taken_away
from farm.pages.report_page import AnswerPage, Way
from farm.queries.records.run_readings import course_of, readings_of
from farm.queries.records.store_temperatures import store_rooms
from farm.reports.files import MEDIA_TYPES
from farm.reports.records.binder_pdf import binder_pdf
from farm.reports.records.binder_rows import (
    STANDING_CAUTION,
    Span,
    binder_cover,
    binder_report,
    sections,
    store_content,
)
from farm.reports.records.run_rows import run_content
from farm.reports.report_heading import Made
from farm.reports.rows import Content, Report
from farm.reports.xlsx import workbook_bytes
from ledger.errors import Refused
from ledger.models import Entry

A_YEAR, A_MONTH = timedelta(days=364), timedelta(days=30)


@dataclass(frozen=True)
class BinderPage:
    form: UsualDaysForm
    titles: list[str]


@dataclass(frozen=True)
class StorePage:
    """A store's report, the days it is of, and the other stores."""

    room: Room
    answer: AnswerPage
    days: UsualDaysForm


@dataclass(frozen=True)
class RunPage:
    """A run's readings as they stand; ``struck``: earlier sets, kept and no longer standing."""

    entry: Entry
    answer: AnswerPage | None
    struck: list[RunReadings]
    may_add: bool


@dataclass(frozen=True)
class AddReadingsPage:
    entry: Entry
    form: ReadingsForm
    caution: str


@page(Right.SEE_SAFETY)
def binder(request: PageRequest) -> HttpResponse:
    """Ask for the days; hand the binder out as PDF or spreadsheet."""
    form = _days_form(request, A_YEAR)
    ending = request.GET.get("file", "")
    span = _span(request, form)
    if span is None:
        return show(request, "farm/records/binder.html", BinderPage(form, []))
    if ending not in MEDIA_TYPES:
        titles = [section.title for section in sections(span, request.farm)]
        return show(request, "farm/records/binder.html", BinderPage(form, titles))
    response = HttpResponse(binder_file(span, request, ending), content_type=MEDIA_TYPES[ending])
    name = f"binder-{span.first}-{span.last}.{ending}"
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


def binder_file(span: Span, request: PageRequest, ending: str) -> bytes:
    farm, made = request.farm, made_by(request)
    if ending == "pdf":
        return binder_pdf(binder_cover(span, farm, made), sections(span, farm))
    return workbook_bytes(binder_report(span, farm, made))


@page(Right.SEE_SAFETY)
def store(request: PageRequest, pk: int) -> HttpResponse:
    room = get_or_refuse(request, Room.objects.all(), Right.SEE_SAFETY, pk=pk)
    days = _days_form(request, A_MONTH)
    content = Content(())
    words = ""
    span = _span(request, days)
    if span:
        content, words = store_content(room, span, request.farm), str(span)
    report = report_of(f"Temperature of {room}", words, content, made=made_by(request))
    file = taken_away(request, report, f"temperature-{room.pk}")
    if file:
        return file
    others = tuple(
        Way(str(other), reverse("store", args=[other.pk]), is_here=other == room)
        for other in store_rooms()
    )
    shown = answer_page(request, report, others=others, codes_lead_to="lot")
    return show(request, "farm/records/store.html", StorePage(room, shown, days))


def _days_form(request: PageRequest, back: timedelta) -> UsualDaysForm:
    usual = visible_rows.usual_days(request.person, timezone.localdate(), back)
    return UsualDaysForm(request.GET, usual=usual)


def _span(request: PageRequest, form: UsualDaysForm) -> Span | None:
    """The days asked for, as far as the person may see them; None, said on the form, if none."""
    if not form.is_valid():
        return None
    first, last = visible_rows.days(
        request.person, form.cleaned_data["first"], form.cleaned_data["last"]
    )
    if first > last:
        shown = visible_rows.span_words(request.person)
        form.add_error("first", f"Your sign-in shows other days: {shown}.")
        return None
    return Span(first, last)


@page(Right.SEE_SAFETY)
def run_readings(request: PageRequest, seq: int) -> HttpResponse:
    rows = visible_rows.entries(request.person, Entry.objects.filter(kind=STERILISER_RUN))
    entry = get_or_refuse(request, rows, Right.SEE_SAFETY, pk=seq)
    sets = readings_of(entry)
    answer = None
    if sets:
        content = run_content(course_of(sets[-1], request.farm), request.farm)
        report = report_of(
            f"Readings of run {seq}", f"{sets[-1].probe}", content, made=made_by(request)
        )
        file = taken_away(request, report, f"run-{seq}")
        if file:
            return file
        answer = answer_page(request, report)
    shown = RunPage(entry, answer, sets[:-1], may(request.person, Right.RECORD))
    return show(request, "farm/records/run.html", shown)


@page(Right.RECORD)
def add_readings(request: PageRequest, seq: int) -> HttpResponse:
    entry = get_or_refuse(request, Entry.objects.filter(kind=STERILISER_RUN), Right.RECORD, pk=seq)
    form = ReadingsForm(
        request.POST if request.method == "POST" else None,
        request.FILES,
        farm=request.farm,
        start=entry.happened_at,
    )
    if form.is_bound and form.is_valid():
        said = form.cleaned_data
        try:
            who = signed(request.person, said["initials"], said["pin"])
            attach_readings(
                who, entry, readings=form.readings, source=form.source(), uuid=said["uuid"]
            )
        except Refused as refusal:
            form.add_error(None, str(refusal))
        else:
            below = f" Left out below them: {'; '.join(form.left_out)}." if form.left_out else ""
            kept = f"{len(form.readings)} readings are kept with run {seq}."
            messages.success(request, f"{kept}{below}")
            return redirect("run-readings", seq)
    return show(request, "farm/records/readings.html", AddReadingsPage(entry, form, PRESSURE))


def report_of(title: str, subtitle: str, content: Content, *, made: Made) -> Report:
    return Report(
        title=title,
        subtitle=subtitle,
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        tables=content.tables,
        drawings=content.drawings,
        cautions=(STANDING_CAUTION,),
        currency=made.currency,
    )
