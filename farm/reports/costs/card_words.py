"""The cost card in sentences: what to ask, what drives it, how far off it may be."""

from fractions import Fraction

from farm.habits import marked, to_places
from farm.planning.card import HOUR, MILLION, Card
from farm.planning.drivers import main_driver
from farm.planning.inputs import Names
from farm.planning.outlook import Range
from farm.planning.work import Worked
from farm.units import in_currency

COIN = 10_000
SELDOM = 0.001  # of a thousand batches, less than one is not worth a word
FEW = 20


def headline(worked: Worked, names: Names, currency: str) -> str:
    """Say what to ask, what that is without own hours, and what most of it comes from."""
    here = worked.here
    floor, bare, target = (
        money(ask.pack_money, currency) for ask in (here.floor, worked.bare_floor, here.target)
    )
    said = (
        f"Ask {target} a pack to keep {percent(here.target.margin)} of the net price; below "
        f"{floor} it loses money ({bare} without own hours). {names.pack} at {names.place}."
    )
    driver = main_driver(worked.card)
    if driver is None:
        return said
    told = _CAUSES[driver.key](worked.card, names, currency)
    return f"{said} What drives it: {told}, {percent(driver.share, 0)} of the cost."


def range_words(found: Range, currency: str) -> str:
    """Say where eight batches in ten lie; without a dear end, why there is none."""
    if found.low is None:
        return "no cost: more than nine batches in ten give nothing"
    low = to_places(found.low / COIN, 2)
    if found.high is None:
        return f"{low} {currency} per kg and more, without a dear end: {nothing_words(found)}"
    words = nothing_words(found)
    ends = f"{low} to {to_places(found.high / COIN, 2)} {currency} per kg"
    return f"{ends}; {words}" if words else ends


def nothing_words(found: Range) -> str:
    """Say how many batches give nothing: of few in plain parts, of many one in so many."""
    share = found.nothing
    if share < SELDOM:
        return ""
    if share * FEW < 1:
        return f"1 batch in {round(1 / share)} gives nothing"
    part = Fraction(share).limit_denominator(FEW)
    if part == 1:
        return "every batch gives nothing"
    if part.numerator == 1:
        return f"1 batch in {part.denominator} gives nothing"
    return f"{part.numerator} batches in {part.denominator} give nothing"


def money(amount: int, currency: str) -> str:
    return in_currency(to_places(amount / COIN, 2), currency)


def percent(share: Fraction, places: int = 1) -> str:
    shown = f"{float(share) * 100:.{places}f}"
    return marked(shown.removesuffix(".0")) + " %"


def short(number: Fraction) -> str:
    """Write a number with at most one decimal: 7, 57.5."""
    return marked(f"{float(round(number, 1)):.1f}".removesuffix(".0"))


# --- what drives it --------------------------------------------------------------------------


def _day(card: Card, names: Names, currency: str) -> str:
    """“one market day with 7 packs carries a 30.00 fee and 5 own hours”."""
    place, rates = card.plan.place, card.plan.rates
    packs = short(Fraction(place.day_mg, card.plan.pack.net_mg))
    own = Fraction(place.day_seconds * rates.own_ppm, HOUR * MILLION)
    paid = Fraction(place.day_seconds, HOUR) - own
    carried = [
        *([f"a {money(place.day_fee_money, currency)} fee"] if place.day_fee_money else []),
        *([f"{short(own)} own hours"] if own else []),
        *([f"{short(paid)} paid hours"] if paid else []),
    ]
    *first, last = carried
    said = f"{', '.join(first)} and {last}" if first else last
    return f"{names.day} with {packs} {'pack' if packs == '1' else 'packs'} carries {said}"


def _growing(card: Card, names: Names, currency: str) -> str:
    block = money(round(card.block_cost), currency)
    return f"a block that costs {block} gives {to_places(float(card.chain.yield_kg), 3)} kg"


def _picking(card: Card, names: Names, currency: str) -> str:
    return f"a kilo takes {short(Fraction(card.plan.crop.pick_seconds, 60))} min to pick"


def _packing(card: Card, names: Names, currency: str) -> str:
    pack = card.plan.pack
    empty, minutes = money(pack.pack_money, currency), short(Fraction(pack.pack_seconds, 60))
    return f"an empty pack costs {empty} and takes {minutes} min to fill"


_CAUSES = {
    "growing": _growing,
    "lost": lambda card, *_: f"{percent(1 - card.chain.kept)} of the blocks are lost",
    "picking": _picking,
    "trim": lambda card, *_: f"{percent(1 - card.chain.untrimmed)} of what is picked is trim",
    "packing": _packing,
    "fridge": lambda card, *_: f"the fridge takes {percent(1 - card.chain.unshrunk)} of the weight",
    "unsold": lambda card, *_: f"{percent(1 - card.chain.bought)} stays unsold and is binned",
    "day": _day,
}
