"""The one view that records: it shows an action's form, and sends it through its action.

GET shows the form, prefilled from the address. POST parses it, calls the action and goes to the
entry's page. What the action refuses stands above the form, with everything typed kept.
"""

from collections.abc import Container
from dataclasses import dataclass

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse

from farm.actions.common import Recorded
from farm.actions.questions import PlausibilityQuestion
from farm.actions.recording import unfinished
from farm.actions.recording.unfinished import Kept
from farm.models import Farm, Person
from farm.pages import from_phone, retrying
from farm.pages.access import STALL, PageRequest, Right, may, page, require
from farm.pages.deeds import BY_SLUG, Deed, deeds_by_group
from farm.pages.filling import Sent, chosen, filled_form, first_step
from farm.pages.frame import show
from farm.pages.kept_pages import is_keeping, may_be_kept, without_money
from farm.pages.recording.read_back import said_of
from farm.pages.recording.refilled_forms import go_on, remember, sent_again, stop
from farm.pages.recording.sorting_out import QUESTION, WAY, WHY
from farm.pages.recording_form import DoingForm, FirstForm
from farm.pages.ways_out import ShownWay, kept_way, shown, way_elsewhere, ways_out
from farm.queries.entries import entry_of, lots_touched
from farm.queries.months.closings import late_for
from farm.units import UnitError
from ledger.errors import Conflict, NotEnough, OnHold, Refused

# A form with this field names customers: a phone keeps it for a short time.
PEOPLE = "customer"


@dataclass(frozen=True)
class RecordPage:
    groups: list[tuple[str, list[Deed]]]


@dataclass(frozen=True)
class FirstPage:
    """``refusal``: why a form waits unfinished whose first step must be answered anew."""

    deed: Deed
    form: FirstForm
    refusal: str


@dataclass(frozen=True)
class Given:
    """``words`` is blank on a page that is kept for any answer: its script says it."""

    name: str
    label: str
    words: str


@dataclass(frozen=True)
class FormPage:
    """``given``: what the first step said, in words. ``refusal``: why it waits unfinished."""

    deed: Deed
    form: DoingForm
    given: list[Given]
    refusal: str
    ways_on: list[ShownWay]


@page(*STALL)
def record_index(request: PageRequest) -> HttpResponse:
    return show(request, "farm/record/index.html", RecordPage(deeds_by_group(request.person)))


@page(*STALL)
def record(request: PageRequest, slug: str) -> HttpResponse:
    deed = BY_SLUG.get(slug)
    if deed is None:
        raise Http404
    require(request, *deed.rights)
    kept = retrying.kept_under(request.GET.get("waiting"))
    sent = retrying.as_sent(kept.data, request.GET) if kept else sent_again(request)
    refusal = kept.refusal if kept else ""
    if request.method == "POST":
        sent = Sent(sent.address, request.POST)
    first = first_step(
        deed, sent.address, farm=request.farm, person=request.person, keeping=is_keeping(request)
    )
    if from_phone.asks_for_json(request) and request.method == "POST":
        return record_from_phone(request, deed, first, sent=sent)
    if first is not None and not first.is_valid():
        asking = FirstPage(deed, first, refusal)
        return keepable(deed, show(request, "farm/record/first.html", asking))
    person = without_money(request.person) if is_keeping(request) else request.person
    last = request.session.get(last_key(request, deed), {}) if not sent.data else {}
    form = filled_form(deed, sent, farm=request.farm, person=person, first=first, last=last)
    if request.method != "POST" and kept and QUESTION in kept.data.get(WHY, []):
        form.ask(kept.refusal)  # an answer is asked anew by the action, if it still must be
    if request.method == "POST":
        done = send(request, deed, form)
        if done is not None:
            return done
    filled = FormPage(deed, form, words_of(first), refusal, led_on(request, form, kept))
    response = show(request, deed.template, filled)
    return keepable(deed, response, form.fields)


def last_key(request: PageRequest, deed: Deed) -> str:
    """Under which name a session keeps what a person last chose in a form."""
    return f"last-{request.person.pk}-{deed.slug}"


def keepable(deed: Deed, response: HttpResponse, fields: Container[str] = ()) -> HttpResponse:
    return may_be_kept(response, names_customers=deed.names_customers or PEOPLE in fields)


def send(request: PageRequest, deed: Deed, form: DoingForm) -> HttpResponse | None:
    """Record what was sent and go to its entry; None: the form must be shown again."""
    if not form.is_valid():
        known = entry_of(request.POST.get("uuid", ""))
        if known is None:
            return None
        messages.warning(request, "This form was recorded before; nothing was written twice.")
        return redirect(deed.leads_to, known.seq)
    recorded = recorded_or_refused(request, deed, form)
    if recorded is None:
        return None
    request.session[last_key(request, deed)] = chosen(form)
    remember(request, form, deed=deed, key=str(recorded.entry.seq))
    said = said_of(deed, recorded, request.farm, person=request.person)
    messages.success(request, said)
    for words in [*follow_up(recorded, request.farm), *go_on(request, deed)]:
        messages.info(request, words)
    return redirect(deed.leads_to, recorded.entry.seq)


def follow_up(recorded: Recorded, farm: Farm) -> list[str]:
    """Answer what waited for a fresh entry; say so in words, and where it came late."""
    if not recorded.fresh:
        return []
    unfinished.answered(recorded.entry.uuid, f"accepted as entry {recorded.entry.seq}")
    closed = late_for(recorded.entry)
    late = [f"It belongs to closed {closed}: accepted, and shown since closing."] if closed else []
    waited = retrying.retry(lots_touched(recorded.entry), farm)
    return late + [f"It waited: {said_of(deed, accepted, farm)}" for deed, accepted in waited]


def record_from_phone(
    request: PageRequest, deed: Deed, first: FirstForm | None, *, sent: Sent
) -> HttpResponse:
    """Record what waited on a telephone; whatever is not entered is kept under To sort out."""
    before = from_phone.receive_form(request)
    if before is not None:
        return before
    known = entry_of(request.POST.get("uuid", ""))
    if first is not None and not first.is_valid():
        return from_phone.error(request, deed.slug, from_phone.words_of_errors(first))
    form = filled_form(deed, sent, farm=request.farm, person=request.person, first=first)
    if not form.is_valid():
        if known is not None:
            return from_phone.entered("It was recorded before.", address_of(deed, known.seq))
        return from_phone.error(request, deed.slug, from_phone.words_of_errors(form))
    return answer_phone(request, deed, form)


def answer_phone(request: PageRequest, deed: Deed, form: DoingForm) -> HttpResponse:
    """Send a valid form through its action, and say in JSON what became of it."""
    try:
        form.sign()
        recorded = form.run(form.doing())
    except PlausibilityQuestion as refusal:
        asked = asked_of(request.person, refusal)
        return from_phone.question(request, deed.slug, asked, instead=refusal.instead)
    except (NotEnough, OnHold, Conflict) as refusal:
        retrying.keep(deed, form, refusal=refusal, address=request.GET)
        return from_phone.kept(str(refusal))
    except ValidationError as refusal:
        return from_phone.error(request, deed.slug, " ".join(refusal.messages))
    except (Refused, UnitError) as refusal:
        return from_phone.error(request, deed.slug, str(refusal), refusal=refusal)
    remember(request, form, deed=deed, key=str(recorded.entry.seq))
    said = said_of(deed, recorded, request.farm, person=request.person)
    words = [said, *follow_up(recorded, request.farm)]
    return from_phone.entered(" ".join(words), address_of(deed, recorded.entry.seq))


def asked_of(person: Person, question: PlausibilityQuestion) -> str:
    """Word a question for somebody, as far as they may see prices and orders."""
    return question.worded(money=may(person, Right.SEE_SALES), orders=may(person, Right.SEE_ORDERS))


def address_of(deed: Deed, seq: int) -> str:
    return reverse(deed.leads_to, args=[seq])


def recorded_or_refused(request: PageRequest, deed: Deed, form: DoingForm) -> Recorded | None:
    """Send a valid form through its action; a refusal is written above the form."""
    try:
        form.sign()
    except Refused as refusal:
        form.add_error("pin", str(refusal))
        return None
    try:
        return form.run(form.doing())
    except PlausibilityQuestion as question:
        form.refused = question.instead
        form.stopped_at = stop(request, form, deed) if question.instead else ""
        form.ask(asked_of(request.person, question))
    except (NotEnough, OnHold, Conflict) as refusal:
        form.refused = refusal
        retrying.keep(deed, form, refusal=refusal, address=request.GET)
        if form.counts_up and isinstance(refusal, NotEnough) and refusal.lots:
            form.ask(str(refusal), "count_up")
        else:
            form.add_error(None, f"{refusal} The form is kept under To sort out.")
    except ValidationError as refusal:
        form.add_error(None, refusal.messages)
    except (Refused, UnitError) as refusal:
        form.refused = refusal
        form.stopped_at = stop(request, form, deed) if way_elsewhere(refusal) else ""
        form.add_error(None, str(refusal))
    return None


def led_on(request: PageRequest, form: DoingForm, kept: Kept | None) -> list[ShownWay]:
    """Lead out of what was just refused, or out of why the form waits."""
    if form.refused is not None:
        return shown(ways_out(form.refused, form.stopped_at), request.person)
    waits = kept.data.get(WAY) if kept and request.method != "POST" else None
    return shown([kept_way(waits)], request.person) if waits else []


def words_of(first: FirstForm | None) -> list[Given]:
    said = first.cleaned_data if first else {}
    return [
        Given(field.name, str(field.label), str(said[field.name] or "")) for field in first or ()
    ]
