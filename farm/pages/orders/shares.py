"""Shares: who paid ahead for boxes, taking one, one of them box by box, receipts."""

from dataclasses import dataclass
from datetime import timedelta
from uuid import uuid4

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from farm.actions.common import Doing
from farm.actions.orders.boxes import note_left
from farm.actions.orders.shares import take_share
from farm.models import BoxDelivery, Customer, Grade, Payment, Settling, Share, Stage
from farm.pages.access import PageRequest, Right, get_or_refuse, page, require
from farm.pages.accounts.papers import paper_page, to_pay
from farm.pages.frame import show
from farm.pages.orders.order_forms import CustomerFirst
from farm.pages.orders.share_forms import LeftForm, ShareForm
from farm.pages.report_files import answer_page, made_by, taken_away
from farm.pages.report_page import AnswerPage, Way
from farm.pages.ways_out import lead_on
from farm.queries.keeping import is_past
from farm.queries.orders.orders import due_between
from farm.queries.orders.shares import Box, ShareState, missed_species, share_states
from farm.queries.stock import lots_on_hand
from farm.reports.orders.share_rows import receipt_paper, share_report, shares_report
from ledger.errors import Refused

AHEAD = timedelta(days=370)


@dataclass(frozen=True)
class SharesPage:
    answer: AnswerPage
    states: list[ShareState]


@dataclass(frozen=True)
class FirstSharePage:
    form: CustomerFirst


@dataclass(frozen=True)
class TakeSharePage:
    form: ShareForm
    customer: Customer


@dataclass(frozen=True)
class SharePage:
    """``uncollected``: boxes that may still be noted as left. ``settling``: what is held, ended."""

    answer: AnswerPage
    share: Share
    payments: list[Payment]
    uncollected: list[Box]
    left: LeftForm
    settling: tuple[Way, ...]


@page(Right.SEE_SALES)
def share_list(request: PageRequest) -> HttpResponse:
    """Every share with what was paid, delivered and is held; ?file= takes it away."""
    day = timezone.localdate()
    states = share_states(day)
    report = shares_report(states, day, made_by(request))
    if (file := taken_away(request, report, f"shares-{day}")) is not None:
        return file
    return show(request, "farm/shares/list.html", SharesPage(answer_page(request, report), states))


@page(Right.SEE_SALES)
def share_take(request: PageRequest) -> HttpResponse:
    """Ask whose share it is, then how many boxes at what price, and what is usually in one."""
    require(request, Right.RECORD)
    first = CustomerFirst(request.GET if request.GET else None, farm=request.farm)
    lead_on(first, request.person, back=request.path)
    if not first.is_valid():
        return show(request, "farm/shares/first.html", FirstSharePage(first))
    customer = first.cleaned_data["customer"]
    data = request.POST if request.method == "POST" else None
    form = ShareForm(data, farm=request.farm, person=request.person, customer=customer)
    if data is not None and form.is_valid():
        doing, season, lines = form.doing(), form.season(), form.lines()
        taken = form.taken(
            request.person, lambda: take_share(doing, customer=customer, season=season, lines=lines)
        )
        if taken:
            messages.success(request, f"Share {taken.pk} of {customer} is taken.")
            return redirect("share", taken.pk)
    return show(request, "farm/shares/take.html", TakeSharePage(form, customer))


@page(Right.SEE_SALES)
def share(request: PageRequest, pk: int) -> HttpResponse:
    """One share, box by box; ?file= takes it away."""
    found = get_or_refuse(request, Share.objects.all(), Right.SEE_SALES, pk=pk)
    day = timezone.localdate()
    (state,) = share_states(day, Share.objects.filter(pk=found.pk))
    payments = list(found.payments.order_by("paid_on", "pk"))
    to_come = [one for one in due_between(day, day + AHEAD) if one.order.share_id == found.pk]
    report = share_report(
        state,
        payments=payments,
        to_come=to_come,
        next_species=missed_species(state, _species_there()),
        made=made_by(request),
    )
    if (file := taken_away(request, report, f"share-{found.pk}")) is not None:
        return file
    order = Way(f"Order {state.share.order.pk}", reverse("order", args=[state.share.order.pk]))
    shown = SharePage(
        answer=answer_page(request, report, others=(order,)),
        share=found,
        payments=[one for one in payments if one.what == Settling.PAID and not one.takes_back_id],
        uncollected=[box for box in state.boxes if not box.left],
        left=LeftForm(),
        settling=_settling(state),
    )
    return show(request, "farm/shares/share.html", shown)


@require_POST
@page(Right.RECORD)
def box_left(request: PageRequest, pk: int, box: int) -> HttpResponse:
    """Note that a box was not collected, and what became of it."""
    rows = BoxDelivery.objects.select_related("note__sale__entry")
    found = get_or_refuse(request, rows, Right.RECORD, pk=box, share=pk)
    form = LeftForm(request.POST)
    reason = form.cleaned_data["reason"] if form.is_valid() else ""
    doing = Doing(by=request.person, happened_at=timezone.now(), uuid=uuid4(), reason=reason)
    try:
        note_left(doing, found)
        messages.success(request, f"{found.note}: noted as not collected.")
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("share", pk)


@page(Right.SEE_SALES)
def receipt(request: PageRequest, pk: int) -> HttpResponse:
    """The receipt of a deposit; ?file=pdf takes it away."""
    rows = Payment.objects.filter(share__isnull=False, what=Settling.PAID, takes_back=None)
    rows = rows.select_related("share", "customer", "by", "taken_back_by")
    found = get_or_refuse(request, rows, Right.SEE_SALES, pk=pk)
    void = ("The payment was taken back: this receipt is void.",) * hasattr(found, "taken_back_by")
    return paper_page(
        request, receipt_paper(found, request.farm), name=f"receipt-{pk:04}", cautions=void
    )


def _settling(state: ShareState) -> tuple[Way, ...]:
    """What may be done about what is held, or unpaid."""
    of = {"customer": state.share.customer_id, "share": state.share.pk, "amount": abs(state.held)}
    if state.held > 0:
        return (
            to_pay("pay-back", "Pay it back", **of),
            to_pay("give-up", "They leave it to the farm", **of),
        )
    return (to_pay("give-up", "Give up what is unpaid", **of),) if state.held else ()


def _species_there() -> list[str]:
    """Species with something good on hand, fresh or packed."""
    lots = lots_on_hand(Stage.CROP, Stage.PACKS)
    today = timezone.localdate()
    good = (
        lot
        for lot in lots
        if not lot.held and lot.card.grade in ("", Grade.FIRSTS) and not is_past(lot.card, today)
    )
    return sorted({lot.card.species.name for lot in good if lot.card.species})
