"""The till of a stall: one large button a product, and each tap kept at once."""

from dataclasses import dataclass
from uuid import uuid4

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from farm.actions.common import Doing
from farm.actions.recording import unfinished
from farm.actions.selling.till import set_price
from farm.models import Farm, StallDay, Tap
from farm.pages import visible_rows
from farm.pages.access import PageRequest, Right, get_or_refuse, page
from farm.pages.frame import show
from farm.pages.from_phone import ENTERED, asks_for_json, entered, in_json, receive_form, told
from farm.pages.kept_pages import may_be_kept
from farm.pages.recording_form import FarmForm
from farm.pages.selling import tapping
from farm.pages.selling.till_forms import BACK, TapForm, TillPriceForm
from farm.pages.sending import Outcome, State, acted, words_of_errors
from farm.pages.sent_forms import BY_PHONE, ERROR, WAITING, as_kept, kept_under
from farm.queries.sales import open_loads
from farm.queries.selling.till import TillGoods, newest_taps, till_goods
from farm.templatetags.farm_format import amount_of
from farm.units import show_money
from ledger.errors import OnHold, Refused


@dataclass(frozen=True)
class TillRow:
    """One button. ``number``: of its next tap; ``over``: how much more was tapped than loaded."""

    goods: TillGoods
    number: str
    loaded: str
    over: str


@dataclass(frozen=True)
class WaitingTap:
    """A tap to be sorted out: what it was, why it was refused, and what is sent again."""

    words: str
    refusal: str
    sent: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class TillPage:
    load: StallDay
    rows: list[TillRow]
    newest: list[Tap]
    price: TillPriceForm
    settled: bool
    waiting: WaitingTap | None


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
        waiting=_waiting(request, load, goods),
    )
    response = show(request, "farm/stall/till.html", shown)
    return response if shown.waiting else may_be_kept(response)


def _waiting(request: PageRequest, load: StallDay, goods: list[TillGoods]) -> WaitingTap | None:
    """Show the tap that is opened from To sort out, in words."""
    kept = kept_under(request.GET.get(WAITING))
    if kept is None or kept.name != f"{tapping.TAP}{load.pk}":
        return None
    sent = {name: values[0] for name, values in kept.data.items() if name in TapForm.base_fields}
    names = {str(one.item.pk): str(one.item) for one in goods}
    item = names.get(sent.get("item", ""), "something that is not loaded")
    what = sent.get("what", "")
    said = [item, sent.get("amount", ""), "taken back" if what == BACK else what]
    price = sent.get("unit_money", "")
    if price.isdecimal():
        said.append(f"price {show_money(int(price), request.farm.currency)}")
    return WaitingTap(", ".join(filter(None, said)), kept.refusal, tuple(sent.items()))


@require_POST
@page(Right.SELL)
def till_tap(request: PageRequest, pk: int) -> HttpResponse:
    """Keep one tap; a phone that asks for JSON is told in JSON what became of it.

    One that waited on the phone and is refused is kept under To sort out; whoever taps with a
    signal is told at once.
    """
    load = _load(request, pk)
    as_json, address = asks_for_json(request), reverse("till", args=[pk])
    waited = as_json and BY_PHONE[0] in request.POST
    before = receive_form(request) if waited else None
    if before is not None:
        return before
    form = TapForm(request.POST, farm=request.farm)
    last = tapping.waiting_before(request.person, load, form) if waited else None
    if last is not None:
        tapping.take_back_waiting(last, form.cleaned_data["uuid"], request.person)
        return entered("The tap that waited is taken back.", address)
    outcome = acted(
        form,
        lambda: tapping.tapped(request.person, load, form),
        request.person,
        waits_for=(OnHold,) if waited else (),
    )
    words = outcome.made or " ".join(outcome.words)
    if waited and outcome.made is None:
        return _waits(request, load, outcome)
    if as_json:
        return told(ERROR if outcome.made is None else ENTERED, words, address)
    if outcome.made is None:
        messages.error(request, words)
    return redirect(address)


def _waits(request: PageRequest, load: StallDay, outcome: Outcome[str]) -> HttpResponse:
    """Keep a tap that waited on the phone and is refused; one of a lot on hold is tried again."""
    name = f"{tapping.TAP}{load.pk}"
    if outcome.state is State.WAITS:
        assert isinstance(outcome.refusal, OnHold)
        data = as_kept(request.POST, request.GET)
        unfinished.keep(name, _doing(request, outcome.form), data, refusal=outcome.refusal)
    return in_json(request, name, outcome)


@require_POST
@page(Right.SELL)
def till_price(request: PageRequest, pk: int) -> HttpResponse:
    load = _load(request, pk)
    goods = till_goods(load)
    form = TillPriceForm(request.POST, farm=request.farm, goods=goods)
    if not form.is_valid():
        messages.error(request, " ".join(words_of_errors(form)))
        return redirect("till", pk)
    said = form.cleaned_data
    try:
        set_price(
            _doing(request, form),
            stall_day=load,
            item=form.goods[said["item"]].item,
            unit_money=said["unit_money"],
            why=said["why"],
        )
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("till", pk)


def till_row(goods: TillGoods, farm: Farm) -> TillRow:
    lot = goods.lots[0]
    over = str(goods.over) if goods.is_counted else amount_of(goods.over, lot, farm)
    return TillRow(goods, str(uuid4()), amount_of(goods.loaded, lot, farm), over)


def _load(request: PageRequest, pk: int) -> StallDay:
    loads = visible_rows.loads(request.person, StallDay.objects.select_related("place", "entry"))
    return get_or_refuse(request, loads, Right.SELL, pk=pk)


def _doing(request: PageRequest, form: FarmForm) -> Doing:
    return Doing(by=request.person, happened_at=timezone.now(), uuid=form.cleaned_data["uuid"])
