"""The starting workbook: take the blank, look at a filled-in one, record it, take it back."""

import hashlib
from base64 import b64decode, b64encode
from binascii import Error as NotBase64
from dataclasses import dataclass, replace
from uuid import UUID, uuid4

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.http import require_POST

from farm.actions.common import Doing
from farm.actions.questions import PlausibilityQuestion
from farm.actions.starting.start_book import read_in, take_out
from farm.models import StartWorkbook
from farm.pages.access import PageRequest, Right, get_or_refuse, page
from farm.pages.asking_form import UndoForm
from farm.pages.frame import show
from farm.pages.lists import SPREADSHEET
from farm.pages.uploads import WORKBOOK, checked
from farm.queries.starting.start_books import ReadIn, read_in_of, start_books
from farm.reports.starting.start_sheets import start_workbook
from farm.start_book.reading import Problem, read_workbook
from farm.start_book.showing import SheetRead, sheets_read
from ledger.errors import Refused

SHOWN_PROBLEMS = 100


class FileForm(forms.Form):
    """``name``: what the file was called."""

    workbook = forms.FileField(label="The filled-in workbook (.xlsx)")
    name = ""

    def clean_workbook(self) -> bytes:
        file = self.cleaned_data["workbook"]
        self.name = file.name
        return checked(file, WORKBOOK)


class YesForm(forms.Form):
    """What the preview showed, sent back whole: it is read anew, so nothing can slip in."""

    content = forms.CharField(widget=forms.HiddenInput)
    name = forms.CharField(widget=forms.HiddenInput)
    uuid = forms.UUIDField(widget=forms.HiddenInput)
    sure = forms.BooleanField(label="Yes, that is all right", required=False)

    def clean_content(self) -> bytes:
        try:
            return b64decode(self.cleaned_data["content"], validate=True)
        except NotBase64:
            raise forms.ValidationError("The file did not arrive whole. Choose it again.") from None


@dataclass(frozen=True)
class StartPage:
    form: FileForm
    known: list[tuple[ReadIn, UndoForm]]


@dataclass(frozen=True)
class PreviewPage:
    name: str
    read: list[SheetRead]
    problems: list[Problem]
    more: int
    questions: list[Problem]
    yes: YesForm | None
    refusal: str


@page(Right.CHANGE_FARM)
def start_page(request: PageRequest) -> HttpResponse:
    """Hand the blank out, take a filled one in for a look, and then in for good."""
    if "content" in request.POST:
        return _read_in(request)
    form = FileForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        return preview(request, form.cleaned_data["workbook"], name=form.name)
    known = [(one, UndoForm(initial={"uuid": uuid4()})) for one in start_books()]
    status = 422 if form.is_bound else 200
    return show(request, "farm/start/start.html", StartPage(form, known), status=status)


@page(Right.CHANGE_FARM)
def start_blank(request: PageRequest) -> HttpResponse:
    return HttpResponse(
        start_workbook(request.farm, timezone.localtime()),
        content_type=SPREADSHEET,
        headers={"Content-Disposition": 'attachment; filename="starting-workbook.xlsx"'},
    )


def _read_in(request: PageRequest) -> HttpResponse:
    """Record what the preview showed."""
    form = YesForm(request.POST)
    if not form.is_valid():
        messages.error(request, "The file did not arrive whole. Choose it again.")
        return redirect("start-workbook")
    content, name = form.cleaned_data["content"], form.cleaned_data["name"]
    filled = read_workbook(content, request.farm, timezone.localdate())
    if filled.problems:
        return preview(request, content, name=name)
    doing = replace(_doing(request, form.cleaned_data["uuid"]), sure=form.cleaned_data["sure"])
    try:
        done = read_in(doing, filled, name=name, sha256=_sha256(content))
    except PlausibilityQuestion:
        return preview(request, content, name=name, asked="Answer what is asked below first.")
    except Refused as refusal:
        return preview(request, content, name=name, refusal=str(refusal))
    left = read_in_of(done)
    span = f", {done.first_seq} to {done.last_seq}" if left.has_entries else ""
    words = f"{left.entries} entries{span}" + (f", {left.orders} orders" if left.orders else "")
    messages.success(request, f"{name} is read in: {words}.")
    return redirect("start-workbook")


@require_POST
@page(Right.CHANGE_FARM)
def start_undo(request: PageRequest, pk: int) -> HttpResponse:
    """Take all entries of a workbook back, newest first."""
    found = get_or_refuse(request, StartWorkbook.objects.all(), Right.CHANGE_FARM, pk=pk)
    form = UndoForm(request.POST)
    if form.is_valid():
        doing = _doing(request, form.cleaned_data["uuid"], form.cleaned_data["reason"])
        try:
            count = take_out(doing, found)
        except Refused as refusal:
            messages.error(request, f"Nothing was taken back. {refusal}")
        else:
            messages.success(request, f"{found} is taken back: {count} entries and orders.")
    return redirect("start-workbook")


def preview(
    request: PageRequest, content: bytes, *, name: str, refusal: str = "", asked: str = ""
) -> HttpResponse:
    """Show row by row what would be recorded and what is doubtful, or what is wrong."""
    filled = read_workbook(content, request.farm, timezone.localdate())
    text = b64encode(content).decode()
    yes = YesForm(initial={"content": text, "name": name, "uuid": uuid4()})
    ready = not filled.problems and any(filled.rows.values()) and not refusal
    shown = PreviewPage(
        name=name,
        read=sheets_read(filled, request.farm),
        problems=filled.problems[:SHOWN_PROBLEMS],
        more=max(0, len(filled.problems) - SHOWN_PROBLEMS),
        questions=[] if filled.problems else filled.questions,
        yes=yes if ready else None,
        refusal=refusal or asked,
    )
    status = 200 if ready and not asked else 422
    return show(request, "farm/start/preview.html", shown, status=status)


def _doing(request: PageRequest, uuid: UUID, reason: str = "") -> Doing:
    return Doing(by=request.person, happened_at=timezone.now(), uuid=uuid, reason=reason)


def _sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()
