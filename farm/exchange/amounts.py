"""Quantities, readings and facts in the form that a document of events gives them."""

from collections.abc import Iterable
from typing import Any

from farm.exchange.names import PREFIX, Names
from farm.kinds.growing import Run
from farm.kinds.particulars import Particulars
from farm.kinds.store import Drying
from farm.models import LotCard
from ledger.models import Dimension, Lot

# UN/ECE Recommendation 20 codes, and the book's units in one. Pieces have no code: EPCIS takes a
# quantity without one as a count.
UNITS = {Dimension.MASS: ("KGM", 1_000_000), Dimension.VOLUME: ("LTR", 1_000_000)}
CELSIUS, PASCAL, MINUTE = "CEL", "PAL", "MIN"


def amount(names: Names, lot: Lot, quantity: int | None = None) -> dict[str, Any]:
    """Say so much of a lot in its own unit; without a quantity the lot as it stands.

    12,345,678 mg are 12.345678 KGM: the nearest float, which gives the milligrams back.
    """
    said: dict[str, Any] = {"epcClass": names.lot(lot)}
    if quantity is None:
        return said
    unit, size = UNITS.get(Dimension(lot.item.dimension), ("", 1))
    if not unit:
        return said | {"quantity": quantity}
    return said | {"quantity": quantity / size, "uom": unit}


def weight(names: Names, lot: Lot, mass_mg: int) -> dict[str, Any]:
    """Say what a lot gave by weight, whatever it is counted in: blocks stay when picked."""
    unit, size = UNITS[Dimension.MASS]
    return {"epcClass": names.lot(lot), "quantity": mass_mg / size, "uom": unit}


def readings(said: Particulars) -> list[dict[str, Any]]:
    """Say what was read during a run or a drying; the gauge shows pressure above the air's."""
    if isinstance(said, Run):
        minutes, gauge_pa = said.minutes_at_temperature, said.gauge_pa
    elif isinstance(said, Drying):
        minutes, gauge_pa = said.minutes_drying, None
    else:
        return []
    reports: list[dict[str, Any]] = []
    if said.temperature_milli_c is not None:
        value = said.temperature_milli_c / 1000
        reports.append({"type": "Temperature", "value": value, "uom": CELSIUS})
    if gauge_pa is not None:
        reports.append(
            {"type": "Pressure", "value": gauge_pa, "uom": PASCAL, own("basis"): "gauge"}
        )
    if minutes is not None and reports:
        reports.append({"type": "Time", "value": minutes, "uom": MINUTE})
    return [{"sensorReport": reports}] if reports else []


def shared_facts(lots: Iterable[Lot]) -> dict[str, Any]:
    """Say what is true from birth of all lots that an event makes (its ilmd)."""
    facts = [set(_facts(lot.card).items()) for lot in lots if hasattr(lot, "card")]
    return dict(sorted(set.intersection(*facts))) if facts else {}


def _facts(card: LotCard) -> dict[str, Any]:
    facts = {
        "stage": card.get_stage_display(),
        "species": card.species and card.species.name,
        "botanicalName": card.species and card.species.latin,
        "strain": card.strain and card.strain.name,
        "recipe": card.recipe and str(card.recipe),
        "supplierLot": card.supplier_lot,
        "bestBefore": card.best_before and card.best_before.isoformat(),
        "generation": card.generation,
        "transfers": card.transfers,
        "flush": card.flush,
        "grade": card.grade,
        "harvestedOn": card.harvested_on and card.harvested_on.isoformat(),
        "product": card.product and card.product.name,
    }
    return {own(word): fact for word, fact in facts.items() if fact not in (None, "")}


def own(word: str) -> str:
    """A word of our own carries our prefix: a plain one would pass for the standard's."""
    return f"{PREFIX}:{word}"
