"""The one view that records: a form is opened, or sent on its way and shown what became of it.

A form that is sent takes four steps, for a page and for a telephone alike: it is parsed, its
action asks about doubtful numbers and acts (`sending.send`), and `answered` says what follows. A
page then shows the outcome here, and a telephone is told it in JSON (`from_phone.in_json`).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from django.contrib import messages
from django.forms import ModelChoiceField
from django.forms.utils import pretty_name
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse

from farm.actions.common import Recorded
from farm.actions.recording import unfinished
from farm.models import Farm
from farm.pages import retrying
from farm.pages.access import STALL, PageRequest, page, require
from farm.pages.deeds import BY_SLUG, Deed, deeds_by_group
from farm.pages.frame import show
from farm.pages.from_phone import asks_for_json, in_json, receive_form
from farm.pages.kept_pages import is_keeping, may_be_kept, without_money
from farm.pages.recording.read_back import said_of
from farm.pages.recording.refilled_forms import go_on, stop
from farm.pages.recording_form import DoingForm, FirstForm
from farm.pages.sending import Outcome, State, form_for, send
from farm.pages.sent_forms import QUESTION, WAY, WHY, Sent, remember, sent_form
from farm.pages.ways_out import ShownWay, WayOn, kept_way, lead_on, shown, way_elsewhere, ways_out
from farm.queries.costs.times import usual_time
from farm.queries.entries import lots_touched
from farm.queries.months.closings import late_for

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
    sent = sent_form(request)
    if request.method != "POST":
        return opened(request, deed, sent)
    before = receive_form(request)
    if before is not None:
        return before
    outcome = send(deed, sent, farm=request.farm, person=request.person)
    outcome = answered(request, deed, outcome)
    if asks_for_json(request):
        return in_json(request, deed.slug, outcome)
    return on_page(request, deed, sent, outcome=outcome)


# --- what follows, on a page and on a telephone ----------------------------------------------


def answered(request: PageRequest, deed: Deed, outcome: Outcome[Recorded]) -> Outcome[Recorded]:
    """Remember and read back what was recorded, and keep what the book may take later."""
    if outcome.made is not None:
        remember(request, deed.slug, key=str(outcome.made.entry.seq))
        words = said_of(deed, outcome.made, request.farm, person=request.person)
        return replace(outcome, words=(words, *follow_up(outcome.made, request.farm)))
    if outcome.state is State.WAITS:
        retrying.keep(deed, outcome, request.GET)
    return outcome


def follow_up(recorded: Recorded, farm: Farm) -> list[str]:
    """Answer what waited for a fresh entry; say so in words, and where it came late."""
    if not recorded.fresh:
        return []
    unfinished.answered(recorded.entry.uuid, f"accepted as entry {recorded.entry.seq}")
    closed = late_for(recorded.entry)
    late = [f"It belongs to closed {closed}: accepted, and shown since closing."] if closed else []
    waited = retrying.retry(lots_touched(recorded.entry), farm)
    return late + [f"It waited: {said_of(deed, accepted, farm)}" for deed, accepted in waited]


# --- shown on a page -------------------------------------------------------------------------


def on_page(
    request: PageRequest, deed: Deed, sent: Sent, *, outcome: Outcome[Recorded]
) -> HttpResponse:
    """Go to the entry that a form became, else show the form again with what is against it."""
    form = outcome.form
    assert isinstance(form, FirstForm | DoingForm)
    if outcome.made is not None:
        request.session[last_key(request, deed)] = chosen(form)
        messages.success(request, outcome.words[0])
        for words in [*outcome.words[1:], *go_on(request, deed)]:
            messages.info(request, words)
        return redirect(outcome.address)
    if outcome.state is State.BEFORE:
        messages.warning(request, outcome.words[0])
        return redirect(outcome.address)
    outcome.write_on_form()
    back = stop(request, deed) if way_elsewhere(outcome.refusal) else ""
    return form_page(request, deed, sent, form=form, ways=ways_out(outcome.refusal, back))


def opened(request: PageRequest, deed: Deed, sent: Sent) -> HttpResponse:
    """Show a form prefilled from its address, or as it was sent before."""
    form = form_for(
        deed,
        sent,
        farm=request.farm,
        person=request.person,
        keeping=is_keeping(request),
        last={} if sent.data else request.session.get(last_key(request, deed), {}),
    )
    waits = sent.kept.data if sent.kept else {}
    if sent.kept and QUESTION in waits.get(WHY, []) and isinstance(form, DoingForm):
        form.ask(sent.kept.refusal)  # an answer is asked anew by the action, if it still must be
    ways = [kept_way(waits[WAY])] if WAY in waits else []
    return form_page(request, deed, sent, form=form, ways=ways)


def form_page(
    request: PageRequest,
    deed: Deed,
    sent: Sent,
    *,
    form: FirstForm | DoingForm,
    ways: Sequence[WayOn],
) -> HttpResponse:
    """Show a form at the step it is at; ``ways`` lead out of what is against it."""
    refusal = sent.kept.refusal if sent.kept else ""
    person, back = request.person, reverse("record-action", args=[deed.slug])
    if isinstance(form, FirstForm):
        lead_on(form, person, back=back)
        first = show(request, "farm/record/first.html", FirstPage(deed, form, refusal))
        return may_be_kept(first, names_customers=deed.names_customers)
    lead_on(form, without_money(person) if is_keeping(request) else person, back=back)
    if form.kind.takes_time:
        usual = usual_time(form.kind.of_entry, form.place())
        form.fields["minutes"].help_text = f"Blank: {usual or 'no standard time is set: type them'}"
    page_of_form = FormPage(deed, form, words_of(form), refusal, shown(ways, person))
    response = show(request, deed.template, page_of_form)
    return may_be_kept(response, names_customers=deed.names_customers or PEOPLE in form.fields)


def words_of(form: DoingForm) -> list[Given]:
    """Word what the first step said."""
    asked = form.first.base_fields if form.first else {}
    return [
        Given(name, str(field.label or pretty_name(name)), str(form.given[name] or ""))
        for name, field in asked.items()
    ]


def last_key(request: PageRequest, deed: Deed) -> str:
    """Under which name a session keeps what a person last chose in a form."""
    return f"last-{request.person.pk}-{deed.slug}"


def chosen(form: FirstForm | DoingForm) -> dict[str, str]:
    """Which rows a valid form chose (a shelf, a steriliser), to be chosen again the next time.

    Never a customer: who bought last is seldom who buys next.
    """
    rows = {
        name: form.cleaned_data.get(name)
        for name, field in form.fields.items()
        if isinstance(field, ModelChoiceField) and name != PEOPLE
    }
    return {name: str(row.pk) for name, row in rows.items() if row is not None}
