"""Entries as an EPCIS 2.0 document in JSON-LD (ISO/IEC 19987:2024).

Everything made is a transformation with its inputs and outputs; what comes in, is seen, or goes
out is an object event. Lots are classes by lot, with quantities in UN/ECE units. A correction
repeats the event with an error declaration that names the right one; what was taken back is
repeated as not having occurred. So every identifier that is declared an error anywhere in the
document is to be left out when quantities are added up.
"""

from datetime import datetime, timedelta, timezone
from typing import Any
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from django.db.models import QuerySet

from farm.exchange.amounts import own
from farm.exchange.master_data import vocabularies
from farm.exchange.names import PREFIX, names_of
from farm.exchange.parts import Happening, parts_of
from farm.exchange.told import Told, tell
from farm.models import the_farm
from ledger.models import Entry

CONTEXT = "https://ref.gs1.org/standards/epcis/2.0.0/epcis-context.jsonld"
Event = dict[str, Any]


def document(entries: QuerySet[Entry], made_at: datetime) -> dict[str, Any]:
    """Write some entries, each with all its corrections, in the order the book learned them."""
    farm = the_farm()
    names = names_of(farm)
    told = tell(entries)
    events = [pair for one in told for pair in _events(Happening(one, names), farm.zone)]
    events.sort(key=lambda pair: pair[0])
    return {
        "@context": [CONTEXT, {PREFIX: names.own_words()}],
        "type": "EPCISDocument",
        "schemaVersion": "2.0",
        "creationDate": made_at.astimezone(farm.zone).isoformat(),
        "epcisHeader": {"epcisMasterData": {"vocabularyList": vocabularies(told, names, farm)}},
        "epcisBody": {"eventList": [event for _, event in events]},
    }


def _events(happening: Happening, zone: ZoneInfo) -> list[tuple[int, Event]]:
    """An entry's events, each with the place in the order at which the book learned it."""
    told = happening.told
    found: list[tuple[int, Event]] = []
    standing: dict[str, Event] = {}
    for version in told.versions:
        said = parts_of(happening, version)
        parts = {name: _common(told) | part for name, part in said.items()}
        found += [
            (version.entry.seq, event)
            for event in _replaced(standing, parts, by=version.entry, zone=zone)
        ]
    if told.taken_back_by:
        found += [
            (told.taken_back_by.seq, _declared(event, "did_not_occur", by=told.taken_back_by))
            for event in standing.values()
        ]
    return found


def _replaced(
    standing: dict[str, Event], parts: dict[str, Event], *, by: Entry, zone: ZoneInfo
) -> list[Event]:
    """Bring the standing events up to a version; what it does not change is not told again."""
    first = next(iter(parts), "")
    wrong, right = [], []
    for name in dict.fromkeys([*standing, *parts]):
        old, new = standing.get(name), parts.get(name)
        if old and new and old == _identified(new, like=old):
            continue
        correctives = []
        if new:
            new = {
                **new,
                "eventID": _identity(by.uuid, "" if name == first else name),
                "recordTime": by.recorded_at.astimezone(zone).isoformat(),
            }
            correctives = [new["eventID"]]
            right.append(new)
            standing[name] = new
        else:
            del standing[name]
        if old:
            wrong.append(_declared(old, "incorrect_data", by=by, correctives=correctives))
    return wrong + right


def _identified(event: Event, *, like: Event) -> Event:
    return event | {"eventID": like["eventID"], "recordTime": like["recordTime"]}


def _identity(uuid: UUID, part: str) -> str:
    """Name the first event after its entry, further ones after both, always alike."""
    return f"urn:uuid:{uuid5(uuid, part) if part else uuid}"


def _declared(
    event: Event, reason: str, *, by: Entry, correctives: list[str] | None = None
) -> Event:
    """Repeat an event unchanged with the declaration that it is wrong."""
    offset = datetime.fromisoformat(event["eventTime"]).tzinfo
    error = {"declarationTime": by.recorded_at.astimezone(offset).isoformat(), "reason": reason}
    more: Event = {"correctiveEventIDs": correctives} if correctives else {}
    because = {own("reason"): by.reason} if by.reason else {}
    return {**event, "errorDeclaration": {**error, **more, **because}}


def _common(told: Told) -> Event:
    """What every event of an entry says: when, of which record, by whom (a number), why."""
    at = told.root.happened_at.astimezone(timezone(timedelta(minutes=told.root.utc_offset_min)))
    because = {own("reason"): told.root.reason} if told.root.reason else {}
    return {
        "eventTime": at.isoformat(),
        "eventTimeZoneOffset": _offset(at.utcoffset() or timedelta()),
        own("kind"): told.root.kind,
        own("entry"): told.root.seq,
        own("by"): told.root.by,
        **because,
    }


def _offset(offset: timedelta) -> str:
    return timezone(offset).tzname(None).removeprefix("UTC") or "+00:00"
