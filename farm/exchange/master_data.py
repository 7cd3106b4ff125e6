"""What the addresses in a document stand for: lots, places and suppliers; no customer's name."""

from collections.abc import Iterable
from typing import Any

from farm.exchange.names import Names
from farm.exchange.told import Told
from farm.models import Farm
from ledger.models import Lot

Element = dict[str, Any]
TYPES = "urn:epcglobal:epcis:vtype:"


def vocabularies(told: Iterable[Told], names: Names, farm: Farm) -> list[Element]:
    """List every address that the events use, with its words, each once."""
    told = list(told)
    lots = {line.lot.pk: line.lot for one in told for v in one.versions for line in v.lines}
    lots |= {mark.lot_id: mark.lot for one in told for mark in one.marks}
    suppliers = {lot.card.supplier for lot in lots.values() if hasattr(lot, "card")} - {None}
    classes = [_lot(names, lot) for _, lot in sorted(lots.items())]
    parties = {names.supplier(supplier): supplier.name for supplier in suppliers if supplier}
    return [
        {"type": f"{TYPES}EPCClass", "vocabularyElementList": classes},
        _named(names, "BusinessLocation", _places(told, names, farm)),
        _named(names, "SourceDest", parties),
    ]


def _places(told: Iterable[Told], names: Names, farm: Farm) -> dict[str, str]:
    places = {names.farm(): f"{farm.name}, {farm.place}"}
    for one in told:
        places |= {names.shelf(shelf): str(shelf) for shelf in one.shelves.values()}
        if one.place:
            places[names.place(one.place)] = one.place.name
    return places


def _named(names: Names, kind: str, words: dict[str, str]) -> Element:
    elements = [
        {"id": address, "attributes": [{"id": names.word("name"), "attribute": said}]}
        for address, said in sorted(words.items())
    ]
    return {"type": f"{TYPES}{kind}", "vocabularyElementList": elements}


def _lot(names: Names, lot: Lot) -> Element:
    facts: dict[str, Any] = {"name": lot.item.name, "code": lot.code}
    if hasattr(lot, "card"):
        facts["stage"] = lot.card.get_stage_display()
    if lot.unit_mass_mg:
        facts["pieceWeightKg"] = lot.unit_mass_mg / 1_000_000
    attributes = [{"id": names.word(word), "attribute": fact} for word, fact in facts.items()]
    return {"id": names.lot(lot), "attributes": attributes}
