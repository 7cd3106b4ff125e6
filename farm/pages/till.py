"""The till of a stall: one large button a product, and each tap kept at once."""

from dataclasses import dataclass
from uuid import uuid4

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from farm.actions.common import Doing
from farm.actions.till import set_price, tap
from farm.models import Farm, StallDay, Tap
from farm.pages import from_phone, seen
from farm.pages.access import PageRequest, Right, get_or_refuse, page
from farm.pages.forms.doing import FarmForm
from farm.pages.forms.till import TapForm, TillPriceForm
from farm.pages.frame import show
from farm.pages.kept_pages import may_be_kept
from farm.pages.sorting_out import ERROR
from farm.queries.sales import open_loads
from farm.queries.till import TillGoods, newest_taps, till_goods
from farm.templatetags.farm_format import amount_of
from farm.units import UnitError
from ledger.errors import Refused


@dataclass(frozen=True)
class TillRow:
    """One button. ``number``: of its next tap; ``over``: how much more was tapped than loaded."""

    goods: TillGoods
    number: str
    loaded: str
    over: str


@dataclass(frozen=True)
class TillPage:
    load: StallDay
    rows: list[TillRow]
    newest: list[Tap]
    price: TillPriceForm
    settled: bool


@page(Right.SELL)
def till(request: PageRequest, pk: int) -> HttpResponse:
    """One large button a product; each tap is a small form of its own, kept at once."""
    load = _load(request, pk)
    goods = till_goods(load)
    shown = TillPage(
        load=load,
        rows=[till_row(one, request.farm) for one in goods],
        newest=newest_taps(load),
        price=TillPriceForm(farm=request.farm, goods=goods, initial={"uuid": uuid4()}),
        settled=load not in open_loads(),
    )
    return may_be_kept(show(request, "farm/stall/till.html", shown))


@require_POST
@page(Right.SELL)
def till_tap(request: PageRequest, pk: int) -> HttpResponse:
    """Keep one tap; a phone that asks for JSON is told in JSON what became of it."""
    load = _load(request, pk)
    words, good = _tapped(request, load, TapForm(request.POST, farm=request.farm))
    address = reverse("till", args=[pk])
    if from_phone.asks_for_json(request):
        state = from_phone.ENTERED if good else ERROR
        return from_phone.told(state, words, address)
    if not good:
        messages.error(request, words)
    return redirect(address)


def _tapped(request: PageRequest, load: StallDay, form: TapForm) -> tuple[str, bool]:
    goods = {one.item.pk: one for one in till_goods(load)}
    one = goods.get(form.cleaned_data["item"]) if form.is_valid() else None
    if one is None:
        return f"This tap was not understood: {from_phone.words_of_errors(form)}", False
    try:
        quantity = form.quantity_of(one)
        tap(
            _doing(request, form), stall_day=load, item=one.item, quantity=quantity, of=form.of(),
            unit_money=form.cleaned_data["unit_money"], kept_at=from_phone.kept_at(request),
        )  # fmt: skip
    except ValidationError as refusal:
        return " ".join(refusal.messages), False
    except (Refused, UnitError) as refusal:
        return str(refusal), False
    return f"{one.item}: {form.cleaned_data['what']}.", True


@require_POST
@page(Right.SELL)
def till_price(request: PageRequest, pk: int) -> HttpResponse:
    load = _load(request, pk)
    goods = till_goods(load)
    form = TillPriceForm(request.POST, farm=request.farm, goods=goods)
    if not form.is_valid():
        messages.error(request, from_phone.words_of_errors(form))
        return redirect("till", pk)
    said = form.cleaned_data
    try:
        set_price(
            _doing(request, form), stall_day=load, item=form.goods[said["item"]].item,
            unit_money=said["unit_money"], why=said["why"],
        )  # fmt: skip
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("till", pk)


def till_row(goods: TillGoods, farm: Farm) -> TillRow:
    lot = goods.lots[0]
    over = str(goods.over) if goods.is_counted else amount_of(goods.over, lot, farm)
    return TillRow(goods, str(uuid4()), amount_of(goods.loaded, lot, farm), over)


def _load(request: PageRequest, pk: int) -> StallDay:
    loads = seen.loads(request.person, StallDay.objects.select_related("place", "entry"))
    return get_or_refuse(request, loads, Right.SELL, pk=pk)


def _doing(request: PageRequest, form: FarmForm) -> Doing:
    return Doing(
        by=request.person, happened_at=timezone.now(),
        uuid=form.cleaned_data["uuid"]
    )  # fmt: skip
