"""A store's temperature over time, its excursions, and which lots sat through them.

When an excursion began and ended is only known to lie between two readings, so it is taken from
the last reading within the limits to the next one: a lot that may have sat through it is named.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from farm.models import Placing, Record, Room
from farm.queries.records.records import records, values_of
from farm.records import STORE, is_excursion
from ledger.models import Flow, Lot

Moves = Mapping[int, Sequence[Placing]]
Changes = list[tuple[datetime, int]]  # when a lot's quantity changed, and by what


@dataclass(frozen=True)
class StoreReading:
    record: Record
    at: datetime
    milli_c: int
    high_milli_c: int
    low_milli_c: int | None
    is_out: bool
    values: Mapping[str, Any]

    @property
    def beyond_milli_c(self) -> int:
        """How far outside its limits it is, on either side; within them, below zero."""
        low = self.low_milli_c
        over = self.milli_c - self.high_milli_c
        return over if low is None else max(over, low - self.milli_c)


@dataclass(frozen=True)
class LotThrough:
    """A lot in the store during an excursion: what it held, from when and until when."""

    lot: Lot
    quantity: int
    since: datetime
    until: datetime


@dataclass(frozen=True)
class Excursion:
    """Readings outside the limits in a row; ``since`` and ``until`` are the widest it can be.

    ``is_over``: a later reading was within the limits again.
    """

    readings: tuple[StoreReading, ...]
    since: datetime
    until: datetime
    is_over: bool
    lots: tuple[LotThrough, ...] = ()

    @property
    def worst(self) -> StoreReading:
        return max(self.readings, key=lambda reading: reading.beyond_milli_c)

    @property
    def worst_milli_c(self) -> int:
        return self.worst.milli_c

    @property
    def limit_milli_c(self) -> int:
        """The limit that the worst reading passed."""
        worst = self.worst
        low = worst.low_milli_c
        return low if low is not None and worst.milli_c < low else worst.high_milli_c


def store_rooms() -> list[Room]:
    """Rooms that have a store reading."""
    return list(Room.objects.filter(records__kind=STORE).distinct())


def store_readings(room: Room, first: date, last: date) -> list[StoreReading]:
    """The standing readings of some days, in order of time."""
    every = _all_readings([room])[room.pk]
    return [r for r in every if first <= r.record.happened_on <= last]


def excursions(
    rooms: Sequence[Room], first: date, last: date, *, now: datetime
) -> dict[Room, list[Excursion]]:
    """Find readings in a row of each room that were outside the limits, with what sat through.

    Every excursion with a reading on these days is given whole, from before them or on past them.
    One query where nothing was outside, else three, whatever the rooms.
    """
    readings = _all_readings(rooms)
    found = {room: _outside(readings[room.pk], first, last, now=now) for room in rooms}
    moves = _moves([room for room in rooms if found[room]])
    held = _held(moves)
    return {
        room: [
            replace(one, lots=tuple(_through(room, one, moves=moves, held=held))) for one in outside
        ]
        for room, outside in found.items()
    }


def _outside(
    readings: Sequence[StoreReading], first: date, last: date, *, now: datetime
) -> list[Excursion]:
    """Part off what was outside the limits, without the lots yet."""
    found: list[Excursion] = []
    before: StoreReading | None = None
    run: list[StoreReading] = []
    for reading in (*readings, None):
        if reading is not None and reading.is_out:
            run.append(reading)
            continue
        if any(first <= out.record.happened_on <= last for out in run):
            since = before.at if before else run[0].at
            until = reading.at if reading else now
            found.append(Excursion(tuple(run), since, until, is_over=reading is not None))
        before, run = reading, []
    return found


def _moves(rooms: Sequence[Room]) -> Moves:
    """Every standing placing of the lots that ever stood in some rooms, by lot; one query."""
    here = Placing.objects.filter(shelf__room__in=rooms).values("lot")
    placings = Placing.objects.filter(lot__in=here).standing()
    moves: dict[int, list[Placing]] = defaultdict(list)
    for placing in placings.select_related("entry", "shelf", "lot__item", "lot__card").order_by(
        "entry__happened_at", "entry_id", "pk"
    ):
        moves[placing.lot_id].append(placing)
    return moves


def _through(
    room: Room, outside: Excursion, *, moves: Moves, held: Mapping[int, Changes]
) -> Iterable[LotThrough]:
    """Lots that stood in a room at some time of an excursion and held something."""
    for lot, placed in moves.items():
        for stay in _stays(placed, room, since=outside.since, until=outside.until):
            quantity = _most(held[lot], *stay)
            if quantity:
                yield LotThrough(placed[0].lot, quantity, *stay)


def _all_readings(rooms: Sequence[Room]) -> dict[int, list[StoreReading]]:
    rows = records(kind=STORE, room__in=rooms, corrected_by=None).order_by("happened_at", "pk")
    readings: dict[int, list[StoreReading]] = defaultdict(list)
    for record in rows:
        readings[record.room_id or 0].append(_reading(record))
    return readings


def _reading(record: Record) -> StoreReading:
    values = values_of(record)
    return StoreReading(
        record=record,
        at=record.happened_at,
        milli_c=values["read_milli_c"],
        high_milli_c=values["high_milli_c"],
        low_milli_c=values.get("low_milli_c"),
        is_out=is_excursion(values),
        values=values,
    )


def _stays(
    placed: Sequence[Placing], room: Room, *, since: datetime, until: datetime
) -> Iterable[tuple[datetime, datetime]]:
    """Cut a lot's times in a room to a span; a move within the room is one stay."""
    start: datetime | None = None
    for placing in placed:
        at = placing.entry.happened_at
        is_here = placing.shelf.room_id == room.pk
        if is_here and start is None:
            start = at
        elif not is_here and start is not None:
            if start <= until and at > since:
                yield max(start, since), min(at, until)
            start = None
    if start is not None and start <= until:
        yield max(start, since), until


def _held(lots: Iterable[int]) -> Mapping[int, Changes]:
    """What each lot's quantity changed by, and when, as corrected since; one query."""
    flows = Flow.objects.filter(lot__in=list(lots)).order_by("entry__happened_at", "entry_id")
    changes: dict[int, Changes] = defaultdict(list)
    for lot, at, quantity in flows.values_list("lot", "entry__happened_at", "quantity"):
        changes[lot].append((at, quantity))
    return changes


def _most(changes: Changes, since: datetime, until: datetime) -> int:
    """The most a lot held within a stay: what it came in with, or was made up to."""
    level = sum(quantity for at, quantity in changes if at <= since)
    most = level
    for at, quantity in changes:
        if since < at <= until:
            level += quantity
            most = max(most, level)
    return most
