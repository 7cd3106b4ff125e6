"""Wall sheets: /wall-sheets/ prints the day's rows for a pencil; a page is typed up as printed."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone

from farm.actions.recording import unfinished
from farm.actions.records.photos import Shrunk, add_photo, shrunk
from farm.pages.access import PageRequest, Right, page
from farm.pages.addresses import day_named
from farm.pages.clock import DayField
from farm.pages.day.wall_sheet_forms import FORMS, WallForm
from farm.pages.frame import show
from farm.pages.from_phone import asks_for_json
from farm.pages.kept_pages import may_be_kept
from farm.pages.recording.row_by_row import Done, record_rows, rows_from_phone
from farm.pages.retrying import WaitingForm
from farm.pages.sent_forms import sent_form
from farm.pages.uploads import PHOTO, checked
from farm.queries.day.wall_sheets import TITLES, SheetRow, in_pages, sheet_rows, with_recorded
from farm.reports.day.wall_sheet_pdf import WallSheet, wall_sheet_pdf
from ledger.errors import Refused

NOON = time(12)


class DayForm(forms.Form):
    day = DayField(label="Day")


@dataclass(frozen=True)
class Offered:
    """A sheet to print; ``pages``: where each page of it is typed up."""

    title: str
    rows: int
    paper: str
    pages: list[str]


@dataclass(frozen=True)
class SheetsPage:
    day: date
    form: DayForm
    sheets: list[Offered]


@dataclass(frozen=True)
class TypeUpPage:
    """``recorded``: what was recorded of this page just now. ``refusal``: why its rest waits."""

    title: str
    day: date
    number: int
    of: int
    form: WallForm
    recorded: tuple[str, ...]
    refusal: str


@page(Right.RECORD)
def wall_sheets(request: PageRequest) -> HttpResponse:
    today = timezone.localdate()
    form = DayForm(request.GET if "day" in request.GET else None, initial={"day": today})
    day = form.cleaned_data["day"] if form.is_bound and form.is_valid() else today
    offered = [_offered(sheet, day) for sheet in TITLES]
    return may_be_kept(show(request, "farm/wall/index.html", SheetsPage(day, form, offered)))


@page(Right.RECORD)
def wall_sheet(request: PageRequest, sheet: str, day: str) -> HttpResponse:
    """Hand a sheet out to print, without the lots that are empty by now."""
    rows, on = [row for row in _rows(sheet, day) if not row.is_empty], day_named(day)
    content = wall_sheet_pdf(
        WallSheet(sheet, on, f"/wall-sheets/{sheet}/{day}/", rows), request.farm
    )
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{sheet}-{day}.pdf"'
    return response


@page(Right.RECORD)
def type_up(request: PageRequest, sheet: str, day: str, *, number: int) -> HttpResponse:
    """Type one page of a sheet up; what was recorded leaves the form, the rest stays."""
    pages, on = in_pages(_rows(sheet, day)), day_named(day)
    if not 1 <= number <= len(pages):
        raise Http404
    rows = with_recorded(pages[number - 1], sheet, on)
    things = {row.key: row for row in rows}
    sent = sent_form(request)
    form = FORMS[sheet](
        sent.data,
        farm=request.farm,
        person=request.person,
        things=things,
        initial={"when": _usual_time(on)},
    )
    if request.method == "POST" and asks_for_json(request):
        return rows_from_phone(
            request,
            form,
            name=f"{WALL}{sheet}:{day}:{number}",
            said=lambda done: _said(form, done),
            leads_to=reverse("wall-sheets"),
        )
    done: dict[str, Done] = {}
    if request.method == "POST":
        done = _typed_up(request, form)
        if not form.errors:
            messages.success(request, _said(form, done))
            if number < len(pages):
                return redirect("wall-type-up", sheet, day, number + 1)
            return redirect(f"{reverse('wall-sheets')}?day={day}")
    left = form.without(list(done)) if done else form
    assert isinstance(left, WallForm)
    recorded = tuple(map(str, done.values()))
    refusal = sent.kept.refusal if sent.kept and request.method != "POST" else ""
    shown = TypeUpPage(TITLES[sheet], on, number, len(pages), left, recorded, refusal)
    return may_be_kept(show(request, "farm/wall/type_up.html", shown))


def _said(form: WallForm, done: Mapping[str, Done]) -> str:
    """Say what became of a page without anything wrong, and answer it where it waited."""
    said = ", ".join(map(str, done.values())) or "nothing, no row was filled in"
    unfinished.answered(form.cleaned_data["uuid"], f"typed up: {said}")
    return f"Recorded: {said}."


def _typed_up(request: PageRequest, form: WallForm) -> dict[str, Done]:
    """Record the rows, and keep the sheet's photo beside each entry that came of it."""
    file = request.FILES.get("photo")
    photo: Shrunk | None = None
    try:
        photo = shrunk(checked(file, PHOTO)) if file else None
    except (Refused, ValidationError) as refusal:
        words = refusal.messages if isinstance(refusal, ValidationError) else [str(refusal)]
        form.full_clean()
        form.add_error(None, words)
        return {}
    done = record_rows(request, form)
    if photo:
        _keep_beside(request, done.values(), photo)
    return done


def _keep_beside(request: PageRequest, done: Iterable[Done], photo: Shrunk) -> None:
    for one in done:
        try:
            add_photo(request.person, one.to, photo)
        except Refused as refusal:
            messages.error(request, str(refusal))


def _offered(sheet: str, day: date) -> Offered:
    rows = sheet_rows(sheet, day)
    return Offered(
        title=TITLES[sheet],
        rows=sum(not row.is_empty for row in rows),
        paper=reverse("wall-sheet", args=[sheet, str(day)]),
        pages=[
            reverse("wall-type-up", args=[sheet, str(day), at + 1])
            for at, _ in enumerate(in_pages(rows))
        ],
    )


def _rows(sheet: str, day: str) -> list[SheetRow]:
    if sheet not in TITLES:
        raise Http404(f"There is no sheet {sheet}.")
    return sheet_rows(sheet, day_named(day))


def _opened_again(name: str) -> tuple[str, str]:
    sheet, *page_of_day = name.split(":")
    return TITLES[sheet], reverse("wall-type-up", args=[sheet, *page_of_day])


# Before the sheet, day and page of what is typed up.
WALL = "wall:"
WALL_WAITS = WaitingForm(WALL, _opened_again)


def _usual_time(day: date) -> datetime:
    """Now on the day itself, noon on another: no hour is known."""
    now = timezone.localtime().replace(second=0, microsecond=0)
    if day == now.date():
        return now
    return datetime.combine(day, NOON, tzinfo=timezone.get_current_timezone())
