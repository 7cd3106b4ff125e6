"""What stands on a lot's label: what it is, its days, its weight, and the wording that is due."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from django.utils import timezone

from farm.kinds.growing import CHECK
from farm.models import Farm, Form, LotCard, Species, Stage
from farm.queries.keeping import past_words
from farm.units import MG_PER_LB, MG_PER_UNIT, show_both, show_mass
from ledger.models import Dimension, Lot

KEEP_COLD = "Keep cold."
DRIED = "Dried; cook thoroughly before eating."
# What DRIED says already.
USUAL_NOTE = "Cook thoroughly."
MOST_LABELS = 2000  # at once: a slip of the finger must not print a roll
# What the day of a lot's first entry is called on its label.
DAY_WORDS = {
    Stage.SUPPLY: "Received",
    Stage.CULTURE: "Started",
    Stage.GRAIN: "Filled",
    Stage.SPAWN: "Inoculated",
    Stage.BAGS: "Filled",
    Stage.BLOCKS: "Inoculated",
    Stage.DRIED: "Dried",
    Stage.SPENT: "Kept",
}
PIECES = (Stage.CULTURE, Stage.GRAIN, Stage.BAGS, Stage.BLOCKS, Stage.PACKS)


@dataclass(frozen=True, kw_only=True)
class Label:
    """One label's words. Where a label is small ``facts`` are left out, then ``what``; no more.

    ``scanned`` is all that the square code says: the lot code, alone or behind the address that
    shows the lot.
    """

    code: str
    scanned: str
    title: str
    what: str = ""
    facts: tuple[str, ...] = ()
    dates: tuple[str, ...] = ()
    weight: str = ""
    wording: tuple[str, ...] = ()
    farm_name: str
    farm_place: str


def labels_of(lots: Iterable[Lot], farm: Farm, address: str = "") -> list[Label]:
    """Word a label for each lot (from ``stock.all_lots``); ``address``: what the code follows."""
    return [_label(lot, farm, address) for lot in lots]


def usual_count(lot: Lot) -> int:
    """How many labels a lot wants: one a bag, block, pack or portion on hand, else one."""
    card: LotCard = lot.card
    pieces = lot.quantity if card.stage in PIECES else card.bags
    return pieces or 1


def net_words(net_mg: int, first: str) -> str:
    """Print a declared net weight in both systems, never more than the pack holds.

    Each is rounded down: 250 g are 8.818 oz and print "250 g · 8.81 oz". Half a milligram may
    have gone when the weight was read, so one is given back first: 8 oz, kept as 226,796 mg,
    print "8.0 oz · 226 g" and not 7.99 oz.
    """
    small = net_mg + 1 < MG_PER_LB
    steps = (("g", 1), ("oz", 100)) if small else (("kg", 1000), ("lb", 100))
    pair = [show_mass(_down(net_mg + 1, unit, parts), unit) for unit, parts in steps]
    return " · ".join(pair if first == "kg" else reversed(pair))


def _down(mass_mg: int, unit: str, parts: int) -> int:
    """Round down to a part of a unit (1/100 oz, 1 g), back in mg, half to even."""
    step = MG_PER_UNIT[unit] / parts
    return round(Fraction(mass_mg) // step * step)


def _label(lot: Lot, farm: Farm, address: str) -> Label:
    card: LotCard = lot.card
    return Label(
        code=lot.code,
        scanned=address + lot.code,
        title=_title(lot, card),
        what=_what(card),
        facts=_facts(lot, card),
        dates=_dates(lot, card),
        weight=_weight(lot, card, farm),
        wording=_wording(card),
        farm_name=farm.name,
        farm_place=farm.place,
    )


def _title(lot: Lot, card: LotCard) -> str:
    if card.product:
        return card.product.name
    species = _species(card)
    if species is None or card.stage == Stage.SPENT:
        return lot.item.name
    return f"Dried {species.name.lower()}" if card.stage == Stage.DRIED else species.name


def _species(card: LotCard) -> Species | None:
    return card.species or (card.strain.species if card.strain else None)


def _what(card: LotCard) -> str:
    """Say the stage, with the strain or the grade and flush where they are known."""
    strain = f"strain {card.strain.name}" if card.strain else ""
    if card.stage == Stage.SPENT:
        return strain.capitalize()
    if card.stage in (Stage.PACKS, Stage.SUPPLY):
        return ""
    flush = f"flush {card.flush}" if card.flush else ""
    said = [card.get_stage_display().capitalize(), strain, card.grade, flush]
    return ", ".join(words for words in said if words)


def _facts(lot: Lot, card: LotCard) -> tuple[str, ...]:
    growing = card.stage in (Stage.SPAWN, Stage.BLOCKS)
    packed_on = _started_on(lot) if card.stage == Stage.PACKS else None
    said = (
        f"Packed {_day(packed_on)}" if packed_on else "",
        f"GTIN {card.gtin}" if card.gtin else "",
        f"Recipe {card.recipe}" if card.recipe else "",
        f"Generation {card.generation}" if growing and card.generation is not None else "",
        f"Transfers {card.transfers}" if card.stage == Stage.CULTURE and card.transfers else "",
        f"From {card.supplier}" if card.supplier else "",
        f"Supplier's lot {card.supplier_lot}" if card.supplier_lot else "",
        f"Made of {past}" if (past := past_words(lot)) else "",
    )
    return tuple(words for words in said if words)


def _dates(lot: Lot, card: LotCard) -> tuple[str, ...]:
    made = DAY_WORDS.get(Stage(card.stage))
    said = (
        f"Harvested {_day(card.harvested_on)}" if card.harvested_on else "",
        f"{made} {_day(_started_on(lot))}" if made else "",
        f"Best before {_day(card.best_before)}" if card.best_before else "",
    )
    return tuple(words for words in said if words)


def _started_on(lot: Lot) -> date:
    """The day a lot began: what a check split off began with the lot it came from."""
    while lot.made_by.kind == CHECK:
        lot = lot.edges_in.select_related("src__made_by").get().src
    return lot.made_by.happened_on


def _day(day: date, *, year: bool = True) -> str:
    return f"{day.day} {day:{'%b %Y' if year else '%b'}}"


def _weight(lot: Lot, card: LotCard, farm: Farm) -> str:
    """A pack's declared net weight as it was packed, a piece's weight, or what the lot weighs.

    What is weighed as a lot states the day of the weight, because it does not stay.
    """
    if card.product and lot.unit_mass_mg:
        return f"Net weight {net_words(lot.unit_mass_mg, farm.weight_unit)}"
    if lot.unit_mass_mg:
        return f"{show_both(lot.unit_mass_mg, farm.weight_unit)} each"
    if lot.item.dimension == Dimension.MASS and lot.quantity:
        today = _day(timezone.localdate(), year=False)
        return f"Lot of {show_both(lot.quantity, farm.weight_unit)} on {today}"
    return ""


def _wording(card: LotCard) -> tuple[str, ...]:
    """What the eater must be told; what is not food, or not yet, says nothing."""
    if card.stage == Stage.SPENT:
        return ()
    species = _species(card)
    note = (species.cooking_note,) if species and species.cooking_note else ()
    if card.product and card.product.label_text:
        note = (*note, card.product.label_text)
    if card.stage == Stage.DRIED or (card.product and card.product.form == Form.DRIED):
        return (DRIED, *(words for words in note if words != USUAL_NOTE))
    return (KEEP_COLD, *note) if card.stage in (Stage.CROP, Stage.PACKS) else ()


def grouped(code: str) -> str:
    """Part a code for reading aloud, three signs at a time: K7M4Q is "K7M 4Q"."""
    return " ".join(code[at : at + 3] for at in range(0, len(code), 3))
