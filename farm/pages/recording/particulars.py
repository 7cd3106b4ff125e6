"""What was stated beside an entry, in words: amounts with their units, days, prices by lot."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from farm.habits import day
from farm.kinds.store import DRY
from farm.models import Farm, SellingPlace
from farm.pages.access import PageRequest, Right, may
from farm.queries.entries import particulars
from farm.queries.store.dryings import drying_in
from farm.reports.store.drying_rows import balance_facts
from farm.templatetags.farm_format import percent, reading
from farm.units import show_money
from ledger.models import Entry

# Names of particulars, in the order in which they are told, where they are not plain from their
# key; some mean different things by the kind.
WORDS: Mapping[str, str] = {
    "water_mg": "water added",
    "added_water_ppm": "added water, of the filled weight",
    "moisture_wet_basis_ppm": "moisture, wet basis (water of the whole)",
    "moisture_dry_basis_ppm": "moisture, dry basis (water on dry matter)",
    "of_wet_substrate_ppm": "spawn, of the wet substrate",
    "of_finished_bag_ppm": "spawn, of the finished block",
    "of_dry_substrate_ppm": "spawn, of the dry substrate",
    "dry_of_dry_ppm": "dry spawn, of the dry substrate",
    "gauge_pa": "pressure, gauge",
    "minutes_at_temperature": "time at temperature",
    "checked": "looked at",
    "colonised_percent": "grown through",
    "minutes_drying": "drying time",
    "slice_mm": "slices",
    "fresh_per_dried_ppm": "fresh to dried",
    "spawn_mg_per_block": "spawn in each block",
    "drawn_mg": "weighed in",
    "net_mg": "declared on each",
    "over_mg": "over the declared weight",
    "book_mg": "weight in the book before",
    "weight_mg": "weighs now",
    "band_mg": "water it may have lost",
    "weigh again days": "days since it was weighed",
    "declared_mg": "declared on each",
    "tare_mg": "empty pack",
    "gross_mg": "packs with what is in them",
    "rate_ppm": "water that goes a day",
    "check weights days": "days until its last day of sale",
    "minutes_stated": "time stated",
    "asked": "asked",
    "asked_of_money": "asked of the price",
    "answer": "answer",
    "counted_together": "counted together",
    "discount": "sold for less",
    "worth_money": "what the blocks are worth",
    "crop_kg_money": "price of the crop, a kilo",
    "paid_money": "paid, with tax",
    "purchase_tax_money": "purchase tax in it",
    "purchase_tax_reclaimed": "purchase tax reclaimed",
    "sheet": "sheet of the starting workbook",
    "row": "row of that sheet",
}
# What the page says elsewhere: who signed, and what is beside each lot.
SAID_ELSEWHERE = ("form", "typed_by", "loaded", "right_quantity", "right_money")
# Parts of the names of particulars, and the right without which those are kept from a person.
KEPT_FROM = (
    (("money", "terms"), Right.SEE_SALES),
    (("recipe", "moisture", "substrate", "water_mg", "water_ppm"), Right.SEE_RECIPES),
    (("minutes_stated",), Right.SEE_COSTS),
)
# What the balance of a drying says in its own words.
SAID_BY_BALANCE = ("fresh_mg", "fresh_moisture_ppm", "dried_moisture_ppm", "fresh_per_dried_ppm")
UNITS = ("_mg", "_mm", "_ppm", "_money", "_pa", "_milli_c", "_wh")


@dataclass(frozen=True)
class Stated:
    """One particular in words; ``lots``: the codes that it names, behind its label or alone."""

    label: str
    words: str
    lots: tuple[str, ...] = ()


def stated(request: PageRequest, found: Entry) -> list[Stated]:
    """Put the particulars into words, without those that the person may not see."""
    hidden = [word for words, right in KEPT_FROM if not may(request.person, right)
              for word in words]  # fmt: skip
    drying = drying_in(found) if found.kind == DRY else None
    beside = (*SAID_ELSEWHERE, *(SAID_BY_BALANCE if drying else ()))
    said = {
        key: value
        for key, value in particulars(found).items()
        if value not in (None, "", [], {})
        and key not in beside
        and not any(word in key for word in hidden)
    }
    balance = balance_facts(drying, request.farm) if drying else []
    return [*_in_words(said, found.kind, request.farm), *(Stated(*fact) for fact in balance)]


def _in_words(said: Mapping[str, Any], kind: str, farm: Farm) -> Iterator[Stated]:
    order = [key.removeprefix(f"{kind} ") for key in WORDS]
    for key in sorted(said, key=lambda key: order.index(key) if key in order else len(order)):
        label, value = _label(key, kind), said[key]
        if key == "terms":
            yield from (Stated("Price of", _price(one, farm), (lot,)) for lot, one in value.items())
        elif key == "counted_together":
            yield Stated(label, "", tuple(value))
        elif key == "place":
            yield Stated(label, str(SellingPlace.objects.get(pk=value)))
        elif key == "day":
            yield Stated(label, day(date.fromisoformat(value)))
        else:
            yield Stated(label, reading(key, value, farm))


def _price(terms: Mapping[str, Any], farm: Farm) -> str:
    """Say what was asked: “€4.50 a pack, 9 % tax in it, 10 % off”."""
    whole = terms.get("whole_of")
    words = [show_money(terms["unit_money"], farm.currency)
             + (" for all of it" if whole else f" a {terms['unit']}")]  # fmt: skip
    if terms["tax_ppm"]:
        within = "tax in it" if terms["tax_included"] else "tax on top"
        words.append(f"{percent(terms['tax_ppm'])} {within}")
    if terms.get("discount_ppm"):
        words.append(f"{percent(terms['discount_ppm'])} off")
    return ", ".join(words)


def _label(key: str, kind: str) -> str:
    plain = key
    for unit in UNITS:
        plain = plain.removesuffix(unit)
    words = WORDS.get(f"{kind} {key}") or WORDS.get(key) or plain.replace("_", " ")
    return words[:1].upper() + words[1:]
