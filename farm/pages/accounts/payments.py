"""Payments: the list, entering, paying back, giving up, putting right; who owes what."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from typing import Any
from uuid import uuid4

import django_filters
import django_tables2 as tables
from django.contrib import messages
from django.db.models import QuerySet
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from farm.actions.accounts.giving_up import give_up
from farm.actions.accounts.payments import enter_payment, pay_back, put_right, take_payment_back
from farm.actions.accounts.settling import Paid
from farm.actions.common import Doing
from farm.models import MONEY_MOVES, Customer, Method, Payment, Settling
from farm.pages.access import PageRequest, Right, get_or_refuse, may, page
from farm.pages.accounts.invoice_forms import GiveUpForm, PayBackForm, PaymentForm, SettlingForm
from farm.pages.accounts.papers import paper_page, to_pay
from farm.pages.frame import show
from farm.pages.lists import NUMBER, Listing, ListTable, list_page
from farm.pages.report_files import handed_out, made_by
from farm.pages.report_page import Way
from farm.pages.ways_out import lead_on
from farm.queries.accounts.owed import Account, account_of, accounts, statement
from farm.queries.roll_forward import deposit_lines
from farm.reports.accounts.owed_rows import owed_report, statement_paper
from farm.reports.rows import Column, Kind
from farm.templatetags.farm_format import day as show_day
from farm.templatetags.farm_format import money
from ledger.errors import Refused

STATEMENT_DAYS = 365

Act = Callable[[Doing, Paid], Payment]


class PaymentTable(ListTable):
    paid_on = tables.Column(verbose_name="Day", attrs={"td": {"class": "day"}})
    customer = tables.Column()
    amount_money = tables.Column(verbose_name="Came in", attrs=NUMBER)
    given_up = tables.Column(
        accessor="amount_money", verbose_name="Given up", orderable=False, attrs=NUMBER
    )
    what = tables.Column()
    method = tables.Column(verbose_name="How")
    invoice = tables.Column(verbose_name="For", empty_values=())
    note = tables.Column()
    back = tables.TemplateColumn(
        template_name="farm/invoices/_take_back.html", verbose_name="", orderable=False
    )

    sheet = (
        (Column("Day", Kind.DATE), lambda row: row.paid_on),
        (Column("Customer"), lambda row: str(row.customer)),
        (Column("What"), lambda row: row.get_what_display()),
        (Column("Came in", Kind.MONEY), lambda row: row.amount_money * (row.what in MONEY_MOVES)),
        (Column("Given up", Kind.MONEY),
         lambda row: row.amount_money * (row.what not in MONEY_MOVES)),
        (Column("How"), lambda row: row.get_method_display()),
        (Column("For"), lambda row: str(row.invoice or row.share or "")),
        (Column("Note"), lambda row: row.note),
        (Column("Takes back", Kind.COUNT), lambda row: row.takes_back_id),
    )  # fmt: skip

    class Meta(ListTable.Meta):
        pass

    def render_paid_on(self, record: Payment) -> str:
        return show_day(record.paid_on)

    def render_amount_money(self, record: Payment) -> str:
        return money(record.amount_money, self.farm) if record.what in MONEY_MOVES else ""

    def render_given_up(self, record: Payment) -> str:
        return money(record.amount_money, self.farm) if record.what not in MONEY_MOVES else ""

    def render_invoice(self, record: Payment) -> str:
        return str(record.invoice or record.share or "")


class PaymentFilter(django_filters.FilterSet):
    customer = django_filters.ModelChoiceFilter(
        queryset=Customer.objects.all(), empty_label="all", label="Customer"
    )
    what = django_filters.ChoiceFilter(choices=Settling.choices, empty_label="all", label="What")
    method = django_filters.ChoiceFilter(choices=Method.choices, empty_label="all", label="How")


PAYMENTS = Listing("Payments", PaymentTable, PaymentFilter, "farm/invoices/payments.html")


@dataclass(frozen=True)
class PayPage:
    """``button``: what sends the form."""

    form: SettlingForm
    title: str
    hint: str
    button: str


@page(Right.SEE_SALES)
def payment_list(request: PageRequest) -> HttpResponse:
    rows: QuerySet[Payment] = Payment.objects.select_related(
        "customer", "invoice", "share", "taken_back_by"
    )
    return list_page(request, PAYMENTS, rows.order_by("-paid_on", "-pk"))


@page(Right.KEEP_MONEY)
def payment_new(request: PageRequest, what: str) -> HttpResponse:
    """Enter what came in, was paid back or is given up."""
    forms = {"enter": _enter, "pay-back": _pay_back, "give-up": _give_up}
    if what not in forms:
        raise Http404
    return forms[what](request)


def _enter(request: PageRequest) -> HttpResponse:
    """Enter what came in; more than is owed asks once."""
    form = _filled(request, PaymentForm, request.GET.dict())
    if _done(request, form, enter_payment, words="The payment of {} is entered."):
        return redirect("owed")
    return _shown(request, form, "Enter a payment", button="Enter")


def _pay_back(request: PageRequest) -> HttpResponse:
    """Pay a customer back what is theirs; more than that asks once."""
    form = _filled(request, PayBackForm, request.GET.dict())
    if paid := _done(request, form, pay_back, words="What was paid back to {} is entered."):
        return redirect("statement", paid.customer.pk)
    hint = "What a customer paid beyond what they owe, or a deposit that is not given out in boxes."
    return _shown(request, form, "Pay a customer back", hint=hint, button="Enter")


def _give_up(request: PageRequest) -> HttpResponse:
    """Give up what a customer owes, or keep what they leave; the account says which."""
    form = _filled(request, GiveUpForm, request.GET.dict())
    if given := _done(request, form, give_up, words="It is given up: {}."):
        return redirect("statement", given.customer.pk)
    hint = (
        "What a customer owes and will not pay, or has to get back and leaves to the farm: their "
        "account says which of the two. No money moves. The sales tax stays as it was sold: ask "
        "your adviser whether it can be lowered."
    )
    return _shown(request, form, "Give up", hint=hint, button="Give it up")


@page(Right.KEEP_MONEY)
def payment_right(request: PageRequest, pk: int) -> HttpResponse:
    """Put a payment right: the customer, the sum, the day, or what it is for."""
    rows = Payment.objects.filter(what=Settling.PAID, takes_back=None).select_related("customer")
    wrong = get_or_refuse(request, rows, Right.KEEP_MONEY, pk=pk)
    form = _filled(request, PaymentForm, _as_typed(wrong))

    def right(doing: Doing, paid: Paid) -> Payment:
        return put_right(doing, wrong, paid)

    if _done(request, form, right, words="The payment stands as one of {}."):
        return redirect("payments")
    hint = "The payment is taken back on its own day, and this one stands in its place."
    return _shown(request, form, "Put a payment right", hint=hint, button="Put it right")


@require_POST
@page(Right.KEEP_MONEY)
def payment_back(request: PageRequest, pk: int) -> HttpResponse:
    payment = get_or_refuse(request, Payment.objects.all(), Right.SEE_SALES, pk=pk)
    doing = Doing(by=request.person, happened_at=timezone.now(), uuid=uuid4())
    try:
        take_payment_back(doing, payment)
        messages.success(request, "The payment is taken back.")
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("payments")


# --- who owes what ---------------------------------------------------------------------------


@page(Right.SEE_SALES)
def owed(request: PageRequest) -> HttpResponse:
    """Who owes what, and since when; a statement of each customer below it."""
    day = timezone.localdate()
    found = accounts(day)
    statements = tuple(
        Way(f"Statement of {one.customer}", reverse("statement", args=[one.customer.pk]))
        for one in found
    )
    report = owed_report(found, day, made_by(request))
    return handed_out(request, report, name=f"owed-{day}", others=statements)


@page(Right.SEE_SALES)
def statement_of(request: PageRequest, pk: int) -> HttpResponse:
    """A customer's statement of a year; ?file=pdf takes it away."""
    customer = get_or_refuse(request, Customer.objects.all(), Right.SEE_SALES, pk=pk)
    day = timezone.localdate()
    first = day - timedelta(days=STATEMENT_DAYS)
    account = account_of(customer, day)
    paper = statement_paper(
        account,
        statement(customer, first, day),
        deposit_lines(customer, first, day),
        farm=request.farm,
        made=made_by(request),
    )
    settling = _ways(account) if may(request.person, Right.KEEP_MONEY) else ()
    others = (*settling, *_shares(account))
    name = f"statement-{customer.number}-{day}"
    return paper_page(request, paper, name=name, others=others)


def _ways(account: Account) -> tuple[Way, ...]:
    """What may be done about what is open, or theirs to get back."""
    whose = {"customer": account.customer.pk}
    if account.ahead_money:
        theirs = {**whose, "amount": account.ahead_money}
        return (
            to_pay("pay-back", "Pay it back", **theirs),
            to_pay("give-up", "They leave it to the farm", **theirs),
        )
    if not account.open_money:
        return (to_pay("enter", "Enter a payment", **whose),)
    owes = {**whose, "amount": account.open_money}
    if len(account.open_invoices) == 1:
        owes["invoice"] = account.open_invoices[0].invoice.pk
    return (
        to_pay("enter", "Enter a payment", **owes),
        to_pay("give-up", "Give it up", **owes),
    )


def _shares(account: Account) -> tuple[Way, ...]:
    shares = account.customer.shares.all()
    return tuple(Way(f"{one}".capitalize(), reverse("share", args=[one.pk])) for one in shares)


# --- parts -----------------------------------------------------------------------------------


def _filled(request: PageRequest, of: type[SettlingForm], initial: dict[str, Any]) -> SettlingForm:
    data = request.POST if request.method == "POST" else None
    form = of(data, farm=request.farm, initial=initial)
    lead_on(form, request.person, back=request.path)
    return form


def _done(request: PageRequest, form: SettlingForm, act: Act, *, words: str) -> Payment | None:
    """Do what the form says once it is sent; None where it is asked about, refused or not sent."""
    if not (form.is_bound and form.is_valid()):
        return None
    doing, paid = form.doing(request.person), form.paid()
    made = form.taken(request.person, lambda: act(doing, paid))
    if made:
        messages.success(request, words.format(made.customer))
    return made


def _shown(
    request: PageRequest, form: SettlingForm, title: str, *, button: str, hint: str = ""
) -> HttpResponse:
    return show(request, "farm/invoices/pay.html", PayPage(form, title, hint, button))


def _as_typed(wrong: Payment) -> dict[str, Any]:
    return {
        "customer": wrong.customer_id,
        "amount": wrong.amount_money,
        "paid_on": wrong.paid_on,
        "method": wrong.method,
        "invoice": wrong.invoice_id,
        "share": wrong.share_id,
        "note": wrong.note,
    }
