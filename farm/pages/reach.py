"""How far it reaches: /reach/ asks what may be wrong and lists everything it reached.

From there, in one tap each: hold what is still here, open a recall. /holds/ lists and releases.
"""

from dataclasses import dataclass
from typing import cast
from urllib.parse import urlencode
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from farm.actions.common import Doing
from farm.actions.holding import hold, release
from farm.actions.recalling import open_recall
from farm.models import Customer
from farm.pages import retrying
from farm.pages.access import PageRequest, Right, may, page
from farm.pages.doings import BY_SLUG
from farm.pages.forms.reach import ReachForm, ReasonForm
from farm.pages.frame import show
from farm.pages.handing_out import answer_page, made_by, taken_away
from farm.pages.laid_out import AnswerPage
from farm.pages.read_back import said_of
from farm.queries.entries import entry_of, lots_touched
from farm.queries.frozen import Frozen
from farm.queries.holds import Held, held_now
from farm.queries.reach import Reach, reach_of
from farm.queries.stock import all_lots
from farm.queries.wider import Wider, wider_than
from farm.reports.notice import first_words
from farm.reports.reach_rows import Names, reach_report
from ledger.errors import Refused
from ledger.models import Lot


@dataclass(frozen=True)
class AskReachPage:
    form: ReachForm


@dataclass(frozen=True)
class ReachPage(AnswerPage):
    """``to_hold``: how many lots are here and free; ``address``: these suspects, as a query.

    ``wider``: what takes these lots in and reaches further, each with its query.
    """

    to_hold: int
    lots: int
    wider: list[tuple[Wider, str]]
    hold_form: ReasonForm
    recall_form: ReasonForm
    address: str


@dataclass(frozen=True)
class HoldsPage:
    rows: list[Held]
    form: ReasonForm


@page(Right.SEE_REACH)
def reach(request: PageRequest) -> HttpResponse:
    """Show how far suspects reach; names stand where the person may see them."""
    form = ReachForm(request.GET or None)
    if not form.is_valid():
        status = 422 if form.is_bound else 200
        return show(request, "farm/reach/ask.html", AskReachPage(form), status=status)
    found = reach_of(form.suspects)
    report = reach_report(found, made_by(request), names=names_for(request, found))
    file = taken_away(request, report, f"reach-{'-'.join(found.codes[:3])}")
    further = wider_than(found.suspects) if form.cleaned_data["codes"] else []
    why = f"Reached from {found.suspects.words}: "
    shown = ReachPage(
        **vars(answer_page(request, report, codes_lead_to="trace-of")),
        to_hold=len(found.to_hold),
        lots=len(found.codes),
        wider=[(one, _asked(one)) for one in further],
        hold_form=ReasonForm.new("Why they are held", why + "to be looked into", "hold"),
        recall_form=ReasonForm.new("What was found, and where", "", "recall"),
        address=request.GET.urlencode(),
    )
    return file or show(request, "farm/reach/reach.html", shown)


@require_POST
@page(Right.RECORD)
def hold_reached(request: PageRequest) -> HttpResponse:
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


@require_POST
@page(Right.RECORD)
def recall_reached(request: PageRequest) -> HttpResponse:
    """Open a numbered recall of everything reached, frozen as it is now."""
    form, asked = ReachForm(request.GET), ReasonForm(request.POST)
    if not (form.is_valid() and asked.is_valid()):
        messages.error(request, "A recall needs its reason. Say what was found, and where.")
        return _back(request)
    found = reach_of(form.suspects)
    notice = first_words(request.farm, found, timezone.localdate())
    try:
        recall = open_recall(doing_of(request, asked), found, notice=notice)
    except Refused as refusal:
        messages.error(request, str(refusal))
        return _back(request)
    messages.success(request, f"Recall {recall.number} is open. Call the customers on its list.")
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
    messages.success(request, said_of(BY_SLUG["release"], recorded, request.farm))
    for other, accepted in retrying.retry(lots_touched(recorded.entry), request.farm):
        messages.success(request, f"It waited: {said_of(other, accepted, request.farm)}")


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


def _asked(wider: Wider) -> str:
    return urlencode({"run": wider.run} if wider.run else {"codes": " ".join(wider.codes)})


def _back(request: PageRequest) -> HttpResponse:
    return redirect(f"{reverse('reach')}?{request.GET.urlencode()}")
