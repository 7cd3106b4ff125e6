"""The till of a stall: one row a tap, kept at once; the day's settling turns them into a sale.

A tap comes from a page that may be without signal, so it is kept whenever it arrives, and once.
"""

from collections.abc import Sequence
from datetime import datetime
from fractions import Fraction

from django.db import transaction

from farm import habits
from farm.actions.common import Doing, need_stage
from farm.actions.hold_refusals import named
from farm.actions.selling.pricing import PACK, Terms
from farm.actions.selling.selling import SoldLine
from farm.kinds.selling import SELLABLE
from farm.models import (
    Discount,
    LoadLine,
    Person,
    Role,
    SellingPlace,
    Stage,
    StallDay,
    Tap,
    TapOf,
    TillPrice,
    the_farm,
)
from farm.queries.selling.till import TillGoods, goods_at, last_tap, till_goods
from farm.units import show_money
from ledger import book
from ledger.amounts import MILLION
from ledger.errors import Conflict, Malformed, OnHold
from ledger.models import Item
from ledger.working import held_since


@transaction.atomic
def tap(
    doing: Doing,
    *,
    stall_day: StallDay,
    item: Item,
    quantity: int = 1,
    of: str = TapOf.SOLD,
    unit_money: int | None = None,
    kept_at: datetime | None = None,
) -> Tap:
    """Keep one tap; ``quantity`` below zero takes the last tap of that item back.

    Refuses a product of which a loaded lot is on hold; what was tapped before the hold is kept,
    also where it waited on a phone, since ``kept_at``.

    ``unit_money``: the price that the page showed, since a tap may arrive when the price has
    changed; None: the price now. Sent twice it counts once. It is kept also after the day was
    settled, where it no longer changes what was sold.
    """
    book.lock_head()
    known = Tap.objects.filter(uuid=doing.uuid).first()
    if known:
        return _the_same(known, stall_day, item, quantity=quantity)
    goods = _goods(stall_day, item)
    if quantity < 0:
        return _take_back(doing, stall_day, goods)
    if not quantity or of not in TapOf.values:
        raise Malformed(f"{item}: {quantity} cannot be tapped. State how much.")
    _check_free(goods, kept_at or doing.happened_at)
    asked = _asked(goods, unit_money)
    _check_price(doing.by, stall_day.place, goods, asked=asked)
    return _keep(doing, stall_day, item, quantity=quantity, of=of, unit_money=asked)


@transaction.atomic
def set_price(
    doing: Doing, *, stall_day: StallDay, item: Item, unit_money: int, why: str
) -> TillPrice:
    """Sell an item for another price from now on; a seller only within the place's limit."""
    book.lock_head()
    known = TillPrice.objects.filter(uuid=doing.uuid).first()
    if known:
        if (known.stall_day_id, known.item_id, known.unit_money) == (
            stall_day.pk,
            item.pk,
            unit_money,
        ):
            return known
        raise Conflict("This price was sent before with another number. Fill in a new form.")
    goods = _goods(stall_day, item)
    if why not in Discount.values:
        raise Malformed(f"“{why}” is no reason here. Choose {', '.join(Discount.values)}.")
    if goods.list_money is not None and unit_money > goods.list_money:
        raise Malformed(
            f"{item}: {_shown(unit_money)} is above the listed {_shown(goods.list_money)}. Add the "
            "new price under Farm details, prices."
        )
    _check_price(doing.by, stall_day.place, goods, asked=unit_money)
    return TillPrice.objects.create(
        uuid=doing.uuid,
        stall_day=stall_day,
        item=item,
        unit_money=unit_money,
        why=why,
        at=doing.happened_at,
        by=doing.by,
    )


def check_discount(by: Person, stall_day: StallDay, lines: Sequence[SoldLine]) -> None:
    """Refuse what a seller takes off beyond the limit of the place; the owner may take off any.

    At 10 %, 30 packs listed at 5.00 may be sold for 135.00 or more. What has no listed price
    may be sold for any.
    """
    if by.role != Role.SELLER or not lines:
        return
    listed = {goods.item: goods.list_money for goods in till_goods(stall_day)}
    for line in lines:
        full = _gross(line, listed[line.lot.item])
        asked = _asked_of(line)
        if _beyond(by, stall_day.place, full=full, asked=asked):
            raise Malformed(
                f"Lot {line.lot.code}: sold for {_shown(int(asked))} instead of {_shown(full)}. "
                f"{_limit_words(stall_day.place)}",
                [line.lot.code],
            )


# --- one tap ---------------------------------------------------------------------------------


def _keep(
    doing: Doing, stall_day: StallDay, item: Item, *, quantity: int, of: str, unit_money: int
) -> Tap:
    return Tap.objects.create(
        uuid=doing.uuid,
        stall_day=stall_day,
        item=item,
        of=of,
        quantity=quantity,
        unit_money=unit_money,
        at=doing.happened_at,
        by=doing.by,
    )


def _take_back(doing: Doing, stall_day: StallDay, goods: TillGoods) -> Tap:
    last = last_tap(stall_day, goods.item)
    if last is None:
        raise Malformed(f"{goods.item}: nothing is tapped that could be taken back.")
    return _keep(
        doing,
        stall_day,
        goods.item,
        quantity=-last.quantity,
        of=last.of,
        unit_money=last.unit_money,
    )


def _the_same(known: Tap, stall_day: StallDay, item: Item, *, quantity: int) -> Tap:
    if (known.stall_day_id, known.item_id) != (stall_day.pk, item.pk) or (
        (known.quantity < 0) != (quantity < 0)
    ):
        raise Conflict("This tap was sent before with other content. Tap anew.")
    return known


def _goods(stall_day: StallDay, item: Item) -> TillGoods:
    if not LoadLine.objects.filter(stall_day=stall_day, lot__item=item).exists():
        raise Malformed(
            f"{item} was not loaded for {stall_day.place} on {habits.day(stall_day.day)}."
        )
    return goods_at(stall_day, item)


def _asked(goods: TillGoods, unit_money: int | None) -> int:
    asked = goods.unit_money if unit_money is None else unit_money
    if asked is None:
        raise Malformed(f"{goods.item}: no price is known. State the price first.")
    return asked


def _check_free(goods: TillGoods, tapped_at: datetime) -> None:
    for lot in goods.held:
        since = held_since(lot.pk)
        if since is None or tapped_at >= since:
            raise named(
                OnHold(
                    f"{goods.item}: lot {lot.code} is loaded and on hold, so none may be sold or "
                    "given away. Set all of it aside, and ask the owner.",
                    [lot.code],
                )
            )


# --- prices ----------------------------------------------------------------------------------


def _gross(line: SoldLine, unit_money: int | None = None) -> int:
    """What a line comes to at its own price, or at another; tax makes no difference to a share."""
    packed = need_stage(line.lot, *SELLABLE).stage == Stage.PACKS
    price = line.unit_money if unit_money is None else unit_money
    return Terms(price, PACK if packed else line.weight_unit, 0, True).of(line.quantity).gross


def _asked_of(line: SoldLine) -> Fraction:
    """What is asked for a line: of a sum for several lots, its part by quantity."""
    if line.whole_money is None:
        return Fraction(_gross(line))
    return Fraction(line.whole_money * line.quantity, line.whole_of or line.quantity)


def _check_price(by: Person, place: SellingPlace, goods: TillGoods, *, asked: int) -> None:
    if goods.list_money is not None and _beyond(by, place, full=goods.list_money, asked=asked):
        raise Malformed(
            f"{goods.item}: {_shown(asked)} instead of {_shown(goods.list_money)}. "
            f"{_limit_words(place)}"
        )


def _beyond(by: Person, place: SellingPlace, *, full: int, asked: int | Fraction) -> bool:
    least = Fraction(full * (MILLION - place.discount_ppm), MILLION)
    return by.role == Role.SELLER and asked < least


def _limit_words(place: SellingPlace) -> str:
    percent = Fraction(place.discount_ppm, 10_000)
    return (
        f"A seller may take off {float(percent):g} % at {place}. Ask the owner, who may record it "
        "or change the limit under Farm details, selling places."
    )


def _shown(money: int) -> str:
    return show_money(money, the_farm().currency)
