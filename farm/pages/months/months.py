"""Months and years: /month/ asks which, /month/2026-10/ shows one, /days/ any days, /year/2026/."""

from dataclasses import dataclass
from datetime import MAXYEAR, MINYEAR

from django.http import Http404, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode

from farm.pages.access import PageRequest, Right, page
from farm.pages.frame import show
from farm.pages.months.closing import month_answer, naming_customers
from farm.pages.months.span_forms import SpanForm
from farm.pages.report_files import answer_page, handed_out, made_by, taken_away
from farm.pages.report_page import AnswerPage, Way
from farm.queries.months.closings import closings
from farm.queries.months.months import Month, NoMonthError, Only, Span, month_of
from farm.queries.months.years import same_week_last_year, week_of, week_sums, year_as_shown
from farm.queries.roll_forward import rolled_by_month
from farm.reports.months.closing_rows import days_report
from farm.reports.months.year_rows import year_report


@dataclass(frozen=True)
class AskMonthPage:
    refusal: str
    typed: str
    months: tuple[Month, ...]
    years: tuple[int, ...]


@dataclass(frozen=True)
class DaysPage:
    """What is asked for, and the answer once it is."""

    form: SpanForm
    answer: AnswerPage | None


@page(Right.SEE_SALES)
def month(request: PageRequest) -> HttpResponse:
    typed, refusal = request.GET.get("month", ""), ""
    if typed:
        try:
            return HttpResponseRedirect(reverse("month-of", args=[month_of(typed).key]))
        except NoMonthError as error:
            refusal = str(error)
    months = tuple(closings().shown)
    years = tuple(sorted({one.first.year for one in months}, reverse=True))
    shown = AskMonthPage(refusal, typed, months, years)
    return show(request, "farm/answers/ask_month.html", shown)


@page(Right.SEE_SALES)
def month_shown(request: PageRequest, key: str) -> HttpResponse:
    """Show a month; the one before and the one after it, and its year, are a step away."""
    try:
        asked = month_of(key)
    except NoMonthError as refusal:
        raise Http404(str(refusal)) from refusal
    known = closings()
    kept = sorted(known.shown, key=lambda one: one.first)
    beside = [
        *[one for one in kept if one.first < asked.first][-1:],
        *[one for one in kept if one.first > asked.first][:1],
    ]
    days = urlencode({"first": f"{asked.first}", "last": f"{asked.last}"})
    others = (
        *(Way(one.name, reverse("month-of", args=[one.key])) for one in beside),
        Way(str(asked.first.year), reverse("year", args=[asked.first.year])),
        Way("One species or place", f"{reverse('days')}?{days}"),
        Way("Where it went", f"{reverse('where')}?{days}"),
        Way("Against plan", reverse("against-of", args=[asked.key])),
    )
    return month_answer(request, asked, known=known, others=others)


@page(Right.SEE_SALES)
def days(request: PageRequest) -> HttpResponse:
    """Show any days as a month is shown, perhaps of one species or one selling place."""
    form = SpanForm(request.GET)
    if not form.is_valid():
        return show(request, "farm/answers/days.html", DaysPage(form, None))
    said = form.cleaned_data
    span = Span(said["first"], said["last"])
    only = Only(said["species"], said["place"])
    report = days_report(span, only, made_by(request))
    taken = taken_away(request, report, f"days-{span.key}")
    shown = DaysPage(form, answer_page(request, naming_customers(request, report)))
    return taken or show(request, "farm/answers/days.html", shown)


@page(Right.SEE_SALES)
def year(request: PageRequest, number: int) -> HttpResponse:
    """Show a year's months side by side, and this week beside the same week a year ago."""
    if not MINYEAR < number < MAXYEAR:
        raise Http404(f"{number} is no year.")
    week = week_of(timezone.localdate())
    before = same_week_last_year(week)
    weeks = [
        ("This week", week, week_sums(week)),
        ("This week last year", before, week_sums(before)),
    ]
    known = closings()
    begins = known.known[0] if known.known else None
    report = year_report(
        number,
        year_as_shown(number),
        weeks=weeks,
        begins=begins,
        made=made_by(request),
        rolled=rolled_by_month(number),
    )
    kept = {one.first.year for one in known.shown} - {number}
    others = tuple(Way(str(other), reverse("year", args=[other])) for other in sorted(kept))
    return handed_out(request, report, name=f"year-{number}", others=others)
