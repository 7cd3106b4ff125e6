"""Decisions, each with its arithmetic shown: /decisions/<question>/, some of one month."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from django.http import Http404, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils import timezone

from farm.models import Species, Strain
from farm.pages.access import PageRequest, Right, page
from farm.pages.costs.decision_forms import KnownForm, SpeciesForm, StrainForm
from farm.pages.frame import show
from farm.pages.recording_form import FarmForm
from farm.pages.report_files import answer_page, handed_out, made_by, taken_away
from farm.pages.report_page import AnswerPage, Way
from farm.planning.decisions import DRYING_INPUTS, FLUSH_INPUTS, DryingCase, FlushCase
from farm.planning.inputs import Input, Known
from farm.planning.outlook import scorecard
from farm.queries.costs.card_choice import newest_batches
from farm.queries.costs.card_outcomes import CardOutcome, outcomes
from farm.queries.costs.decisions import drying_inputs, flush_inputs, usual_strain, weeks_of_dried
from farm.queries.growing.experience import experience_of
from farm.queries.growing.flushes import flushes_kept
from farm.queries.months.growing_losses import growing_losses
from farm.queries.months.months import Month, NoMonthError, month_of, months_kept
from farm.queries.months.steriliser_runs import runs_of
from farm.reports.costs.decision_rows import drying_report, drying_words, flush_report, flush_words
from farm.reports.months.running_rows import losses_report, runs_report
from farm.reports.report_heading import Made
from farm.reports.rows import Report
from ledger.errors import Refused


@dataclass(frozen=True)
class DecisionPage:
    """``asks_full``: the form asks whether the shelf is full, which it takes for granted."""

    title: str
    missing: str = ""
    choice: FarmForm | None = None
    numbers: KnownForm | None = None
    asks_full: bool = False
    is_full: bool = False
    refusal: str = ""
    headline: str = ""
    answer: AnswerPage | None = None


@dataclass(frozen=True)
class ScorePage:
    outcomes: tuple[CardOutcome, ...]
    inside: int
    of: int


@dataclass(frozen=True)
class NothingPage:
    title: str
    explained: str


@page(Right.SEE_COSTS)
def decision(request: PageRequest, which: str) -> HttpResponse:
    """Answer a question; one that is asked of a month leads to the newest that has entries."""
    question = _question(which)
    if question.answer:
        return question.answer(request)
    months = months_kept()
    if months:
        return HttpResponseRedirect(reverse("decision-of", args=[which, months[0].key]))
    nothing = NothingPage(question.asked, question.explained)
    return show(request, "farm/decisions/nothing.html", nothing)


@page(Right.SEE_COSTS)
def decision_of(request: PageRequest, which: str, key: str) -> HttpResponse:
    """Answer a question that is asked of a month."""
    question = _question(which)
    try:
        month = month_of(key)
    except NoMonthError as refusal:
        raise Http404(str(refusal)) from refusal
    if question.of_month is None:
        raise Http404("This question is not asked of a month.")
    others = tuple(
        Way(one.name, reverse("decision-of", args=[which, one.key]), is_here=one == month)
        for one in months_kept()[:12]
    )
    report = question.of_month(month, made_by(request))
    return handed_out(request, report, name=f"{which}-{month.key}", others=others)


def _question(which: str) -> "Question":
    if which not in QUESTIONS:
        raise Http404(f"“{which[:30]}” is no question here.")
    return QUESTIONS[which]


# --- with numbers to change ------------------------------------------------------------------


def second_flush(request: PageRequest) -> HttpResponse:
    batches = newest_batches()
    strain = usual_strain(batches)
    title = "Did the second flush pay for its shelf?"
    if strain is None:
        missing = "It needs a strain."
        return show(request, "farm/decisions/decision.html", DecisionPage(title, missing))
    form = StrainForm({"strain": strain.pk, **request.GET.dict()}, farm=request.farm)
    is_full = "counted" not in request.GET or "full" in request.GET
    shown = DecisionPage(title, choice=form, asks_full=True, is_full=is_full)

    def told(values: Mapping[str, int], made: Made) -> tuple[Report, str]:
        case = FlushCase(**values, shelf_is_full=is_full)
        report = flush_report(case, flushes_kept(own.grown), made, strain=str(chosen))
        return report, flush_words(case)

    if not form.is_valid():
        return show(request, "farm/decisions/decision.html", shown)
    chosen: Strain = form.cleaned_data["strain"]
    own = experience_of(chosen)
    known = flush_inputs(chosen, timezone.localdate(), own=own, batches=batches)
    asked = _Asked("second-flush", FLUSH_INPUTS, known, told)
    return _decided(request, shown, asked)


def drying(request: PageRequest) -> HttpResponse:
    title = "Dry it, discount it or bin it?"
    strain = usual_strain(newest_batches())
    first = strain.species if strain else Species.objects.first()
    if first is None:
        missing = "It needs a species."
        return show(request, "farm/decisions/decision.html", DecisionPage(title, missing))
    form = SpeciesForm({"species": first.pk, **request.GET.dict()}, farm=request.farm)
    shown = DecisionPage(title, choice=form)
    today = timezone.localdate()

    def told(values: Mapping[str, int], made: Made) -> tuple[Report, str]:
        chosen: Species = form.cleaned_data["species"]
        case = DryingCase(**values)
        report = drying_report(case, weeks_of_dried(chosen, today), made, species=str(chosen))
        return report, drying_words(case, made.currency)

    if not form.is_valid():
        return show(request, "farm/decisions/decision.html", shown)
    known = drying_inputs(form.cleaned_data["species"], today)
    return _decided(request, shown, _Asked("drying", DRYING_INPUTS, known, told))


@dataclass(frozen=True)
class _Asked:
    """A question's numbers, and how they are told once they are all there."""

    name: str
    inputs: Mapping[str, tuple[Input, ...]]
    known: Mapping[str, Known]
    told: Callable[[Mapping[str, int], Made], tuple[Report, str]]


def _decided(request: PageRequest, shown: DecisionPage, asked: _Asked) -> HttpResponse:
    """Work a decision out of what is known and typed; refusals stand above the answer."""
    numbers = KnownForm(request.GET, farm=request.farm, inputs=asked.inputs, known=asked.known)
    shown = replace(shown, numbers=numbers)
    if not numbers.is_valid():
        return show(request, "farm/decisions/decision.html", shown)
    try:
        report, words = asked.told(numbers.values(), made_by(request))
    except Refused as refusal:
        return show(request, "farm/decisions/decision.html", replace(shown, refusal=str(refusal)))
    if (file := taken_away(request, report, asked.name)) is not None:
        return file
    answered = replace(shown, headline=words, answer=answer_page(request, report))
    return show(request, "farm/decisions/decision.html", answered)


# --- by month --------------------------------------------------------------------------------


def _contamination(month: Month, made: Made) -> Report:
    return losses_report(growing_losses(month), made)


def _steriliser(month: Month, made: Made) -> Report:
    return runs_report(runs_of(month), made)


# --- whether cards came true -----------------------------------------------------------------


def came_true(request: PageRequest) -> HttpResponse:
    """Hold the saved ranges against what came true."""
    found = tuple(outcomes())
    inside, of = scorecard([one.came for one in found if one.came])
    return show(request, "farm/card/scores.html", ScorePage(found, inside, of))


# --- the questions ---------------------------------------------------------------------------


@dataclass(frozen=True)
class Question:
    """``answer``: the page of one asked at any time; ``of_month``: the report of a month's."""

    which: str
    asked: str
    explained: str
    answer: Callable[[PageRequest], HttpResponse] | None = None
    of_month: Callable[[Month, Made], Report] | None = None


QUESTIONS = {
    question.which: question
    for question in (
        Question(
            "second-flush",
            "Did the second flush pay for its shelf?",
            "From how many kilos a block is worth keeping, when the shelf is full and when it is "
            "not.",
            answer=second_flush,
        ),
        Question(
            "drying",
            "Dry it, discount it or bin it?",
            "At cash-up: what each leaves, and the dried price at which drying is as good.",
            answer=drying,
        ),
        Question(
            "contamination",
            "What did contamination cost?",
            "By stage and cause, at what was sunk when it was found, month by month.",
            of_month=_contamination,
        ),
        Question(
            "steriliser",
            "What does a half-full steriliser cost?",
            "What a bag costs by the load, and what room left empty cost, month by month.",
            of_month=_steriliser,
        ),
        Question(
            "came-true",
            "Did the cards come true?",
            "Each saved cost card beside the first batch that came after it.",
            answer=came_true,
        ),
    )
}
