"""What was stated beside an entry, in words: amounts with their units, days, prices by lot."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from farm.habits import day
from farm.kinds.particulars import Said, Seen, Unit
from farm.kinds.selling import LineTerms
from farm.kinds.store import DRY, SAID_BY_BALANCE
from farm.models import Farm, SellingPlace
from farm.pages.access import PageRequest, Right, may
from farm.queries.entries import particulars
from farm.queries.store.dryings import drying_in
from farm.reports.store.drying_rows import balance_facts
from farm.templatetags.farm_format import percent, reading
from farm.units import show_money
from ledger.models import Entry

# The right of whom a field is shown to; what states nobody is for those who may change the farm.
RIGHT_TO: Mapping[Seen, Right] = {
    Seen.OWNERS: Right.CHANGE_FARM,
    Seen.ALL: Right.READ,
    Seen.SALES: Right.SEE_SALES,
    Seen.RECIPES: Right.SEE_RECIPES,
    Seen.COSTS: Right.SEE_COSTS,
}
UNITS = ("_mg", "_mm", "_ppm", "_money", "_pa", "_milli_c")


@dataclass(frozen=True)
class Stated:
    """One particular in words; ``lots``: the codes that it names, behind its label or alone."""

    label: str
    words: str
    lots: tuple[str, ...] = ()


def stated(request: PageRequest, found: Entry) -> list[Stated]:
    """Put the particulars into words, without those that the person may not see.

    What has words of its own comes first, then what is plain from its name.
    """
    drying = drying_in(found) if found.kind == DRY else None
    beside = SAID_BY_BALANCE if drying else ()
    shown = [
        (name, said, value)
        for name, said, value in particulars(found).stated()
        if not said.elsewhere and name not in beside and may(request.person, RIGHT_TO[said.seen])
    ]
    shown.sort(key=lambda one: (not one[1].words, "" if one[1].words else one[0]))
    balance = balance_facts(drying, request.farm) if drying else []
    words = (one for each in shown for one in _in_words(*each, farm=request.farm))
    return [*words, *(Stated(*fact) for fact in balance)]


def _in_words(name: str, said: Said, value: object, *, farm: Farm) -> Iterator[Stated]:
    label = _label(name, said)
    if said.unit == Unit.TERMS and isinstance(value, dict):
        yield from (Stated(label, _price(one, farm), (lot,)) for lot, one in value.items())
    elif said.unit == Unit.LOTS and isinstance(value, list):
        yield Stated(label, "", tuple(value))
    elif said.unit == Unit.PLACE:
        yield Stated(label, str(SellingPlace.objects.get(pk=str(value))))
    elif said.unit == Unit.DAY:
        yield Stated(label, day(date.fromisoformat(str(value))))
    else:
        yield Stated(label, reading(said.unit, value, farm))


def _price(terms: LineTerms, farm: Farm) -> str:
    """Say what was asked: “€4.50 a pack, 9 % tax in it, 10 % off”."""
    words = [
        show_money(terms.unit_money, farm.currency)
        + (" for all of it" if terms.whole_of else f" a {terms.unit}")
    ]
    if terms.tax_ppm:
        within = "tax in it" if terms.tax_included else "tax on top"
        words.append(f"{percent(terms.tax_ppm)} {within}")
    if terms.discount_ppm:
        words.append(f"{percent(terms.discount_ppm)} off")
    return ", ".join(words)


def _label(name: str, said: Said) -> str:
    plain = name
    for unit in UNITS:
        plain = plain.removesuffix(unit)
    words = said.words or plain.replace("_", " ")
    return words[:1].upper() + words[1:]
