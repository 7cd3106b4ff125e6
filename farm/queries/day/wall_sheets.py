"""What stands on the day's wall sheets, in walking order: printed, and typed up in the same order.

A sheet holds what was there when its day began, so that what happens on the day moves no row.
"""

import re
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from django.db.models import Exists, OuterRef, Q

from farm.kinds.growing import CHECK, MOVE_TO_FRUITING, PICK
from farm.kinds.store import WEIGH_AGAIN
from farm.models import Placing, Record, Room, Shelf, Stage
from farm.queries.growing.block_picks import flushes_offered
from farm.queries.lives import lives_of
from farm.queries.records.store_temperatures import store_rooms
from farm.queries.stock import all_lots
from farm.records import STORE
from ledger.models import Line, Lot

PICKS, CHECKS, FRIDGE, TEMPERATURES = "picks", "checks", "fridge", "temperatures"
TITLES = {
    PICKS: "Picks",
    CHECKS: "Checks of spawn and blocks",
    FRIDGE: "What is in the fridge",
    TEMPERATURES: "Store temperatures",
}
KINDS = {PICKS: PICK, CHECKS: CHECK, FRIDGE: WEIGH_AGAIN}
ROWS_A_PAGE = 10
TIMES_A_DAY = ("morning", "evening")  # common practice, no source


@dataclass(frozen=True)
class SheetRow:
    """One row of a sheet: a lot, or a room at a time of day. ``key`` tells it from the others.

    ``recorded``: what was recorded of it for that day already, in words.
    """

    key: str
    place: str
    lot: Lot | None = None
    room: Room | None = None
    time: str = ""
    flush: int = 0
    recorded: tuple[str, ...] = ()

    @property
    def about(self) -> int:
        """The key of its lot or room."""
        return int(self.lot.pk if self.lot else self.room.pk if self.room else 0)

    @property
    def is_empty(self) -> bool:
        """Say whether its lot was emptied since the day began: typed up still, printed no more."""
        return self.lot is not None and not self.lot.quantity

    @property
    def name(self) -> str:
        return self.lot.code if self.lot else f"{self.room}, {self.time}"


def sheet_rows(sheet: str, day: date) -> list[SheetRow]:
    """The rows of a sheet for a day, room by room and shelf by shelf."""
    rows: Mapping[str, Callable[[date], list[SheetRow]]] = {
        PICKS: _picks,
        CHECKS: _checks,
        FRIDGE: _fridge,
        TEMPERATURES: _temperatures,
    }
    return rows[sheet](day)


def in_pages(rows: Sequence[SheetRow]) -> list[Sequence[SheetRow]]:
    """Part the rows as they are printed: a page of the sheet is a page to type up."""
    return [rows[at : at + ROWS_A_PAGE] for at in range(0, len(rows), ROWS_A_PAGE)]


def with_recorded(rows: Sequence[SheetRow], sheet: str, day: date) -> list[SheetRow]:
    """Say beside each row what was recorded of it for the day already; one query."""
    recorded = _entries(rows, day, KINDS[sheet]) if sheet in KINDS else _records(rows, day)
    return [replace(row, recorded=tuple(recorded[row.about])) for row in rows]


def _picks(day: date) -> list[SheetRow]:
    blocks = [lot for lot, fruits in _blocks(day) if fruits]
    flushes = flushes_offered(blocks, day)
    return _rows_of(blocks, day, flushes=flushes)


def _checks(day: date) -> list[SheetRow]:
    blocks = [lot for lot, fruits in _blocks(day) if not fruits]
    return _rows_of([*_there(day, Stage.SPAWN), *blocks], day)


def _fridge(day: date) -> list[SheetRow]:
    return _rows_of(_there(day, Stage.CROP), day)


def _temperatures(day: date) -> list[SheetRow]:
    """Every room that was read before, or has picked mushrooms in it, twice a day."""
    holding = {shelf.room for shelf in _shelves(_there(day, Stage.CROP), day).values()}
    return [
        SheetRow(f"{room.pk}-{time}", str(room), room=room, time=time)
        for room in sorted({*store_rooms(), *holding}, key=lambda room: _natural(room.name))
        for time in TIMES_A_DAY
    ]


def _blocks(day: date) -> list[tuple[Lot, bool]]:
    """Blocks, and whether they were moved to fruiting before the day."""
    lots = _there(day, Stage.BLOCKS)
    moved = lives_of(lots, (MOVE_TO_FRUITING,)).last
    return [(lot, moved.get((lot.pk, MOVE_TO_FRUITING), day) < day) for lot in lots]


def _there(day: date, stage: Stage) -> list[Lot]:
    """Lots made before the day that hold something still, or did until that day or later."""
    since = Line.objects.filter(lot=OuterRef("pk"), entry__happened_on__gte=day)
    lots = all_lots().filter(card__stage=stage, made_by__happened_on__lt=day)
    return list(lots.filter(Q(quantity__gt=0) | Exists(since)))


def _rows_of(
    lots: Sequence[Lot], day: date, *, flushes: Mapping[int, int] | None = None
) -> list[SheetRow]:
    shelves = _shelves(lots, day)
    return [
        SheetRow(
            str(lot.pk),
            str(shelves.get(lot.pk) or "Place not stated"),
            lot=lot,
            flush=(flushes or {}).get(lot.pk, 0),
        )
        for lot in sorted(lots, key=lambda lot: _walk(shelves.get(lot.pk), lot))
    ]


def _shelves(lots: Sequence[Lot], day: date) -> dict[int, Shelf]:
    """Where each lot stood when the day began; one that was placed later, where it was put."""
    placings = Placing.objects.filter(lot__in=[lot.pk for lot in lots])
    standing = placings.standing().order_by("entry_id", "pk")
    found: dict[int, Shelf] = {}
    for placing in standing.select_related("shelf__room", "entry"):
        if placing.entry.happened_on < day or placing.lot_id not in found:
            found[placing.lot_id] = placing.shelf
    return found


def _entries(rows: Sequence[SheetRow], day: date, kind: str) -> Mapping[int, list[str]]:
    lines = Line.objects.filter(
        lot__in=[row.lot.pk for row in rows if row.lot],
        entry__kind=kind,
        entry__happened_on=day,
        entry__amends=None,
    ).standing()
    found: dict[int, list[str]] = defaultdict(list)
    for lot, entry in sorted(set(lines.values_list("lot_id", "entry_id"))):
        found[lot].append(f"entry {entry}")
    return found


def _records(rows: Sequence[SheetRow], day: date) -> Mapping[int, list[str]]:
    rooms = [row.room for row in rows if row.room]
    kept = Record.objects.filter(kind=STORE, happened_on=day, room__in=rooms, corrected_by=None)
    found: dict[int, list[str]] = defaultdict(list)
    for record in kept.order_by("happened_at", "pk"):
        found[record.room_id or 0].append(str(record))
    return found


def _walk(shelf: Shelf | None, lot: Lot) -> tuple[Any, ...]:
    room, name = (shelf.room.name, shelf.name) if shelf else ("", "")
    return (shelf is None, _natural(room), _natural(name), lot.made_by_id, lot.pk)


def _natural(name: str) -> tuple[tuple[int, str], ...]:
    """Sort shelf 2 before shelf 10."""
    return tuple(
        (int(part or 0), "") if part.isdigit() else (0, part.casefold())
        for part in re.split(r"(\d+)", name)
    )
