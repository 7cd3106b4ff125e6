"""The selling side of the played week: cold room, packs, kitchens, stall, dryer."""

from collections.abc import Sequence

from django.db.models import QuerySet

from farm.actions.common import Draw, drawn, on_hand
from farm.actions.selling.giving import give_away
from farm.actions.store.packing import pack
from farm.actions.store.storing import throw_away
from farm.demo.clock import Year
from farm.demo.market import fair, saturday
from farm.demo.members import filled_mg, give_boxes, set_boxes_aside, weigh_packs
from farm.demo.papers import (
    KILO_PRICE,
    deliver_orders,
    invoice_month,
    sell_dried_loose,
    sell_trim,
    set_orders_aside,
    take_orders,
)
from farm.demo.scenery import GRAM
from farm.demo.store import count_cold_room, fresh_mg, run_dryer, weigh_crate
from farm.models import Given, Grade, LoadLine, Stage
from farm.queries.sales import open_loads
from ledger.models import Lot

TUESDAY, WEDNESDAY, THURSDAY, FRIDAY, SATURDAY, SUNDAY = range(1, 7)
PROMISING_WEEK = 49  # from when on lots are set aside for kitchens
TRIM_WEEKS = 4  # every so many weeks a kitchen takes the trim; the rest is binned
GIFT_WEEKS = 13


def sell_week(year: Year, week: int, day: int) -> None:
    """Do what the weekday asks for on the selling side."""
    invoice_month(year)
    if day == TUESDAY:
        take_orders(year)
    elif day == WEDNESDAY and week >= PROMISING_WEEK:
        set_orders_aside(year)
    elif day == THURSDAY:
        deliver_orders(year)
        sell_trim(year)
        count_cold_room(year, week)
    elif day == FRIDAY:
        _friday(year, week)
    elif day == SATURDAY:
        give_boxes(year, week)
        saturday(year, week)
    elif day == SUNDAY:
        fair(year, week)
        _tidy(year, week)


def _friday(year: Year, week: int) -> None:
    """Weigh crates every other week, pack for the market, and set the members' boxes aside."""
    if week % 2:
        _weigh(year)
    _pack(year, week)
    weigh_packs(year, week)
    set_boxes_aside(year, week)
    if week % GIFT_WEEKS == GIFT_WEEKS - 1:
        _thank(year)


def _thank(year: Year) -> None:
    """Give a pack to a neighbour who lent a hand."""
    packs = on_hand(Stage.PACKS, product__form="fresh").last()
    if packs:
        reason = "the neighbour who lent the trailer"
        give_away(year.aside("gift", reason), why=Given.GIFT, draws=[Draw(packs, 1)])


def _crop(year: Year, key: str, grade: str) -> list[Lot]:
    species = year.scenery.strains[key].species
    return list(on_hand(Stage.CROP, species=species, grade=grade))


def _age(year: Year, lot: Lot) -> int:
    """Days since a pick."""
    assert lot.card.harvested_on
    return (year.clock.date() - lot.card.harvested_on).days


def _weigh(year: Year) -> None:
    """Weigh the oldest crate of each species again: it lost water, now and then more."""
    for key in KILO_PRICE:
        for lot in _crop(year, key, Grade.FIRSTS)[:1]:
            weigh_crate(year, lot)


def _pack(year: Year, week: int) -> None:
    """Pack what the market can take, oldest picks first, a little over the declared weight."""
    for key in KILO_PRICE:
        product = year.scenery.products[key]
        keeps = product.species.fridge_days
        lots = [lot for lot in _crop(year, key, Grade.FIRSTS) if _age(year, lot) <= keeps][:3]
        packs = min(44, sum(lot.quantity for lot in lots) // filled_mg(week, product.net_mg))
        if packs < 4:
            continue
        draws, _ = drawn(lots, packs * filled_mg(week, product.net_mg))
        cold = year.scenery.shelves["fridge"]
        pack(year.doing("tam"), product=product, packs=packs, draws=draws, shelf=cold)


def _tidy(year: Year, week: int) -> None:
    """Dry what will not sell fresh, bin packs that no stall has, pack what was dried."""
    for key in KILO_PRICE:
        species = year.scenery.strains[key].species
        back = list(_came_back().filter(card__species=species)) if week % 2 else []
        if week % TRIM_WEEKS:
            _bin_trim(year, key)
        _old_crop(year, key, back)
        if week % 4 == 3:
            sell_dried_loose(year, key)
            _pouches(year, key)
    for lot in _came_back():
        throw_away(year.doing("tam", "old"), lot=lot, quantity=lot.quantity)


def _came_back() -> QuerySet[Lot]:
    """Fresh packs that no stall has."""
    loaded = LoadLine.objects.filter(stall_day__in=open_loads().order_by())
    return on_hand(Stage.PACKS, product__form="fresh").exclude(load_lines__in=loaded)


def _bin_trim(year: Year, key: str) -> None:
    for lot in _crop(year, key, Grade.TRIM):
        throw_away(year.doing("tam", "old"), lot=lot, quantity=lot.quantity)


def _old_crop(year: Year, key: str, back: Sequence[Lot]) -> None:
    """Dry together what keeps no longer and the packs that came back."""
    keeps = year.scenery.strains[key].species.fridge_days
    crop = [*_crop(year, key, Grade.FIRSTS), *_crop(year, key, Grade.SECONDS)]
    lots = [*(lot for lot in crop if _age(year, lot) >= keeps - 3), *back]
    if fresh_mg(lots) >= 800 * GRAM:
        run_dryer(year, key, lots)


def _pouches(year: Year, key: str) -> None:
    product = year.scenery.products[f"dried {key}"]
    lots = list(on_hand(Stage.DRIED, species=product.species))
    packs = min(12, sum(lot.quantity for lot in lots) // product.net_mg)
    if packs:
        draws, _ = drawn(lots, packs * product.net_mg)
        dry_shelf = year.scenery.shelves["jars"]
        pack(year.doing("tam"), product=product, packs=packs, draws=draws, shelf=dry_shelf)
