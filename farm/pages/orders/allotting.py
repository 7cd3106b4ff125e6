"""Lots set aside: for one day of an order, by itself or by hand, and the packing list of a day."""

from dataclasses import dataclass
from uuid import uuid4

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.http import require_POST

from farm.actions.common import Doing, Draw
from farm.actions.orders.allotting import allocate
from farm.pages.access import PageRequest, Right, get_or_refuse, page
from farm.pages.addresses import day_named
from farm.pages.frame import show
from farm.pages.orders.allotting_forms import SetAsideForm
from farm.pages.report_files import handed_out, made_by
from farm.queries.orders.allocations import to_pack
from farm.queries.orders.orders import DueOrder, due_order, orders
from farm.reports.orders.packing_list_rows import packing_list
from ledger.errors import Refused


@dataclass(frozen=True)
class SetAsidePage:
    due: DueOrder
    form: SetAsideForm


@page(Right.RECORD)
def set_aside(request: PageRequest, pk: int, day: str, *, how: str) -> HttpResponse:
    """Set lots aside for a day of an order: by hand, or at once what is over soonest."""
    ways = {"set-aside": _by_hand, "set-aside-at-once": require_POST(_at_once)}
    if how not in ways:
        raise Http404
    return ways[how](request, _due(request, pk, day))


def _by_hand(request: PageRequest, due: DueOrder) -> HttpResponse:
    """Choose how much of which lot; what is over soonest is filled in."""
    data = request.POST if request.method == "POST" else None
    form = SetAsideForm(data, farm=request.farm, person=request.person, due=due)
    if data is not None and form.is_valid():
        doing, draws = form.doing(), form.draws()
        if form.taken(
            request.person, lambda: allocate(doing, order=due.order, due_on=due.day, draws=draws)
        ):
            messages.success(request, f"Set aside for {due.order.customer}, {due.day:%-d %b}.")
            return redirect("order", due.order.pk)
    return show(request, "farm/orders/set_aside.html", SetAsidePage(due, form))


def _at_once(request: PageRequest, due: DueOrder) -> HttpResponse:
    """Set aside what is over soonest and keeps long enough; or give all of it up."""
    draws: list[Draw] | None = [] if "release" in request.POST else None
    doing = Doing(by=request.person, happened_at=timezone.now(), uuid=uuid4())
    try:
        made = allocate(doing, order=due.order, due_on=due.day, draws=draws)
    except Refused as refusal:
        messages.error(request, str(refusal))
    else:
        _say(request, due, lots=made.lines.count(), released=draws is not None)
    return redirect("order", due.order.pk)


@page(Right.SEE_ORDERS)
def packing_list_of(request: PageRequest) -> HttpResponse:
    """What is taken from which lot for whom on a day; ?file=pdf to take to the fridge."""
    today, typed = timezone.localdate(), request.GET.get("day", "")
    day = day_named(typed) if typed else today
    report = packing_list(*to_pack(day, today), day=day, made=made_by(request))
    return handed_out(request, report, name=f"packing-list-{day}", codes_lead_to="lot")


def _say(request: PageRequest, due: DueOrder, *, lots: int, released: bool) -> None:
    when = f"{due.order.customer}, {due.day:%-d %b}"
    if released:
        messages.success(request, f"Nothing is set aside any more for {when}.")
    elif lots:
        messages.success(request, f"Set aside for {when}: {lots} lot{'s' if lots > 1 else ''}.")
    else:
        messages.warning(request, f"Nothing free that keeps long enough for {when}.")


def _due(request: PageRequest, pk: int, day: str) -> DueOrder:
    order = get_or_refuse(request, orders(), Right.RECORD, pk=pk)
    due = due_order(order, day_named(day))
    if due is None:
        raise Http404
    return due
