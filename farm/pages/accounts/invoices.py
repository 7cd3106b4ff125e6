"""Invoices: the list, one of them, issuing, credit notes."""

from dataclasses import dataclass
from functools import cached_property
from uuid import uuid4

import django_filters
import django_tables2 as tables
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from farm.actions.accounts.invoicing import issue_change, issue_for_sale, issue_invoice
from farm.actions.common import Doing
from farm.models import Customer, Invoice, InvoiceKind, Sale
from farm.pages.access import PageRequest, Right, get_or_refuse, may, page, require
from farm.pages.accounts.invoice_forms import DAY, IssueForm
from farm.pages.accounts.papers import numbered, paper_page, to_pay
from farm.pages.frame import show
from farm.pages.lists import NUMBER, AmountTable, Listing, ListTable, SheetColumn, list_page
from farm.pages.report_page import Way
from farm.pages.ways_out import refused_words
from farm.queries.accounts.invoices import (
    PaperLine,
    changed_invoices,
    changed_since,
    customers_to_invoice,
    invoices,
)
from farm.queries.accounts.owed import account_of, open_by_invoice
from farm.queries.roll_forward import given_up_by_invoice
from farm.reports.accounts.invoice_rows import invoice_paper
from farm.reports.rows import Column, Kind
from farm.templatetags.farm_format import day as show_day
from farm.templatetags.farm_format import money
from ledger.errors import Refused

STATEMENT_DAYS = 365


class InvoiceTable(AmountTable):
    name = tables.Column(
        accessor="pk",
        verbose_name="Number",
        order_by=("series", "number"),
        linkify=lambda record: reverse("invoice", args=[str(record)]),
        attrs={"td": {"class": "short"}},
    )
    kind = tables.Column(verbose_name="What")
    customer = tables.Column(empty_values=())
    open = tables.Column(empty_values=(), orderable=False, attrs=NUMBER)
    issued_on = tables.Column(verbose_name="Issued", attrs={"td": {"class": "day"}})
    due_on = tables.Column(verbose_name="To be paid by", attrs={"td": {"class": "day"}})
    net = tables.Column(attrs=NUMBER)
    tax = tables.Column(attrs=NUMBER)
    gross = tables.Column(verbose_name="Gross", attrs=NUMBER)

    sheet = (
        (Column("Number"), str),
        (Column("What"), lambda row: row.get_kind_display()),
        (Column("To invoice"), lambda row: str(row.credits or "")),
        (Column("Customer"), lambda row: row.customer_name),
        (Column("Issued", Kind.DATE), lambda row: row.issued_on),
        (Column("To be paid by", Kind.DATE), lambda row: row.due_on),
        (Column("Net", Kind.MONEY), lambda row: row.net),
        (Column("Tax", Kind.MONEY), lambda row: row.tax),
        (Column("Gross", Kind.MONEY), lambda row: row.gross),
    )

    class Meta(ListTable.Meta):
        pass

    def render_name(self, record: Invoice) -> str:
        return str(record)

    def render_kind(self, record: Invoice) -> str:
        to = f" to {record.credits}" if record.credits else ""
        return f"{record.get_kind_display()}{to}"

    def render_customer(self, record: Invoice) -> str:
        return record.customer_name or "—"

    def render_issued_on(self, record: Invoice) -> str:
        return show_day(record.issued_on)

    def render_due_on(self, record: Invoice) -> str:
        return "" if record.kind == InvoiceKind.CREDIT else show_day(record.due_on)

    @cached_property
    def open_money(self) -> dict[int, int]:
        """What is open of each invoice; asked once for the whole list."""
        return open_by_invoice(timezone.localdate())

    @cached_property
    def given_up_money(self) -> dict[int, int]:
        return given_up_by_invoice()

    def left(self, record: Invoice) -> int | None:
        """Say what is left to pay; a credit note is counted with its invoice."""
        is_credit = record.kind == InvoiceKind.CREDIT
        return None if is_credit else self.open_money.get(record.pk, 0)

    def render_open(self, record: Invoice) -> str:
        left, given_up = self.left(record), self.given_up_money.get(record.pk, 0)
        settled = f"{money(given_up, self.farm)} given up" if given_up else "paid"
        return money(left, self.farm) if left else "" if left is None else settled

    @property
    def whole_sheet(self) -> tuple[SheetColumn, ...]:
        given_up = (Column("Given up", Kind.MONEY), lambda row: self.given_up_money.get(row.pk))
        return (*self.sheet, given_up, (Column("Open", Kind.MONEY), self.left))


class InvoiceFilter(django_filters.FilterSet):
    customer = django_filters.ModelChoiceFilter(
        queryset=Customer.objects.all(), empty_label="all", label="Customer"
    )
    kind = django_filters.ChoiceFilter(choices=InvoiceKind.choices, empty_label="all", label="What")
    since = django_filters.DateFilter(
        field_name="issued_on", lookup_expr="gte", label="From", widget=DAY
    )
    until = django_filters.DateFilter(
        field_name="issued_on", lookup_expr="lte", label="To", widget=DAY
    )


INVOICES = Listing("Invoices", InvoiceTable, InvoiceFilter, "farm/invoices/list.html")


@dataclass(frozen=True)
class IssuePage:
    """``waiting``: customers with sales on no invoice, what they come to, line by line."""

    waiting: list[tuple[Customer, int, list[PaperLine], IssueForm]]
    changed: list[Invoice]
    farm_ready: bool


@page(Right.SEE_SALES)
def invoice_list(request: PageRequest) -> HttpResponse:
    return list_page(request, INVOICES, invoices())


@page(Right.SEE_SALES)
def invoice(request: PageRequest, name: str) -> HttpResponse:
    """An invoice or credit note; ?file=pdf takes it away."""
    found = _invoice(request, name)
    may_write = may(request.person, Right.KEEP_MONEY)
    changed = bool(changed_since(found)) and may_write
    act = Way("Issue the credit note", reverse("invoice-change", args=[name]))
    caution = "What was sold changed since: a credit note is due."
    return paper_page(
        request,
        invoice_paper(found, request.farm),
        name=str(found).lower(),
        cautions=(caution,) * changed,
        acts=(act,) * changed,
        others=_settling(found) if may_write else (),
    )


@page(Right.SEE_SALES)
def invoice_issue(request: PageRequest) -> HttpResponse:
    """What waits to be invoiced, customer by customer; sent, it issues one."""
    if request.method == "POST":
        require(request, Right.KEEP_MONEY)
        form = IssueForm(request.POST, farm=request.farm)
        if form.is_valid():
            said = form.cleaned_data
            try:
                doing = form.doing(request.person)
                issued = issue_invoice(doing, said["customer"], until=said["until"])
            except Refused as refusal:
                back = reverse("invoice-issue")
                messages.error(request, refused_words(refusal, request.person, back=back))
            else:
                messages.success(request, f"Invoice {issued} is issued.")
                return redirect("invoice", str(issued))
        else:
            messages.error(request, "Not issued: state the last day of sales.")
        return redirect("invoice-issue")
    waiting = customers_to_invoice(timezone.localdate())
    shown = IssuePage(
        [
            (one, sum(line.gross for line in lines), lines, IssueForm(farm=request.farm))
            for one, lines in waiting.items()
        ],
        changed_invoices(),
        bool(request.farm.tax_number),
    )
    return show(request, "farm/invoices/issue.html", shown)


@require_POST
@page(Right.KEEP_MONEY)
def invoice_change(request: PageRequest, name: str) -> HttpResponse:
    """Issue the credit note for what changed since an invoice."""
    found = _invoice(request, name)
    try:
        issued = issue_change(_now(request), found)
    except Refused as refusal:
        back = reverse("invoice", args=[name])
        messages.error(request, refused_words(refusal, request.person, back=back))
        return redirect("invoice", name)
    messages.success(request, f"{issued.get_kind_display().capitalize()} {issued} is issued.")
    return redirect("invoice", str(issued))


@require_POST
@page(Right.KEEP_MONEY)
def invoice_sale(request: PageRequest, seq: int) -> HttpResponse:
    """Issue an invoice for one sale: a full one to a named customer, else a simplified one."""
    sale = get_or_refuse(
        request, Sale.objects.select_related("entry", "customer"), Right.SEE_SALES, entry=seq
    )
    try:
        issued = issue_for_sale(_now(request), sale, simple=sale.customer is None)
    except Refused as refusal:
        back = reverse("entry", args=[seq])
        messages.error(request, refused_words(refusal, request.person, back=back))
        return redirect("entry", seq)
    messages.success(request, f"{issued.get_kind_display().capitalize()} {issued} is issued.")
    return redirect("invoice", str(issued))


# --- parts ---------------------------------------------------------------------------------


def _invoice(request: PageRequest, name: str) -> Invoice:
    return get_or_refuse(request, invoices(), Right.SEE_SALES, **numbered(name))


def _settling(found: Invoice) -> tuple[Way, ...]:
    """What may be done about what is open of an invoice."""
    customer = found.customer
    if customer is None or found.credits:
        return ()
    open_ones = account_of(customer, timezone.localdate()).open_invoices
    open_money = sum(one.open_money for one in open_ones if one.invoice == found)
    if not open_money:
        return ()
    of = {"customer": customer.pk, "invoice": found.pk, "amount": open_money}
    return (
        to_pay("enter", "Enter its payment", **of),
        to_pay("give-up", "Give it up", **of),
    )


def _now(request: PageRequest) -> Doing:
    """One press of a button; pressed twice, the second finds nothing left to do."""
    return Doing(by=request.person, happened_at=timezone.now(), uuid=uuid4())
