"""Recalls: the list, one recall with its calls and its notice."""

from collections.abc import Mapping
from dataclasses import dataclass
from uuid import uuid4

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.http import require_POST

from farm.actions.common import Doing
from farm.actions.tracing.recalling import add_call, take_out, write_notice
from farm.models import Customer, Recall
from farm.pages import visible_rows
from farm.pages.access import PageRequest, Right, get_or_refuse, may, page
from farm.pages.frame import show
from farm.pages.report_files import answer_page, made_by, taken_away
from farm.pages.report_page import AnswerPage
from farm.pages.tracing.reach import answer_what_waited, doing_of
from farm.pages.tracing.reach_forms import NoticeForm, ReasonForm
from farm.pages.tracing.recall_forms import CallForm
from farm.queries.stock import all_lots
from farm.queries.tracing.contacts import CUSTOMER, GIVEN, PLACE, Whom
from farm.queries.tracing.recalls import RecallState, recalls_kept, standing_recalls, state_of
from farm.reports.tracing.reach_rows import Names
from farm.reports.tracing.recall_rows import (
    numbers_of,
    recall_report,
    share_words,
    still_to_do,
    whom_words,
)
from ledger.errors import Refused


@dataclass(frozen=True)
class RecallRow:
    recall: Recall
    reached: str
    recovered: str
    left: str


@dataclass(frozen=True)
class RecallsPage:
    rows: list[RecallRow]


@dataclass(frozen=True)
class RecallPage(AnswerPage):
    """``left``: what is left to do. ``listed``: lots that may be taken out, each with its words."""

    number: int
    left: str
    call_form: CallForm
    notice_form: NoticeForm
    out_form: ReasonForm
    listed: list[tuple[str, str]]


@page(Right.SEE_SAFETY)
def recalls(request: PageRequest) -> HttpResponse:
    """List the recalls, as they stand."""
    seen_here = visible_rows.recalls(request.person, recalls_kept())
    rows = [
        RecallRow(
            recall,
            f"{recall.standing.told} of {recall.standing.customers}",
            share_words(
                sum(call.recovered_mg for call in recall.calls.all()), recall.standing.sold_mg
            ),
            still_to_do(to_do) or "nothing",
        )
        for recall, to_do in standing_recalls(seen_here)
    ]
    return show(request, "farm/reach/recalls.html", RecallsPage(rows))


@page(Right.SEE_SAFETY)
def recall(request: PageRequest, number: int) -> HttpResponse:
    """Show a recall; ?file=pdf and ?file=xlsx take it away."""
    rows = visible_rows.recalls(request.person, recalls_kept())
    found = get_or_refuse(request, rows, Right.SEE_SAFETY, number=number)
    return _shown(request, state_of(found))


@require_POST
@page(Right.RECORD)
def recall_call(request: PageRequest, number: int) -> HttpResponse:
    """Keep a call that was made; what is wrong stands beside the field."""
    state = state_of(get_or_refuse(request, recalls_kept(), Right.RECORD, number=number))
    form = CallForm(request.POST, farm=request.farm, whom=_whom(state, receivers(request, state)))
    if form.is_valid():
        said = form.cleaned_data
        try:
            add_call(
                form.doing(request.person),
                state.recall,
                said["whom"],
                reached=said["reached"],
                recovered_mg=said["recovered_mg"] or 0,
            )
        except Refused as refusal:
            form.add_error("recovered_mg", str(refusal))
        else:
            messages.success(request, "The call is kept.")
            return redirect("recall", number)
    return _shown(request, state, call_form=form)


@require_POST
@page(Right.CHANGE_FARM)
def recall_take_out(request: PageRequest, number: int) -> HttpResponse:
    """Let listed lots go, with the reason; an owner alone."""
    found = get_or_refuse(request, recalls_kept(), Right.CHANGE_FARM, number=number)
    asked = ReasonForm(request.POST)
    lots = list(all_lots().filter(code__in=request.POST.getlist("lot")))
    if not asked.is_valid():
        messages.error(request, "A lot leaves a recall with a reason. Say why it is sound.")
    elif not lots:
        messages.error(request, "No lot is ticked. Tick those to take out.")
    else:
        try:
            recorded = take_out(doing_of(request, asked), found, lots)
        except Refused as refusal:
            messages.error(request, str(refusal))
        else:
            codes = ", ".join(lot.code for lot in lots)
            messages.success(request, f"Taken out and released: {codes}.")
            for words in answer_what_waited(request, recorded):
                messages.success(request, words)
    return redirect("recall", number)


@require_POST
@page(Right.RECORD)
def recall_notice(request: PageRequest, number: int) -> HttpResponse:
    """Keep the notice's words as its next version."""
    found = get_or_refuse(request, recalls_kept(), Right.RECORD, number=number)
    doing = Doing(by=request.person, happened_at=timezone.now(), uuid=uuid4())
    try:
        notice = write_notice(doing, found, request.POST.get("text", ""))
    except Refused as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, f"The notice is kept as version {notice.version}.")
    return redirect("recall", number)


def _shown(
    request: PageRequest, state: RecallState, call_form: CallForm | None = None
) -> HttpResponse:
    names = receivers(request, state)
    report = recall_report(state, made_by(request), names=names, zone=request.farm.zone)
    file = taken_away(request, report, f"recall-{state.recall.number}")
    form = call_form or CallForm(farm=request.farm, whom=_whom(state, names))
    shown = RecallPage(
        **vars(answer_page(request, report, codes_lead_to="trace-of")),
        number=state.recall.number,
        left=still_to_do(state.to_do),
        call_form=form,
        notice_form=NoticeForm(initial={"text": state.notices[-1].text}),
        out_form=ReasonForm.new("Why they are sound", "", "out"),
        listed=[(lot.code, lot.name) for lot in state.now.lots],
    )
    status = 422 if call_form else 200
    return file or show(request, "farm/reach/recall.html", shown, status=status)


def receivers(request: PageRequest, state: RecallState) -> Names:
    """Name who received it also to an inspector: a recall is where the law asks for names."""
    if not any(may(request.person, right) for right in (Right.SEE_RECEIVERS, Right.SEE_SALES)):
        return None
    keys = [int(one.whom.key) for one in state.contacts if one.whom.kind == CUSTOMER]
    return Customer.objects.in_bulk(keys)


def _whom(state: RecallState, names: Names) -> list[tuple[str, str]]:
    """Whom nothing came of yet first; then customers, places and those given some."""
    order = {CUSTOMER: 0, PLACE: 1, GIVEN: 2}
    contacts = sorted(
        (one for one in state.contacts if not one.struck),
        key=lambda one: (one.is_done, order[one.whom.kind], one.whom.key),
    )
    numbers = numbers_of(state)
    return [
        (f"{one.whom.kind}-{one.whom.key}", _label(one.whom, numbers, names)) for one in contacts
    ]


def _label(whom: Whom, numbers: Mapping[int, str], names: Names) -> str:
    if whom.kind != CUSTOMER:
        return f"{whom_words(whom, numbers)} (notice)"
    customer = (names or {}).get(int(whom.key))
    number = numbers[int(whom.key)]
    return f"{number} · {customer.name} · {customer.contact}" if customer else number
