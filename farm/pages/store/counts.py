"""Stock counts: count what is somewhere, hold it against the book, answer what differs."""

from dataclasses import dataclass, replace

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse

from farm.actions.common import Recorded
from farm.actions.recording import unfinished
from farm.actions.signing import Signed, signed
from farm.actions.store.counting import answer_difference, keep_count
from farm.models import Person, Room, StockCount
from farm.pages.access import PageRequest, Right, get_or_refuse, may, page
from farm.pages.frame import show
from farm.pages.from_phone import asks_for_json, in_json, receive_form
from farm.pages.kept_pages import may_be_kept
from farm.pages.recording.recording import follow_up
from farm.pages.report_files import answer_page, made_by, taken_away
from farm.pages.report_page import AnswerPage
from farm.pages.retrying import WaitingForm
from farm.pages.sending import Outcome, State, acted, words_of_errors
from farm.pages.sent_forms import sent_form
from farm.pages.store.count_forms import AnswersForm, CountForm, WhereForm
from farm.queries.recording.phone import came_from_phone
from farm.queries.store.counts import CountRow, checked_lines, count_rows, counts, lots_to_count
from farm.reports.store.count_rows import count_report, where_of
from ledger.errors import Refused

COUNT = "stock count"
COUNT_WAITS = WaitingForm(COUNT, lambda _: ("Stock count", reverse("count-start")))


@dataclass(frozen=True)
class CountsPage:
    rows: tuple[tuple[CountRow, str], ...]
    form: WhereForm


@dataclass(frozen=True)
class CountPage:
    """``answers``: the differences that are still open, if the reader may answer them."""

    count: StockCount
    answer: AnswerPage
    answers: AnswersForm | None


@dataclass(frozen=True)
class StartPage:
    """``refusal``: why it waits since it was sent from a phone."""

    where: str
    form: CountForm
    refusal: str


@page(Right.SEE_WORK)
def stock_counts(request: PageRequest) -> HttpResponse:
    rows = tuple((row, where_of(row.count)) for row in count_rows())
    return show(request, "farm/store/counts.html", CountsPage(rows, WhereForm(farm=request.farm)))


@page(Right.RECORD)
def count_start(request: PageRequest) -> HttpResponse:
    """List the lots of a place with a box each; what was found is kept as it was found.

    A phone keeps it without what the book says: that would be of its last visit.
    """
    sent = sent_form(request)
    where = WhereForm(sent.address, farm=request.farm)
    if not where.is_valid():
        return redirect("stock-counts")
    room, hidden = where.cleaned_data["room"], where.cleaned_data["hidden"]
    form = CountForm(
        sent.data,
        farm=request.farm,
        person=request.person,
        lots=lots_to_count(room, where.stages()),
        hidden=hidden,
    )
    if request.method == "POST":
        before = receive_form(request)
        if before is not None:
            return before
        outcome = _kept(form, room, request.person)
        if asks_for_json(request):
            return in_json(request, COUNT, outcome)
        if outcome.made is not None:
            messages.success(request, outcome.words[0])
            return redirect(outcome.address)
        outcome.write_on_form()
    refusal = sent.kept.refusal if sent.kept and request.method != "POST" else ""
    shown = StartPage(str(room) if room else "everywhere", form, refusal)
    response = show(request, "farm/store/count_start.html", shown)
    return may_be_kept(response) if hidden else response


def _kept(form: CountForm, room: Room | None, person: Person) -> Outcome[StockCount]:
    """Keep a count, unless it cannot be read, is asked about or is refused."""
    if not form.is_valid():
        return Outcome(State.WRONG, form, words_of_errors(form))
    outcome = acted(form, lambda: _keep(form, room), person)
    count = outcome.made
    if count is None:
        return outcome
    address = reverse("stock-count", args=[count.pk])
    return replace(outcome, words=(f"Stock count {count.pk} is kept.",), address=address)


def _keep(form: CountForm, room: Room | None) -> StockCount:
    """Keep a valid count, beside what was there when it was over; answer it where it waited."""
    form.sign()
    came = came_from_phone(form.cleaned_data["uuid"])
    counted = form.counted(room, came.kept_at if came else None)
    count = keep_count(Signed(form.person, form.typed_by or form.person), counted)
    unfinished.answered(counted.uuid, f"kept as {count}")
    return count


@page(Right.SEE_WORK)
def stock_count(request: PageRequest, pk: int) -> HttpResponse:
    """A count beside the book; each difference that is open can be answered."""
    count = get_or_refuse(request, counts(), Right.SEE_WORK, pk=pk)
    lines = checked_lines(count)
    report = count_report(count, lines, farm=request.farm, made=made_by(request))
    if (file := taken_away(request, report, f"stock-count-{pk}")) is not None:
        return file
    form = None
    if may(request.person, Right.RECORD) and any(one.is_open for one in lines):
        posted = request.POST if request.method == "POST" else None
        form = AnswersForm(posted, farm=request.farm, checked=lines)
        if form.is_bound and form.is_valid():
            _answer_all(request, form)
            if not form.errors:
                return redirect("stock-count", pk)
            lines, refused = checked_lines(count), form
            form = AnswersForm(posted, farm=request.farm, checked=lines)
            form.take_refusals(refused)
    answer = answer_page(request, report, codes_lead_to="lot")
    return show(request, "farm/store/count.html", CountPage(count, answer, form))


def _answer_all(request: PageRequest, form: AnswersForm) -> None:
    """Answer each difference for itself; a refusal stands at its row, the others are kept."""
    said = 0
    for one, doing, answered, note in form.answered(signed(request.person)):
        try:
            answer = answer_difference(doing, one.line, answered, note=note)
        except Refused as refusal:
            form.refuse(one, str(refusal))
            continue
        said += 1
        if answer.entry is not None:
            recorded = Recorded(answer.entry, (), fresh=True)
            words = follow_up(recorded, request.farm)
            messages.info(request, " ".join([f"Recorded as entry {answer.entry.seq}.", *words]))
    messages.success(request, f"{said} differences are answered.")
