"""Decisions, each with its arithmetic shown: /decisions/ lists them; each stands below it."""

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
from farm.queries.costs.card_choice import newest_batches
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
class Question:
    asked: str
    explained: str
    address: str


@dataclass(frozen=True)
class DecisionsPage:
    questions: tuple[Question, ...]


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
class NothingPage:
    title: str
    explained: str


QUESTIONS = (
    ("Did the second flush pay for its shelf?",
     "From how many kilos a block is worth keeping, when the shelf is full and when it is not.",
     "second-flush"),
    ("Dry it, discount it or bin it?",
     "At cash-up: what each leaves, and the dried price at which drying is as good.", "drying"),
    ("What did contamination cost?",
     "By stage and cause, at what was sunk when it was found, month by month.", "contamination"),
    ("What does a half-full steriliser cost?",
     "What a bag costs by the load, and what room left empty cost, month by month.",
     "steriliser-runs"),
    ("What was planned, and what came of it?",
     "A batch or a month against its plan: price, quantity, loss, yield.", "against-plan"),
    ("What should I ask for a kilo?", "The cost card: before the first block is filled.", "card"),
)  # fmt: skip


@page(Right.SEE_COSTS)
def decisions(request: PageRequest) -> HttpResponse:
    questions = [Question(asked, told, reverse(name)) for asked, told, name in QUESTIONS]
    return show(request, "farm/decisions/index.html", DecisionsPage(tuple(questions)))


# --- with numbers to change ------------------------------------------------------------------


@page(Right.SEE_COSTS)
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


@page(Right.SEE_COSTS)
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


@page(Right.SEE_COSTS)
def contamination(request: PageRequest) -> HttpResponse:
    return _newest_month(request, "contamination-of", QUESTIONS[2])


@page(Right.SEE_COSTS)
def contamination_of(request: PageRequest, key: str) -> HttpResponse:
    month = _month(key)
    report = losses_report(growing_losses(month), made_by(request))
    others = _months("contamination-of", month)
    return handed_out(request, report, name=f"contamination-{month.key}", others=others)


@page(Right.SEE_COSTS)
def steriliser_runs(request: PageRequest) -> HttpResponse:
    return _newest_month(request, "steriliser-runs-of", QUESTIONS[3])


@page(Right.SEE_COSTS)
def steriliser_runs_of(request: PageRequest, key: str) -> HttpResponse:
    month = _month(key)
    report = runs_report(runs_of(month), made_by(request))
    others = _months("steriliser-runs-of", month)
    return handed_out(request, report, name=f"steriliser-{month.key}", others=others)


def _newest_month(request: PageRequest, name: str, asked: tuple[str, str, str]) -> HttpResponse:
    """Go to the newest month with entries; without one, say that there is none."""
    months = months_kept()
    if months:
        return HttpResponseRedirect(reverse(name, args=[months[0].key]))
    title, explained, _ = asked
    return show(request, "farm/decisions/nothing.html", NothingPage(title, explained))


def _months(name: str, here: Month) -> tuple[Way, ...]:
    return tuple(
        Way(month.name, reverse(name, args=[month.key]), is_here=month == here)
        for month in months_kept()[:12]
    )


def _month(key: str) -> Month:
    try:
        return month_of(key)
    except NoMonthError as refusal:
        raise Http404(str(refusal)) from refusal
