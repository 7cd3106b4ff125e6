"""What to do with what came back unsold: dry it, discount it or bin it, lot by lot.

The arithmetic is `farm.planning.decisions`; every number comes with its source, the farm's own
records first. Growing and picking are spent either way, so they are left out of the choice.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from farm.models import Species
from farm.planning.decisions import DRYING_INPUTS, DryingCase
from farm.planning.inputs import Input, Known
from farm.queries.costs.decisions import drying_inputs, weeks_of_dried
from farm.queries.keeping import is_fresh, keeps_until
from ledger.amounts import MILLION
from ledger.models import Dimension, Lot

DRY, DISCOUNT, BIN, KEEP = "dry it", "discount it", "bin it", "keep it"
UNKNOWN = "not known yet"


@dataclass(frozen=True)
class Told:
    """One number that the advice rests on: its name, its value and where it comes from."""

    asked: Input
    known: Known


@dataclass(frozen=True)
class Advice:
    """``leaves``: money that each way would leave of the whole lot, the best first.

    ``missing``: what is not known, so that a way could not be worked out. ``days_left``: of its
    fridge life on that day; below zero it is past it. ``dried_mg``: dried stock of the species,
    and what was sold of it in eight weeks.
    """

    lot: Lot
    quantity: int
    mass_mg: int
    way: str
    why: str
    leaves: tuple[tuple[str, int], ...] = ()
    inputs: tuple[Told, ...] = ()
    missing: tuple[str, ...] = ()
    days_left: int | None = None
    dried_mg: tuple[int, int] = (0, 0)


def advice_for(lots: Sequence[tuple[Lot, int]], day: date) -> list[Advice]:
    """Advise on lots and how much of each is left over, on a day; a few queries a species.

    2.4 kg that would bring 4.00 a kilo at a discount and leave 5.10 dried: dry it, 12.24.
    """
    known: dict[Species, _Known] = {}
    found = []
    for lot, quantity in lots:
        species = lot.card.species
        if species is not None and species not in known and is_fresh(lot.card):
            known[species] = _Known(drying_inputs(species, day), weeks_of_dried(species, day))
        found.append(_advise(lot, quantity, day=day, known=known.get(species) if species else None))
    return found


@dataclass(frozen=True)
class _Known:
    inputs: Mapping[str, Known]
    dried_mg: tuple[int, int]


def _advise(lot: Lot, quantity: int, *, day: date, known: _Known | None) -> Advice:
    mass_mg = quantity * _mass_of_one(lot)
    if lot.held:
        return Advice(lot, quantity, mass_mg, KEEP, "It is on hold: keep it apart until released.")
    if known is None or not is_fresh(lot.card):
        return Advice(lot, quantity, mass_mg, KEEP, "It is dried and keeps: back on its shelf.")
    until = keeps_until(lot.card)
    left = (until - day).days if until else None
    values = {**known.inputs, "mass_mg": Known(mass_mg, "what came back")}
    if left is not None and left <= 0:
        values["fresh_sold_ppm"] = Known(0, "its days in the fridge are over")
    leaves, missing = _leaves(values, mass_mg)
    way = leaves[0][0] if len(leaves) > 1 else UNKNOWN
    return Advice(
        lot,
        quantity,
        mass_mg,
        way,
        _why(way, left),
        leaves,
        _told(values),
        missing,
        left,
        known.dried_mg,
    )


def _leaves(
    values: Mapping[str, Known], mass_mg: int
) -> tuple[tuple[tuple[str, int], ...], tuple[str, ...]]:
    """Work out what each way leaves of all of it, rounded half to even; name what is missing."""
    asked = {one.key: one for group in DRYING_INPUTS.values() for one in group}
    missing = tuple(one.label for key, one in asked.items() if key not in values)
    case = DryingCase(**{key: values[key].value if key in values else 0 for key in asked})
    a_kilo = {BIN: Fraction(0)}
    if "discount_money" in values:
        a_kilo[DISCOUNT] = case.discounted
    if {"dried_money", "drying_money"} <= set(values):
        a_kilo[DRY] = case.dried
    best = sorted(a_kilo, key=lambda way: a_kilo[way], reverse=True)
    return tuple((way, round(a_kilo[way] * mass_mg / MILLION)) for way in best), missing


def _told(values: Mapping[str, Known]) -> tuple[Told, ...]:
    groups = DRYING_INPUTS.values()
    return tuple(
        Told(one, values[one.key]) for group in groups for one in group if one.key in values
    )


def _why(way: str, days_left: int | None) -> str:
    if way == UNKNOWN:
        return "No price is known, fresh or dried: state one, then ask again."
    if way == DRY:
        return "Look it over first: what is slimy or smells is binned, not dried."
    if way == DISCOUNT and days_left is not None:
        return f"It keeps {days_left} more days: sell it within them."
    return "Neither way leaves more than it costs." if way == BIN else ""


def _mass_of_one(lot: Lot) -> int:
    return 1 if lot.item.dimension == Dimension.MASS else lot.unit_mass_mg or 0
