"""Recalls: the list, one recall with its calls and its notice."""

from dataclasses import dataclass
from uuid import uuid4

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.http import require_POST

from farm.actions.common import Doing
from farm.actions.recalling import add_call, write_notice
from farm.models import Customer, Recall, SellingPlace
from farm.pages import seen
from farm.pages.access import PageRequest, Right, get_or_refuse, may, page
from farm.pages.forms.reach import NoticeForm
from farm.pages.forms.recall import CallForm
from farm.pages.frame import show
from farm.pages.handing_out import answer_page, made_by, taken_away
from farm.pages.laid_out import AnswerPage
from farm.pages.reach import names_for
from farm.queries.recalls import RecallState, recalls_kept, state_of, states_of
from farm.reports.reach_rows import Names
from farm.reports.recall_rows import recall_report, recovered_words, still_to_do
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
    number: int
    call_form: CallForm
    notice_form: NoticeForm


@page(Right.SEE_SAFETY)
def recalls(request: PageRequest) -> HttpResponse:
    states = states_of(seen.recalls(request.person, recalls_kept()))
    rows = [
        RecallRow(
            state.recall,
            f"{state.reached} of {len(state.frozen.recipients)}",
            recovered_words(state),
            still_to_do(state) or "nothing",
        )
        for state in states
    ]
    return show(request, "farm/reach/recalls.html", RecallsPage(rows))


@page(Right.SEE_SAFETY)
def recall(request: PageRequest, number: int) -> HttpResponse:
    """Show a recall; ?file=pdf and ?file=xlsx take it away."""
    rows = seen.recalls(request.person, recalls_kept())
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
        call_form=form,
        notice_form=NoticeForm(initial={"text": state.notices[-1].text}),
    )
    status = 422 if call_form else 200
    return file or show(request, "farm/reach/recall.html", shown, status=status)


def receivers(request: PageRequest, state: RecallState) -> Names:
    """Name who received it also to an inspector: a recall is where the law asks for names."""
    if not may(request.person, Right.SEE_RECEIVERS):
        return names_for(request, state.frozen)
    return Customer.objects.in_bulk([one.customer_id for one in state.frozen.recipients])


def _whom(state: RecallState, names: Names) -> list[tuple[str, str]]:
    """Customers of the list first, those not spoken to before the others; then the places."""
    waiting = sorted(
        state.frozen.recipients,
        key=lambda one: bool(state.customers.get(one.customer_id)),
    )
    customers = [
        (f"customer-{one.customer_id}", _label(one.number, one.customer_id, names))
        for one in waiting
    ]
    sold_at = {one.place for one in state.frozen.unnamed}
    places = SellingPlace.objects.filter(name__in=sold_at)
    return [*customers, *((f"place-{place.pk}", f"{place} (notice)") for place in places)]


def _label(number: str, customer_id: int, names: Names) -> str:
    customer = (names or {}).get(customer_id)
    return f"{number} · {customer.name} · {customer.contact}" if customer else number
