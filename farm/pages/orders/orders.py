"""Orders: what is due, taking one, calling one off, the round by stop, the delivery note."""

from dataclasses import dataclass
from datetime import date, timedelta

import django_tables2 as tables
from django import forms
from django.contrib import messages
from django.db.models import Q
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.views.decorators.http import require_POST

from farm.actions.common import Doing
from farm.actions.orders.orders import pause_order, stop_order, take_order, write_note
from farm.kinds.selling import DELIVER
from farm.models import Customer, DeliveryNote, Order, Sale
from farm.pages.access import PageRequest, Right, get_or_refuse, may, page
from farm.pages.accounts.papers import numbered, paper_page
from farm.pages.addresses import day_named
from farm.pages.clock import DayField
from farm.pages.frame import show
from farm.pages.lists import PER_LEAF, ListPage, ListTable, rows_of, spreadsheet
from farm.pages.orders.order_forms import CustomerFirst, OrderForm, PauseForm, StopForm, key_of
from farm.pages.report_files import handed_out, made_by
from farm.pages.ways_out import lead_on
from farm.queries.accounts.invoices import sold_lines
from farm.queries.orders.allocations import SetAside, set_aside
from farm.queries.orders.orders import (
    DueOrder,
    State,
    called_off,
    due_between,
    due_from,
    due_or_late,
    due_order,
    orders,
)
from farm.queries.orders.promises import outlooks
from farm.reports.accounts.invoice_rows import note_paper
from farm.reports.accounts.owed_rows import round_report
from farm.reports.orders.certainty_words import sure_words
from farm.reports.rows import Column, Kind
from farm.templatetags.farm_format import day as show_day
from ledger.errors import Refused

LATE, AHEAD = timedelta(days=7), timedelta(days=21)
BADGES = {State.OPEN: "check", State.REST: "check", State.SHORT: "stop", State.DONE: "good"}


class DueTable(ListTable):
    may_deliver: bool
    day = tables.Column(verbose_name="Due", attrs={"td": {"class": "day"}})
    customer = tables.Column(accessor="order__customer", verbose_name="Customer")
    asked = tables.Column(accessor="in_words", orderable=False, attrs={"td": {"class": "long"}})
    order = tables.Column(
        verbose_name="Order", linkify=lambda record: reverse("order", args=[record.order.pk])
    )
    state = tables.Column(orderable=False)

    sheet = (
        (Column("Due", Kind.DATE), lambda due: due.day),
        (Column("Customer"), lambda due: str(due.order.customer)),
        (Column("Asked"), lambda due: due.in_words),
        (Column("Order", Kind.COUNT), lambda due: due.order.pk),
        (Column("How often"), lambda due: due.order.how_often),
        (Column("State"), lambda due: due.state.value),
    )

    class Meta(ListTable.Meta):
        sequence = ("day", "state", "...")

    def render_day(self, value: date) -> str:
        return show_day(value)

    def render_order(self, record: DueOrder) -> str:
        order = record.order
        return f"{order.pk}, {order.share or order.how_often}" if order.every_weeks else str(order)

    def render_state(self, record: DueOrder) -> SafeString:
        badge = format_html(
            '<span class="badge {}">{}</span>', BADGES.get(record.state, ""), record.state.value
        )
        may_deliver = record.is_open and self.may_deliver
        return badge + _deliver_link(record) if may_deliver else badge


class SpanForm(forms.Form):
    since = DayField(label="From", required=False)
    until = DayField(label="To", required=False)
    customer = forms.ModelChoiceField(Customer.objects.all(), required=False, empty_label="all")


@dataclass(frozen=True)
class FirstOrderPage:
    form: CustomerFirst


@dataclass(frozen=True)
class TakeOrderPage:
    form: OrderForm
    customer: Customer


@dataclass(frozen=True)
class OrderDay:
    """``looks``: of its badge; ``aside``: what is set aside; ``sure``: how sure the rest is."""

    due: DueOrder
    looks: str
    aside: list[SetAside]
    sure: list[str]


@dataclass(frozen=True)
class OrderPage:
    """``days``: its days of these weeks."""

    order: Order
    days: list[OrderDay]
    notes: list[DeliveryNote]
    stop: StopForm | None
    pause: PauseForm | None


@page(Right.SEE_ORDERS)
def order_list(request: PageRequest) -> HttpResponse:
    """Orders by the day they are due: a week back and three ahead, or the span asked for."""
    form = SpanForm(request.GET)
    said = form.cleaned_data if form.is_valid() else {}
    today = timezone.localdate()
    first = said.get("since") or today - LATE
    last = min(said.get("until") or today + AHEAD, first + timedelta(days=370))
    due = [
        one
        for one in due_between(first, last)
        if said.get("customer") in (None, one.order.customer)
    ]
    table = DueTable(due)
    table.farm, table.may_deliver = request.farm, may(request.person, Right.RECORD)
    taken = request.GET.get("take") == "xlsx"
    tables.RequestConfig(request, paginate=False if taken else {"per_page": PER_LEAF}).configure(
        table
    )
    if taken:
        return spreadsheet(request, rows_of("Orders", table))
    address = request.GET.copy()
    address["take"] = "xlsx"
    hint = f"Due from {show_day(first)} to {show_day(last)}."
    shown = ListPage("Orders", table, form, len(due), f"?{address.urlencode()}", hint)
    return show(request, "farm/orders/list.html", shown)


@page(Right.RECORD)
def order_take(request: PageRequest) -> HttpResponse:
    """Ask who orders, then what; what is not free asks once."""
    first = CustomerFirst(request.GET if request.GET else None, farm=request.farm)
    lead_on(first, request.person, back=request.path)
    if not first.is_valid():
        return show(request, "farm/orders/first.html", FirstOrderPage(first))
    customer = first.cleaned_data["customer"]
    data = request.POST if request.method == "POST" else None
    form = OrderForm(data, farm=request.farm, person=request.person, customer=customer)
    if data is not None and form.is_valid():
        doing, days, lines = form.doing(), form.days(), form.lines()
        order = form.taken(
            request.person, lambda: take_order(doing, customer=customer, days=days, lines=lines)
        )
        if order:
            messages.success(request, f"Order {order.pk} is taken.")
            return redirect("order", order.pk)
    return show(request, "farm/orders/take.html", TakeOrderPage(form, customer))


@page(Right.SEE_ORDERS)
def order(request: PageRequest, pk: int) -> HttpResponse:
    today = timezone.localdate()
    among = list(orders().filter(Q(pk=pk) | due_from(today)))
    found = next((one for one in among if one.pk == pk), None)
    if found is None:
        raise Http404
    span = (today - LATE, today + AHEAD) if found.every_weeks else (found.due_on, found.due_on)
    days = outlooks(found, among, span=span, today=today)
    may_stop = not called_off(found, span[1]) and any(one.due.is_open for one in days)
    aside = set_aside(order=found)
    shown = OrderPage(
        order=found,
        days=[
            OrderDay(
                one.due,
                BADGES.get(one.due.state, ""),
                [part for part in aside if part.day == one.due.day],
                sure_words(one, request.farm.weight_unit),
            )
            for one in days
        ],
        notes=list(found.notes.select_related("sale__entry").order_by("-pk")),
        stop=StopForm(initial={"from_day": max(today, found.due_on)}) if may_stop else None,
        pause=PauseForm() if may_stop and found.every_weeks else None,
    )
    return show(request, "farm/orders/order.html", shown)


@require_POST
@page(Right.RECORD)
def order_less(request: PageRequest, pk: int, what: str) -> HttpResponse:
    """Call an order off, or let it rest for some days."""
    if what not in ("stop", "pause"):
        raise Http404
    found = get_or_refuse(request, orders(), Right.RECORD, pk=pk)
    return (_stop if what == "stop" else _pause)(request, found)


def _stop(request: PageRequest, found: Order) -> HttpResponse:
    form = StopForm(request.POST)
    if form.is_valid():
        said = form.cleaned_data
        doing = Doing(
            by=request.person, happened_at=timezone.now(), uuid=found.uuid, reason=said["reason"]
        )
        stop_order(doing, found, from_day=said["from_day"])
        messages.success(
            request, f"Order {found.pk} is called off from {show_day(said['from_day'])} on."
        )
    else:
        messages.error(request, "Say from which day on, and why.")
    return redirect("order", found.pk)


def _pause(request: PageRequest, found: Order) -> HttpResponse:
    form = PauseForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Say from which day to which it rests, and why.")
        return redirect("order", found.pk)
    said = form.cleaned_data
    doing = Doing(
        by=request.person, happened_at=timezone.now(), uuid=found.uuid, reason=said["reason"]
    )
    try:
        pause_order(doing, found, first=said["first"], last=said["last"])
    except Refused as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, f"Order {found.pk} rests until {show_day(said['last'])}.")
    return redirect("order", found.pk)


@page(Right.SEE_ORDERS)
def delivery_round(request: PageRequest) -> HttpResponse:
    """What goes to whom on a day, by stop; ?file=pdf to take along."""
    typed = request.GET.get("day", "")
    day = day_named(typed) if typed else timezone.localdate()
    due = due_or_late(day, timezone.localdate())
    report = round_report(due, day, farm=request.farm, made=made_by(request))
    return handed_out(request, report, name=f"round-{day}", codes_lead_to="lot")


@page(Right.SEE_ORDERS)
def note(request: PageRequest, name: str) -> HttpResponse:
    """A delivery note; ?file=pdf takes it away."""
    rows = DeliveryNote.objects.select_related("sale__entry", "order__customer")
    found = get_or_refuse(request, rows, Right.SEE_ORDERS, **numbered(name))
    due = due_order(found.order, found.due_on) if found.order else None
    paper = note_paper(found, sold_lines(found.sale), farm=request.farm, due=due)
    undone = found.sale.entry.is_taken_back
    return paper_page(
        request,
        paper,
        name=f"delivery-note-{found}",
        cautions=("The sale was taken back: this note is void.",) * undone,
        entry=found.sale.entry_id,
    )


@require_POST
@page(Right.RECORD)
def note_write(request: PageRequest, seq: int) -> HttpResponse:
    """Write the delivery note of a sale, once."""
    sale = get_or_refuse(
        request, Sale.objects.select_related("entry", "customer"), Right.RECORD, entry=seq
    )
    try:
        return redirect("note", str(write_note(sale)))
    except Refused as refusal:
        messages.error(request, str(refusal))
        return redirect("entry", seq)


def _deliver_link(due: DueOrder) -> SafeString:
    address = reverse("record-action", args=[DELIVER.slug])
    return format_html(' <a href="{}?due={}">Deliver</a>', address, key_of(due))
