"""A reader of event documents that knows the standard and nothing of the book: the test's oracle.

What it finds, it finds in the document alone: lots, what is left of each, and what went into what.
"""

import json
from collections import defaultdict
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft7Validator, FormatChecker

SHARED = Path(__file__).resolve().parents[3] / "shared" / "data"
# GS1's schema of EPCIS 2.0, repository gs1/EPCIS, commit 2b888bef of 2023-05-16; not ours to copy.
SCHEMA = SHARED / "epcis" / "EPCIS-JSON-Schema.json"
needs_schema = pytest.mark.skipif(
    not SCHEMA.exists(), reason="the schema of EPCIS 2.0 is kept beside the project"
)
Document = dict[str, Any]
Event = dict[str, Any]


@dataclass
class Graph:
    """Whole numbers: millionths of a kg, or pieces. ``went``: into and out of each process."""

    quantity: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    unit: dict[str, str] = field(default_factory=dict)
    went: list[tuple[dict[str, int], dict[str, int]]] = field(default_factory=list)


def errors_in(document: Document) -> list[str]:
    """Validate, with formats: without them a word that the standard lacks passes as an address."""
    schema = json.loads(SCHEMA.read_text())
    validator = Draft7Validator(schema, format_checker=FormatChecker())
    return [error.message[:300] for error in validator.iter_errors(document)]


def as_read(document: Document) -> Document:
    """The document as a partner reads it: what was written is what counts."""
    read: Document = json.loads(json.dumps(document))
    return read


def events_in(document: Document) -> list[Event]:
    events: list[Event] = document["epcisBody"]["eventList"]
    return events


def standing(document: Document) -> list[Event]:
    """Leave out every event that is declared an error, wherever in the document."""
    wrong = {event["eventID"] for event in events_in(document) if "errorDeclaration" in event}
    return [event for event in events_in(document) if event["eventID"] not in wrong]


def lots_in(document: Document) -> dict[str, dict[str, Any]]:
    """What is said of each lot in the master data: its name, stage, and what a piece weighs."""
    classes = document["epcisHeader"]["epcisMasterData"]["vocabularyList"][0]
    return {
        code_of(lot["id"]): {
            fact["id"].rsplit("/", 1)[1]: fact["attribute"] for fact in lot["attributes"]
        }
        for lot in classes["vocabularyElementList"]
    }


def choices_in(document: Document) -> dict[str, str]:
    """What each lot can stand in for: crop of any kind, a supply only itself, else its stage."""
    return {
        code: "crop"
        if lot["stage"] in ("picked", "dried", "packed")
        else lot["name"]
        if lot["stage"] == "supplies"
        else lot["stage"]
        for code, lot in lots_in(document).items()
    }


def pieces_in(document: Document) -> dict[str, int]:
    """What a piece of each lot weighs in mg; 1 of what is weighed."""
    return {
        code: round(lot.get("pieceWeightKg", 0) * 1_000_000) or 1
        for code, lot in lots_in(document).items()
    }


def graph_of(document: Document) -> Graph:
    graph = Graph()
    for event in standing(document):
        if event["type"] == "TransformationEvent":
            _transform(graph, event)
        else:
            _observe(graph, event)
    return graph


def code_of(address: str) -> str:
    return address.rsplit("/", 1)[1]


def _transform(graph: Graph, event: Event) -> None:
    used = {}
    for stated in event.get("inputQuantityList", []):
        code, quantity, unit = _read(stated)
        used[code] = quantity
        # What is counted but goes in by weight stays as many as it was: a picked block.
        if unit == graph.unit.setdefault(code, unit):
            graph.quantity[code] -= quantity
    made = {}
    for stated in event.get("outputQuantityList", []):
        code, made[code], unit = _read(stated)
        graph.unit.setdefault(code, unit)
        graph.quantity[code] += made[code]
    graph.went.append((used, made))


def _observe(graph: Graph, event: Event) -> None:
    """Add what comes in, take off what goes out; what is only seen changes nothing."""
    sign = {"ADD": 1, "DELETE": -1}.get(event["action"], 0)
    sign = {("shipping", "in_transit"): -1, ("receiving", "returned"): 1}.get(
        (event["bizStep"], event.get("disposition", "")), sign
    )
    for stated in event["quantityList"] if sign else []:
        code, quantity, unit = _read(stated)
        graph.unit.setdefault(code, unit)
        graph.quantity[code] += sign * quantity


def _read(stated: dict[str, Any]) -> tuple[str, int, str]:
    unit = stated.get("uom", "")
    quantity = round(stated["quantity"] * 1_000_000) if unit else stated["quantity"]
    return code_of(stated["epcClass"]), quantity, unit
