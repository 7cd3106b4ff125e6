"""Close a month, serve a closed one as it was frozen, and enter the month's bills."""

from dataclasses import dataclass, replace
from uuid import uuid4

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from farm.actions.months.bills import BillSaid, enter_bill, take_bill_back
from farm.actions.months.closing import check_may_close, close_month
from farm.kinds.selling import SETTLE_STALL
from farm.models import Bill, ClosedFile, ClosedMonth, Customer
from farm.pages.access import PageRequest, Right, get_or_refuse, may, page, require
from farm.pages.frame import show
from farm.pages.purchase_tax_field import BillForm
from farm.pages.report_files import handed_out, made_by
from farm.pages.report_page import AnswerPage, Way, laid_out
from farm.queries.months.bills import bills_of, missing_words
from farm.queries.months.closings import (
    Closings,
    Unfinished,
    closings,
    provisional_lots,
    unfinished_of,
)
from farm.queries.months.months import Month, NoMonthError, month_of
from farm.queries.movements import money_in
from farm.reports.files import MEDIA_TYPES as REPORT_TYPES
from farm.reports.months.closing_rows import bills_table, closed_report, closing_files, open_report
from farm.reports.months.month_rows import with_names
from farm.reports.rows import Report
from ledger.errors import Refused

FILES = {
    "pdf": "PDF",
    "xlsx": "Spreadsheet",
    "zip": "Tables as CSV",
    "csv": "Rows as CSV",
    "txt": "Text",
}
MEDIA_TYPES = {
    **REPORT_TYPES,
    "csv": "text/csv; charset=utf-8",
    "txt": "text/plain; charset=utf-8",
    "json": "application/json",
}
RECORD = {"settle": ("record-action", [SETTLE_STALL.slug]), "unfinished": ("unfinished", [])}


@dataclass(frozen=True)
class ClosePage:
    """``stops``: why it cannot be closed now, or ''. ``closed``: as it was, once it is.

    ``before``: which month is to be closed first, ``after``: which is next, if there is one.
    ``missing``: what was charged and has no bill, as it is worked now.
    """

    month: Month
    closed: ClosedMonth | None
    files: list[ClosedFile]
    stops: str
    before: Month | None
    after: Month | None
    unfinished: list[tuple[Unfinished, str]]
    provisional: list[str]
    bills: AnswerPage
    missing: str


@dataclass(frozen=True)
class BillsPage:
    month: Month
    closed: ClosedMonth | None
    bills: list[Bill]
    form: BillForm
    compared: AnswerPage


# --- the month, open or closed ---------------------------------------------------------------


def month_answer(
    request: PageRequest, month: Month, *, known: Closings, others: tuple[Way, ...]
) -> HttpResponse:
    """Show an open month as worked now, a closed one as it was frozen, each with its files."""
    others = (*others, Way("Bills", f"{reverse('bills')}?month={month.key}"))
    closed = known.of(month)
    if closed or _is_to_close(month, known):
        verb = "Close" if may(request.person, Right.CHANGE_FARM) else "Closing of"
        label = "How it was closed" if closed else f"{verb} {month.name}"
        to_close = Way(label, reverse("month-close", args=[month.key]), is_due=closed is None)
        others = (*others, to_close)
    if closed is None:
        report = open_report(month, made_by(request), known)
        return handed_out(
            request,
            report,
            name=f"month-{month.key}",
            others=others,
            folds="all",
            on_page=naming_customers(request, report),
        )
    kept = {file.name.rsplit(".", 1)[1]: file for file in closed.files.all()}
    ending = request.GET.get("file", "")
    if ending in FILES and ending in kept:
        return _served(kept[ending])
    files = tuple(
        Way(label, f"?file={ending}") for ending, label in FILES.items() if ending in kept
    )
    shown = laid_out(closed_report(closed), others=others, files=files, codes_lead_to="cost-of")
    return show(request, "farm/answers/answer.html", replace(shown, folds="all"))


def naming_customers(request: PageRequest, report: Report) -> Report:
    """Name the customers of a month that is worked now, for who may see them."""
    if not may(request.person, Right.SEE_ORDERS):
        return report
    return with_names(report, {one.number: one.name for one in Customer.objects.only("name")})


@page(Right.SEE_SALES)
def closed_file(request: PageRequest, name: str) -> HttpResponse:
    """Hand out the very bytes that were frozen."""
    return _served(get_or_refuse(request, ClosedFile.objects.all(), Right.SEE_SALES, name=name))


def _served(file: ClosedFile) -> HttpResponse:
    media = MEDIA_TYPES[file.name.rsplit(".", 1)[1]]
    response = HttpResponse(bytes(file.content), content_type=media)
    response["Content-Disposition"] = f'attachment; filename="{file.name}"'
    return response


# --- closing ---------------------------------------------------------------------------------


@page(Right.SEE_SALES)
def close(request: PageRequest, key: str) -> HttpResponse:
    """Say what stops the month, how bills compare, and close it; then what was frozen."""
    month = _month(key)
    if request.method == "POST":
        require(request, Right.CHANGE_FARM)
        try:
            close_month(
                request.person,
                month,
                at=timezone.now(),
                produce=lambda closing: closing_files(closing, made_by(request)),
            )
        except Refused as refusal:
            messages.error(request, str(refusal))
        else:
            messages.success(
                request,
                f"{month.name} is closed. Its rows and files stay as they "
                "are; what comes late shows in the next month.",
            )
        return redirect("month-close", month.key)
    known = closings()
    closed = known.of(month)
    shown = ClosePage(
        month=month,
        closed=closed,
        files=list(closed.files.all()) if closed else [],
        stops="" if closed else _stops(month),
        before=_before(month, known) if not closed else None,
        after=known.earliest_open if closed and _is_over(known.earliest_open) else None,
        unfinished=[(one, _address(one)) for one in unfinished_of(month)] if not closed else [],
        provisional=list(provisional_lots(month).values_list("code", flat=True)),
        bills=_compared(request, month),
        missing=missing_words(money_in(month.first, month.last)),
    )
    return show(request, "farm/closing/close.html", shown)


def _stops(month: Month) -> str:
    try:
        check_may_close(month, timezone.now())
    except Refused as refusal:
        return str(refusal)
    return ""


def _is_to_close(month: Month, known: Closings) -> bool:
    first = known.earliest_open
    return first is not None and first.first <= month.first and _is_over(month)


def _is_over(month: Month | None) -> bool:
    return month is not None and month.last < timezone.localdate()


def _before(month: Month, known: Closings) -> Month | None:
    """The month to close before this one, if there is one."""
    first = known.earliest_open
    return first if first and first.first < month.first else None


def _address(one: Unfinished) -> str:
    name, args = RECORD[one.page]
    return reverse(name, args=args)


# --- bills -----------------------------------------------------------------------------------


@page(Right.SEE_COSTS)
def bills(request: PageRequest) -> HttpResponse:
    """List a month's bills against what was charged; the owner enters more."""
    today = timezone.localdate()
    month = _month(request.GET.get("month") or f"{today:%Y-%m}")
    data = request.POST if request.method == "POST" else None
    form = BillForm(data, farm=request.farm, initial={"uuid": uuid4()})
    if data is not None:
        require(request, Right.KEEP_MONEY)
        if form.is_valid():
            try:
                _enter(request, month, form)
            except Refused as refusal:
                form.add_error(None, str(refusal))
            else:
                return _to_bills(month)
    shown = BillsPage(
        month,
        closings().of(month),
        list(bills_of(month)),
        form,
        _compared(request, month),
    )
    return show(request, "farm/closing/bills.html", shown)


def _enter(request: PageRequest, month: Month, form: BillForm) -> None:
    said = BillSaid(month=month, **form.said())
    uuid = form.cleaned_data["uuid"]
    bill = enter_bill(request.person, said, uuid=uuid, at=timezone.now())
    late = (
        f" It belongs to closed {month.name} and shows since closing."
        if closings().of(month)
        else ""
    )
    messages.success(request, f"The bill is entered: {bill}.{late}")


@require_POST
@page(Right.KEEP_MONEY)
def bill_back(request: PageRequest, pk: int) -> HttpResponse:
    bill = get_or_refuse(request, Bill.objects.all(), Right.KEEP_MONEY, pk=pk)
    try:
        take_bill_back(request.person, bill, uuid=uuid4(), at=timezone.now())
    except Refused as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, f"The bill is taken back: {bill}.")
    return _to_bills(month_of(f"{bill.month:%Y-%m}"))


def _to_bills(month: Month) -> HttpResponse:
    return redirect(f"{reverse('bills')}?month={month.key}")


def _compared(request: PageRequest, month: Month) -> AnswerPage:
    made, money = made_by(request), money_in(month.first, month.last)
    report = Report(
        "",
        "",
        made.farm_name,
        made.by,
        made.at,
        tables=(bills_table(money),),
        currency=made.currency,
    )
    return laid_out(report, others=(), files=(), codes_lead_to="cost-of")


def _month(key: str) -> Month:
    try:
        return month_of(key)
    except NoMonthError as refusal:
        raise Http404(str(refusal)) from refusal
