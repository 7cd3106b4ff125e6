"""Keep records in a test: `read_store(world, 4_000)`, `cleaned(world)`, `pinned(world)`."""

from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

from farm.actions.records.records import Stated, keep_record
from farm.actions.signing import Signed, set_pin
from farm.models import Person, Record
from farm.records import BY_SLUG, CLEANING, STORE
from tests.farm.world import World

PIN = "4711"
CLEAN = {"what": "Harvest table", "method": "washed, rinsed, air-dried"}


def keep(
    world: World, slug: str, *, by: Person | None = None, at: datetime | None = None, **said: Any
) -> Record:
    """Keep a record an hour later; ``said``: its values, and room, lot, note, corrects, uuid."""
    world.now += timedelta(hours=1)
    beside = {name: said.pop(name) for name in ("room", "lot", "note") if name in said}
    corrects, uuid = said.pop("corrects", None), said.pop("uuid", None) or uuid4()
    stated = Stated(
        kind=BY_SLUG[slug], happened_at=at or world.now, uuid=uuid, values=said, **beside
    )
    who = by or world.owner
    return keep_record(Signed(who, who), stated, corrects=corrects)


def read_store(world: World, read_milli_c: int, **said: Any) -> Record:
    """Read the fridge, whose upper limit is 5 °C."""
    said = {"high_milli_c": 5_000, "room": world.fridge_shelf.room, **said}
    return keep(world, STORE, read_milli_c=read_milli_c, **said)


def out_of_limits(world: World, read_milli_c: int = 8_000, **said: Any) -> Record:
    return read_store(world, read_milli_c, done="door seal", disposition="thrown away", **said)


def cleaned(world: World, **said: Any) -> Record:
    return keep(world, CLEANING, **{**CLEAN, **said})


def pinned(person: Person) -> Person:
    set_pin(person, PIN)
    return person
