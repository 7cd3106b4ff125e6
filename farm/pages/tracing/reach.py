"""How far suspects reach, with the buttons to hold and to recall them; /holds/ releases."""

from dataclasses import dataclass
from typing import cast
from urllib.parse import urlencode
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse, QueryDict
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.utils.text import capfirst

from farm.actions.common import Doing, Recorded
from farm.actions.tracing.holding import hold, release
from farm.actions.tracing.recalling import open_recall
from farm.kinds.tracing import RELEASE
from farm.models import Customer
from farm.pages import retrying
from farm.pages.access import PageRequest, Right, may, page
from farm.pages.deeds import BY_SLUG
from farm.pages.frame import show
from farm.pages.recording.read_back import said_of
from farm.pages.report_files import answer_page, made_by, taken_away
from farm.pages.report_page import AnswerPage
from farm.pages.tracing.reach_forms import ReachForm, ReasonForm, RecallForm
from farm.queries.entries import entry_of, lots_touched
from farm.queries.stock import all_lots
from farm.queries.tracing.frozen_lists import Frozen
from farm.queries.tracing.holds import Held, held_now
from farm.queries.tracing.possible_sources import FarBack, Wider, how_far_back
from farm.queries.tracing.reach import Reach, reach_of
from farm.reports.tracing.notice import first_words
from farm.reports.tracing.reach_rows import Names, reach_report
from farm.units import show_count
from ledger.errors import Refused
from ledger.models import Lot


@dataclass(frozen=True)
class ReachPage(AnswerPage):
    """``to_hold``: how many lots are here and free; ``address``: these suspects, as a query.

    ``wider``: whether what these lots share with others reaches further.
    """

    to_hold: int
    lots: int
    wider: bool
    hold_form: ReasonForm
    recall_form: RecallForm
    address: str


@dataclass(frozen=True)
class HoldsPage:
    rows: list[Held]
    form: ReasonForm


def reached_page(
    request: PageRequest, form: ReachForm, recall_form: RecallForm | None = None
) -> HttpResponse:
    """Show how far suspects reach; names stand where the person may see them."""
    far = how_far_back(form.suspects) if form.cleaned_data["codes"] else None
    found = reach_of(form.suspects, far.kin if far else None)
    report = reach_report(found, made_by(request), names=names_for(request, found))
    file = taken_away(request, report, f"reach-{'-'.join(found.codes[:3])}")
    ways = _ways_back(far)
    why = f"Reached from {found.suspects.words}: "
    shown = ReachPage(
        **vars(answer_page(request, report, codes_lead_to="trace-of")),
        to_hold=len(found.to_hold),
        lots=len(found.codes),
        wider=len(ways) > 1,
        hold_form=ReasonForm.new("Why they are held", why + "to be looked into", "hold"),
        recall_form=recall_form or RecallForm.asking(ways),
        address=request.GET.urlencode(),
    )
    status = 422 if recall_form else 200
    return file or show(request, "farm/reach/reach.html", shown, status=status)


def _ways_back(far: FarBack | None) -> list[tuple[str, str]]:
    """How far back the fault may lie, each as an address and words; asked of codes alone."""
    return [(urlencode(one.asked), _way_words(one)) for one in far.ways] if far else []


def _way_words(one: Wider) -> str:
    """Word one way, with a link to what it reaches."""
    here = show_count(one.here, "lot", "lots")
    customers = show_count(one.customers, "customer", "customers")
    counts = f"{here} here, {customers}"
    return format_html(
        '<span>{} <a href="{}?{}">{}<span class="unseen"> from {}</span></a></span>',
        capfirst(one.words),
        reverse("trace"),
        urlencode(one.asked),
        counts,
        one.words,
    )


def send_reached(request: PageRequest) -> HttpResponse:
    """Do what the button says: hold what is still here of the suspects, or recall them."""
    return _recall(request) if request.POST.get("do") == "recall" else _hold(request)


def _hold(request: PageRequest) -> HttpResponse:
    """Put everything downstream and still here on hold: one entry with all lots."""
    form, asked = ReachForm(request.GET), ReasonForm(request.POST)
    if not (form.is_valid() and asked.is_valid()):
        messages.error(request, "A hold needs its reason. Say what was found.")
        return _back(request)
    known = entry_of(str(asked.cleaned_data["uuid"]))
    if known:
        messages.warning(request, "This hold was recorded before; nothing was written twice.")
        return redirect("entry", known.seq)
    codes = [lot.code for lot in reach_of(form.suspects).to_hold]
    if not codes:
        messages.warning(request, "Nothing of it is here and free: nothing was put on hold.")
        return _back(request)
    try:
        recorded = hold(doing_of(request, asked), list(all_lots().filter(code__in=codes)))
    except Refused as refusal:
        messages.error(request, str(refusal))
        return _back(request)
    messages.success(request, f"On hold: {', '.join(codes)} (entry {recorded.entry.seq}).")
    return _back(request)


def _recall(request: PageRequest) -> HttpResponse:
    """Open a numbered recall of everything reached, frozen as it is now, and hold it."""
    form = ReachForm(request.GET)
    if not form.is_valid():
        return _back(request)
    back = how_far_back(form.suspects) if form.cleaned_data["codes"] else None
    asked = RecallForm.asking(_ways_back(back), request.POST)
    far = ReachForm(QueryDict(request.POST.get("back", ""))) if "back" in asked.fields else form
    if not (asked.is_valid() and far.is_valid()):
        return reached_page(request, form, asked)
    found = reach_of(far.suspects)
    notice = first_words(request.farm, found, timezone.localdate())
    try:
        recall = open_recall(doing_of(request, asked), found, notice=notice)
    except Refused as refusal:
        messages.error(request, str(refusal))
        return _back(request)
    messages.success(request, f"Recall {recall.number} is open, and all that it lists is on hold.")
    return redirect("recall", recall.number)


@page(Right.SEE_REACH)
def holds(request: PageRequest) -> HttpResponse:
    """List what is on hold; release what was looked into, with the reason."""
    if request.method == "POST":
        return _release(request)
    form = ReasonForm.new("Why they may be used again", "", "release")
    return show(request, "farm/reach/holds.html", HoldsPage(held_now(), form))


def _release(request: PageRequest) -> HttpResponse:
    asked = ReasonForm(request.POST)
    lots = list(all_lots().filter(code__in=request.POST.getlist("lot")))
    if not may(request.person, Right.RECORD):
        messages.error(request, "You may not record work. Ask the owner to release them.")
    elif not asked.is_valid():
        messages.error(request, "A release needs its reason. Say why they may be used again.")
    elif not lots:
        messages.error(request, "No lot is ticked. Tick those to release.")
    else:
        _release_lots(request, asked, lots)
    return redirect("holds")


def _release_lots(request: PageRequest, asked: ReasonForm, lots: list[Lot]) -> None:
    """Release lots, and try again what waited for them."""
    try:
        recorded = release(doing_of(request, asked), lots)
    except Refused as refusal:
        messages.error(request, str(refusal))
        return
    messages.success(request, said_of(BY_SLUG[RELEASE.slug], recorded, request.farm))
    for words in answer_what_waited(request, recorded):
        messages.success(request, words)


def answer_what_waited(request: PageRequest, recorded: Recorded) -> list[str]:
    """Try again what waited for lots that were released, and say what was accepted."""
    waited = retrying.retry(lots_touched(recorded.entry), request.farm)
    return [f"It waited: {said_of(other, accepted, request.farm)}" for other, accepted in waited]


def doing_of(request: PageRequest, asked: ReasonForm) -> Doing:
    said = asked.cleaned_data
    uuid = cast(UUID, said["uuid"])
    return Doing(
        by=request.person, happened_at=timezone.now(), uuid=uuid, reason=said["reason"].strip()
    )


def names_for(request: PageRequest, found: Reach | Frozen) -> Names:
    """Fetch the listed customers' names, if this person may see them."""
    if not may(request.person, Right.SEE_SALES):
        return None
    return Customer.objects.in_bulk([one.customer_id for one in found.recipients])


def _back(request: PageRequest) -> HttpResponse:
    return redirect(f"{reverse('trace')}?{request.GET.urlencode()}")
