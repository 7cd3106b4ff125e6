"""Stall days: the list with tokens owed, what a day earned, the cash, the market's fee sheet."""

from dataclasses import dataclass
from datetime import date, timedelta
from uuid import uuid4

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from farm.actions.common import Doing
from farm.actions.selling.cashing import cash_up, tokens_paid
from farm.kinds.selling import Settling
from farm.models import CashUp, PlaceKind, Sale, SellingPlace, StallDay
from farm.pages import visible_rows
from farm.pages.access import STALL, PageRequest, Right, get_or_refuse, may, page, sees_stall_prices
from farm.pages.asking_form import UndoForm
from farm.pages.frame import show
from farm.pages.recording_form import FarmForm
from farm.pages.records.export_forms import DaysForm
from farm.pages.report_files import handed_out, made_by
from farm.pages.selling.cash_forms import CashForm, TokensPaidForm
from farm.pages.selling.stall_words import (
    MoneyLine,
    ShownItem,
    cash_lines,
    earned_lines,
    head_of,
    said_of,
    shown_item,
)
from farm.queries.costs.left_over import advice_for
from farm.queries.sales import open_loads
from farm.queries.selling.cash import Cash, TokensOwed, cash_of, cashes_of, tokens_owed
from farm.queries.selling.fee_sheet import fee_days
from farm.queries.selling.stall_days import (
    Earned,
    became_of,
    days_before,
    earned_by,
    settled_days,
    usual_of,
)
from farm.queries.selling.till import tapped_packs
from farm.reports.costs.left_over_rows import advice_words
from farm.reports.selling.fee_rows import fee_report
from farm.templatetags.farm_format import amount_of
from ledger.errors import Refused
from ledger.models import Lot

NEWEST = 60
MONEY = (Right.SELL, Right.SEE_SALES)


@dataclass(frozen=True)
class DayRow:
    """A settled day in the list; money is empty for whoever may not see it."""

    sale: Sale
    earned: Earned | None
    cash: Cash | None


@dataclass(frozen=True)
class StallDaysPage:
    loads: list[StallDay]
    rows: list[DayRow]
    tokens: list[TokensOwed]
    tokens_form: TokensPaidForm | None
    places: list[SellingPlace]
    sees_money: bool
    sees_costs: bool


@dataclass(frozen=True)
class StallDayPage:
    """``earned`` and ``advice`` are for who sees costs, ``takings`` and ``cash`` for whoever sees
    what a stall takes; the others are shown how many.
    """

    sale: Sale
    load: StallDay
    head: str
    said: list[str]
    earned: list[MoneyLine]
    takes: bool
    cash: Cash | None
    cash_lines: list[MoneyLine]
    rows: list[ShownItem]
    discount: str
    tapped: int
    advice: list[tuple[str, str, str]]
    undo: UndoForm


@dataclass(frozen=True)
class CashPage:
    sale: Sale
    load: StallDay
    form: CashForm
    counted: list[CashUp]


@page(*STALL, Right.SEE_SALES, to_send=Right.KEEP_MONEY)
def stall_days(request: PageRequest) -> HttpResponse:
    """Loads that wait to be settled, the days that were (a seller's own), what tokens are owed."""
    person = request.person
    paid = _tokens_paid(request) if may(person, Right.KEEP_MONEY) else None
    if paid and paid.is_bound and paid.is_valid():
        return redirect("stall-days")
    sees_money, sees_costs = sees_stall_prices(person), may(person, Right.SEE_COSTS)
    sees_sales = may(person, Right.SEE_SALES)
    sales = list(_own(request)[:NEWEST])
    earned = earned_by(sales) if sees_money else {}
    cashes = cashes_of(sales) if sees_money else {}
    tokens = paid.tokens() if paid else None
    shown = StallDaysPage(
        loads=list(visible_rows.loads(person, open_loads())),
        rows=[DayRow(sale, earned.get(sale.pk), cashes.get(sale.pk)) for sale in sales],
        tokens=tokens_owed(tokens) if sees_sales else [],
        tokens_form=paid,
        places=list(SellingPlace.objects.filter(kind=PlaceKind.STALL)) if sees_sales else [],
        sees_money=sees_money,
        sees_costs=sees_costs,
    )
    return show(request, "farm/stall/days.html", shown)


@page(*STALL, Right.SEE_SALES)
def stall_day(request: PageRequest, seq: int) -> HttpResponse:
    """What a settled day earned, what was in its till, and what to do with what came back."""
    sale, load = _settled(request, seq)
    farm, person = request.farm, request.person
    sees_costs, takes = may(person, Right.SEE_COSTS), sees_stall_prices(person)
    before = days_before(sale) if sees_costs else []
    days, cash = earned_by([sale, *before]), cash_of(sale) if takes else None
    earned, usual = days[sale.pk], usual_of([days[one.pk] for one in before])
    became = became_of(sale)
    shown = StallDayPage(
        sale=sale,
        load=load,
        head=head_of(earned, farm, takes=takes, sees_costs=sees_costs),
        said=said_of(earned, usual, load=load, farm=farm) if sees_costs else [],
        earned=earned_lines(earned, farm) if sees_costs else [],
        takes=takes,
        cash=cash,
        cash_lines=cash_lines(cash, farm) if cash else [],
        rows=[shown_item(row, farm, takes=takes) for row in became.items()],
        discount=_discount(sale) if takes else "",
        tapped=tapped_packs(load),
        advice=_advice(request, became.back()) if sees_costs else [],
        undo=UndoForm(initial={"uuid": uuid4()}),
    )
    return show(request, "farm/stall/day.html", shown)


# --- the cash --------------------------------------------------------------------------------


@page(*MONEY)
def stall_cash(request: PageRequest, seq: int) -> HttpResponse:
    """Count the till, or count it again: the new count stands, the old one stays readable."""
    sale, load = _settled(request, seq)
    counted = list(sale.cash_ups.select_related("by").order_by("-pk"))
    known = counted[0] if counted else None
    data = request.POST if request.method == "POST" else None
    form = CashForm(
        data, farm=request.farm, place=load.place, known=known, initial={"uuid": uuid4()}
    )
    if data is not None and form.is_valid():
        try:
            cash_up(_doing(request, form), sale=sale, count=form.count())
        except Refused as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, "The count is kept.")
            return redirect("stall-day", seq)
    return show(request, "farm/stall/cash.html", CashPage(sale, load, form, counted))


def _tokens_paid(request: PageRequest) -> TokensPaidForm:
    """Ask what was paid for tokens; once it is sent well, keep it."""
    data = request.POST if request.method == "POST" else None
    form = TokensPaidForm(
        data, farm=request.farm, initial={"uuid": uuid4(), "day": timezone.localdate()}
    )
    if data is not None and form.is_valid():
        said = form.cleaned_data
        try:
            tokens_paid(
                _doing(request, form), token=said["token"], day=said["day"], amount=said["amount"]
            )
        except Refused as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, f"{said['token']}: what {said['token'].issuer} paid is kept.")
    return form


# --- the fee sheet ---------------------------------------------------------------------------


@page(Right.SEE_SALES)
def fee_sheet(request: PageRequest, pk: int) -> HttpResponse:
    """One market's sales for its manager: nothing of any other place, of no customer, no cost."""
    place = get_or_refuse(request, SellingPlace.objects.all(), Right.SEE_SALES, pk=pk)
    first, last = _span(request)
    report = fee_report(
        place, fee_days(place, first, last), span=(first, last), made=made_by(request)
    )
    return handed_out(request, report, name=f"market-{place.pk}-{first}-{last}")


def _span(request: PageRequest) -> tuple[date, date]:
    """The days asked for; the last full month where none are."""
    form = DaysForm(request.GET)
    before = timezone.localdate().replace(day=1) - timedelta(days=1)
    said = form.cleaned_data if form.is_valid() else {}
    return said.get("first") or before.replace(day=1), said.get("last") or before


# --- parts -----------------------------------------------------------------------------------


def _own(request: PageRequest) -> QuerySet[Sale]:
    loads = visible_rows.loads(request.person, StallDay.objects.order_by())
    return settled_days().filter(stall_day__in=loads.values("pk"))


def _settled(request: PageRequest, seq: int) -> tuple[Sale, StallDay]:
    sales = Sale.objects.filter(
        stall_day__in=visible_rows.loads(request.person, StallDay.objects.all())
    )
    known = sales.select_related("entry", "place", "stall_day__place", "stall_day__seller__user")
    sale = get_or_refuse(request, known, *STALL, Right.SEE_SALES, entry=seq)
    assert sale.stall_day
    return sale, sale.stall_day


def _discount(sale: Sale) -> str:
    """Why something was sold for less, where it was."""
    return Settling.read(sale.entry.particulars).discount


def _advice(request: PageRequest, back: list[tuple[Lot, int]]) -> list[tuple[str, str, str]]:
    """What to do with each lot that came back: its code, how much, in words."""
    farm, day = request.farm, timezone.localdate()
    return [
        (
            advice.lot.code,
            f"{advice.lot.item}, {amount_of(advice.quantity, advice.lot, farm)}",
            advice_words(advice, farm.currency),
        )
        for advice in advice_for(back, day)
    ]


def _doing(request: PageRequest, form: FarmForm) -> Doing:
    return Doing(by=request.person, happened_at=timezone.now(), uuid=form.cleaned_data["uuid"])
