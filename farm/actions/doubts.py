"""What is doubtful in what was typed: held against the farm's own records, else against beliefs.

Each returns a question, or nothing; `questions.answered` asks them. The factors are own rules:
wide enough that a good or a bad day is taken without a word, narrow enough for the other unit
(pounds for kilos: 2.2 times) or a slipped decimal mark (10 times). Picks: `pick_doubts.py`;
counts: `count_doubts.py`.
"""

from collections.abc import Callable, Iterable
from datetime import date

from farm import habits
from farm.actions.common import both
from farm.actions.questions import PRICE_OFF, PlausibilityQuestion
from farm.models import (
    Customer,
    LotCard,
    Person,
    SellingPlace,
    Steriliser,
    Supply,
    WeightUnit,
    the_farm,
)
from farm.queries.growing.usual_values import Usual, last_price, usual_run, usual_spawn_ppm
from farm.queries.keeping import keeps_until, too_old_words
from farm.queries.selling.prices import Listed
from farm.refusals import MendedInDetails
from farm.units import MG_PER_LB, MG_PER_UNIT, show_money
from ledger.models import Dimension, Entry, Lot

TIMES_USUAL = 2  # against the middle of what was there before
SLIPPED = 10
# How far a price is from the last one, in percent of it, where the other unit explains it.
LIKE_THE_LAST = (80, 125)
TIMES_SPAWN, TIMES_MINUTES = 3, 3
# Spawn of the wet substrate: common practice, no source. Own spawn is used more freely.
BELIEVED_SPAWN_PPM = (5_000, 300_000)
# Drums steam for a day, vessels for an hour or two: common practice, no source.
BELIEVED_MINUTES = (20, 1_800)


def in_other_unit(by: Person, mass_mg: int, fits: Callable[[int], bool]) -> str:
    """Say what it would be had the other unit been meant, where that fits; else nothing.

    Who writes kilos may have read pounds off the scale, and who writes pounds kilos.
    """
    meant_mg = _as_other_unit(by, mass_mg)
    asked = "Kilograms" if writes_pounds(by) else "Pounds"
    return f" {asked}? Then it is {both(meant_mg)}." if fits(meant_mg) else ""


def spawn_doubt(by: Person, bags: Lot, *, spawn_mg: int, count: int) -> PlausibilityQuestion | None:
    """Ask about a spawn rate outside what is usual, as a share of the wet substrate."""
    if not bags.unit_mass_mg:
        return None
    wet_mg = bags.unit_mass_mg * count
    rate_ppm = spawn_mg * 1_000_000 // wet_mg
    usual = usual_spawn_ppm()
    low, high = _band(usual, TIMES_SPAWN, BELIEVED_SPAWN_PPM)
    hint = in_other_unit(by, spawn_mg, lambda mg: low <= mg * 1_000_000 // wet_mg <= high)
    is_off = usual and (is_twice(rate_ppm, usual) or is_half(rate_ppm, usual))
    if low <= rate_ppm <= high and not (is_off and hint):
        return None
    return PlausibilityQuestion(
        f"{both(spawn_mg)} of spawn for {count} bags of lot {bags.code} is "
        f"{rate_ppm / 10_000:.1f} % of the wet substrate, where {low / 10_000:.1f} % to "
        f"{high / 10_000:.1f} % is usual. Are the bags and the weight right?{hint}",
        [bags.code],
    )


def minutes_doubt(steriliser: Steriliser, minutes: int) -> PlausibilityQuestion | None:
    """Ask about a run far shorter or longer than this steriliser's runs."""
    usual = usual_run(steriliser, lambda said: said.minutes_at_temperature)
    low, high = _band(usual, TIMES_MINUTES, BELIEVED_MINUTES)
    if low <= minutes <= high:
        return None
    return PlausibilityQuestion(
        f"{minutes} minutes at temperature in {steriliser.name}, where {low} to {high} are usual. "
        "Hours, or another run?"
    )


def price_doubt(
    by: Person, supply: Supply, *, quantity: int, money: int, before: Entry | None = None
) -> PlausibilityQuestion | None:
    """Ask about a price ten times the last one, or a tenth of it: a decimal mark that slipped.

    Ask as well where the price is the last one had the other unit been meant. ``before``: the
    delivery itself, where it is recorded already.
    """
    last = last_price(supply, before=before)
    if last is None or not money or quantity <= 0:
        return None
    was_money, was_quantity = last
    now, was = money * was_quantity, was_money * quantity
    hint, low, high = "", *LIKE_THE_LAST
    if supply.item.dimension == Dimension.MASS:
        hint = in_other_unit(
            by, quantity, lambda mg: low * was_money * mg <= 100 * now <= high * was_money * mg
        )
    is_slipped = now >= was * SLIPPED or now * SLIPPED <= was
    if not is_slipped and not hint:
        return None
    farm = the_farm()
    like = was_money * quantity // was_quantity
    return PlausibilityQuestion(
        f"{show_money(money, farm.currency)} for this {supply}: at the price of the last "
        f"delivery it would be {show_money(like, farm.currency)}."
        + (" Did a decimal mark slip?" if is_slipped else f" Is the weight right?{hint}"),
        is_money=True,
        discreet="" if is_slipped else f"{PRICE_OFF}{hint}",
    )


def sale_price_doubt(lot: Lot, money: int, *, listed: Listed) -> PlausibilityQuestion | None:
    """Ask about a price ten times what is listed, or a tenth of it: 4.50 listed, 45.00 typed."""
    usual_money = listed.unit_money
    is_free = not money or not usual_money
    if is_free or usual_money < money * SLIPPED < usual_money * SLIPPED * SLIPPED:
        return None
    farm = the_farm()
    return PlausibilityQuestion(
        f"Lot {lot.code}: {show_money(money, farm.currency)} each, where "
        f"{show_money(listed.unit_money, farm.currency)} is the price ({listed.source}). "
        "Did a decimal mark slip?",
        [lot.code],
        is_money=True,
    )


def nobody_doubt(place: SellingPlace, customer: Customer | None) -> PlausibilityQuestion | None:
    """Ask for the customer where they have names: a trace forward would end in nobody."""
    if customer is not None or not place.names_customers:
        return None
    words = f"Nobody is named who bought it at {place}, so a recall could call nobody."
    is_any = Customer.objects.filter(place=place).exists()
    return PlausibilityQuestion(
        f"{words} Choose the customer. Was it sold to somebody without a name?",
        instead=None if is_any else MendedInDetails(words, of=Customer),
    )


def too_old_doubt(lots: Iterable[Lot], day: date) -> PlausibilityQuestion | None:
    """Ask about food that is past its days where somebody is to eat it; its last day is good.

    A stall is asked about when it is loaded: once it is settled the food was sold.
    """
    cards = LotCard.objects.filter(lot__in={lot.pk for lot in lots}).order_by("lot")
    old = [
        card
        for card in cards.select_related("lot", "species")
        if (until := keeps_until(card)) and until < day
    ]
    if not old:
        return None
    said = ", ".join(f"lot {card.lot.code} is {too_old_words(card, day)}" for card in old)
    return PlausibilityQuestion(
        f"On {habits.day(day)} {said}. Throw it away, unless you looked at it and are sure that it "
        "is good.",
        [card.lot.code for card in old],
    )


def _band(usual: Usual | None, times: int, believed: tuple[int, int]) -> tuple[int, int]:
    """From a third of the middle to three times it, and at least what was there before."""
    if usual is None:
        return believed
    return min(usual.middle // times, usual.least), max(usual.middle * times, usual.most)


def is_twice(stated: int, usual: Usual) -> bool:
    return stated > max(usual.middle * TIMES_USUAL, usual.most)


def is_half(stated: int, usual: Usual) -> bool:
    return stated * TIMES_USUAL < usual.middle and stated < usual.least


def is_near(stated: int, usual: Usual) -> bool:
    return usual.least <= stated * TIMES_USUAL and stated <= usual.most * TIMES_USUAL


def writes_pounds(by: Person) -> bool:
    return (by.weight_unit or the_farm().weight_unit) == WeightUnit.POUND


def _as_other_unit(by: Person, mass_mg: int) -> int:
    """The same figure in the other unit, rounded half to even: 4.4 kg become 4.4 lb, 1.996 kg."""
    kilo, pound = MG_PER_UNIT["kg"], MG_PER_LB
    return round(mass_mg * kilo / pound if writes_pounds(by) else mass_mg * pound / kilo)
