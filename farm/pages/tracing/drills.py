"""Traceability drills: a year's list, start one, answer what is missing, sign."""

from dataclasses import dataclass
from datetime import timedelta
from uuid import uuid4

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from farm.actions.common import Doing
from farm.actions.tracing.drilling import sign_drill, start_drill
from farm.models import Drill
from farm.pages import visible_rows
from farm.pages.access import PageRequest, Right, get_or_refuse, may, page
from farm.pages.addresses import number_named
from farm.pages.frame import show
from farm.pages.report_files import answer_page, made_by, taken_away
from farm.pages.report_page import AnswerPage
from farm.pages.tracing.reach import names_for
from farm.pages.tracing.recall_forms import SignForm, StartForm
from farm.queries.finding import UnknownLotError, find_lot
from farm.queries.tracing.drills import drilled_of, drills_kept, lot_by_chance, sold_lots
from farm.reports.tracing.drill_rows import drill_report, drills_report, signature_of
from ledger.errors import Refused
from ledger.models import Lot

YEAR = timedelta(days=365)


@dataclass(frozen=True)
class DrillsPage(AnswerPage):
    """``year``: the one listed; ``years``: those with drills; ``drills``: this year's."""

    form: StartForm
    year: int
    years: list[int]
    drills: list[Drill]


@dataclass(frozen=True)
class DrillPage(AnswerPage):
    number: int
    form: SignForm | None


@page(Right.SEE_SAFETY, to_send=Right.RECORD)
def drills(request: PageRequest) -> HttpResponse:
    if request.method == "POST":
        return _start(request)
    given = {"uuid": uuid4(), "code": request.GET.get("code", "")}
    return _list(request, StartForm(initial=given))


def _start(request: PageRequest) -> HttpResponse:
    """Start the clock, trace the lot named or picked by chance, keep the lists."""
    started = timezone.now()
    form = StartForm(request.POST)
    if form.is_valid():
        try:
            lot = _lot(form.cleaned_data["code"])
        except ValidationError as refusal:
            form.add_error("code", refusal)
        else:
            doing = Doing(by=request.person, happened_at=started, uuid=form.cleaned_data["uuid"])
            drill = start_drill(doing, lot, by_chance=not form.cleaned_data["code"].strip())
            return redirect("drill", drill.number)
    return _list(request, form)


@page(Right.SEE_SAFETY, to_send=Right.RECORD)
def drill(request: PageRequest, number: int) -> HttpResponse:
    """Show a drill, with the form to sign while it is not signed."""
    if request.method == "POST":
        return _sign(request, number)
    found = get_or_refuse(
        request, visible_rows.drills(request.person, drills_kept()), Right.SEE_SAFETY, number=number
    )
    unsigned = signature_of(found) is None and may(request.person, Right.RECORD)
    form = SignForm(questions=drilled_of(found).missing) if unsigned else None
    return _shown(request, found, form)


def _sign(request: PageRequest, number: int) -> HttpResponse:
    found = get_or_refuse(request, drills_kept(), Right.RECORD, number=number)
    questions = drilled_of(found).missing
    form = SignForm(request.POST, questions=questions)
    if form.is_valid():
        doing = Doing(by=request.person, happened_at=timezone.now(), uuid=uuid4())
        try:
            sign_drill(doing, found, missing=len(questions), signed=form.signed())
        except Refused as refusal:
            form.add_error("initials", str(refusal))
        else:
            messages.success(request, f"Drill {number} is signed and kept.")
            return redirect("drill", number)
    return _shown(request, found, form)


def _lot(typed: str) -> Lot:
    """Find the lot to drill: the one with a code, or one by chance of the last year."""
    if not typed.strip():
        lot = lot_by_chance(timezone.localdate() - YEAR)
        if lot is None:
            raise ValidationError("Nothing was sold in the last year: there is no lot to drill.")
        return lot
    try:
        found = find_lot(typed)
    except UnknownLotError as refusal:
        raise ValidationError(str(refusal)) from refusal
    if not sold_lots().filter(pk=found.pk).exists():
        raise ValidationError(f"Nothing of lot {found.code} was sold. Name a lot that was.")
    return found


def _list(request: PageRequest, form: StartForm) -> HttpResponse:
    every = list(drills_kept())
    this_year = timezone.localdate().year
    begun = {timezone.localtime(one.started_at).year for one in every}
    years = sorted(begun | {this_year}, reverse=True)
    asked = number_named(request.GET.get("year", ""))
    year = asked if asked in years else this_year
    listed = [one for one in every if timezone.localtime(one.started_at).year == year]
    report = drills_report(listed, made_by(request), year=year, zone=request.farm.zone)
    file = taken_away(request, report, f"drills-{year}")
    answer = answer_page(request, report, codes_lead_to="trace-of")
    shown = DrillsPage(**vars(answer), form=form, year=year, years=years, drills=listed)
    status = 422 if form.is_bound else 200
    return file or show(request, "farm/reach/drills.html", shown, status=status)


def _shown(request: PageRequest, found: Drill, form: SignForm | None) -> HttpResponse:
    names = names_for(request, drilled_of(found).forward)
    report = drill_report(found, made_by(request), names=names, zone=request.farm.zone)
    file = taken_away(request, report, f"drill-{found.number}")
    answer = answer_page(request, report, codes_lead_to="trace-of")
    shown = DrillPage(**vars(answer), number=found.number, form=form)
    status = 422 if form and form.is_bound else 200
    return file or show(request, "farm/reach/drill.html", shown, status=status)
