"""What there is to do: read from the lots on hand and what happened to them last."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from farm.kinds.growing import (
    CHECK,
    INOCULATE_BLOCKS,
    INOCULATE_GRAIN,
    MOVE_TO_FRUITING,
    PICK,
    STERILISER_RUN,
)
from farm.kinds.selling import SELL
from farm.kinds.store import PACK, THROW_AWAY
from farm.kinds.tracing import RELEASE
from farm.models import Stage
from farm.queries.keeping import is_fresh, keeps_until
from farm.queries.lives import Lives, lives_of
from farm.queries.stock import lots_on_hand
from farm.units import show_count
from ledger.models import Lot

# Common practice, no source: grain is shaken when about a third is grown through.
SHAKE_AFTER_DAYS = 5
# Own rule: a pick is looked for from three days before the planned day on.
PICK_EARLY_DAYS = 3
# Own rule: an order that was not given is reminded of for two weeks.
SHOWN, MOST = 4, 24


@dataclass(frozen=True)
class ToDo:
    """One lot that waits for something. ``days``: since or until, as ``about`` says.

    ``field``: where the action's form takes the lot; empty where it takes it otherwise.
    """

    lot: Lot
    about: str
    slug: str
    field: str
    days: int = 0
    urgent: bool = False

    @property
    def act(self) -> str:
        """What to record next, in words."""
        return self.slug.replace("-", " ").capitalize()


@dataclass(frozen=True)
class ToDoList:
    title: str
    todos: tuple[ToDo, ...]

    @property
    def first(self) -> tuple[ToDo, ...]:
        """What is shown at once; the rest is folded away."""
        return self.todos[:SHOWN]

    @property
    def rest(self) -> tuple[ToDo, ...]:
        return self.todos[SHOWN:MOST]

    @property
    def left_out(self) -> int:
        """How many more there are than a page should carry to a phone."""
        return max(0, len(self.todos) - MOST)


@dataclass(frozen=True)
class RoomToDo:
    """What waits in one room; ``room`` is empty for what stands in none."""

    room: str
    lists: tuple[ToDoList, ...]


def to_do(day: date) -> list[ToDoList]:
    """List what waits: the crop first, which spoils, then in the order of the work; 3 queries.

    One more a generation of lots that checks split others off.
    """
    lots = lots_on_hand()
    lives = lives_of(lots, (STERILISER_RUN, CHECK, MOVE_TO_FRUITING, PICK))
    found = (
        ToDoList("Pick", tuple(_in_pick_window(lots, lives, day))),
        ToDoList("Sell or dry, the oldest first", tuple(_crop(lots, day))),
        ToDoList("Sterilise", tuple(_unsterilised(lots, lives))),
        ToDoList("Inoculate", tuple(_sterilised(lots, lives, day))),
        ToDoList("Shake or use the grain", tuple(_spawn(lots, lives, day))),
        ToDoList("Move to fruiting", tuple(_colonised(lots, lives, day))),
        ToDoList("On hold", tuple(_held(lots))),
    )
    return [listed for listed in found if listed.todos]


def by_room(lists: Iterable[ToDoList]) -> list[RoomToDo]:
    """Share what waits out to the rooms where its lots stand, in the order of what comes first."""
    rooms: dict[str, dict[str, list[ToDo]]] = {}
    for listed in lists:
        for todo in listed.todos:
            titles = rooms.setdefault(room_of(todo.lot), {})
            titles.setdefault(listed.title, []).append(todo)
    return [
        RoomToDo(room, tuple(ToDoList(title, tuple(todos)) for title, todos in titles.items()))
        for room, titles in rooms.items()
    ]


def room_of(lot: Lot) -> str:
    """The room of a lot of `located`; empty where it was never placed."""
    return lot.shelf.room.name if lot.shelf else ""  # type: ignore[attr-defined]


def _of(lots: Iterable[Lot], *stages: Stage) -> list[Lot]:
    return [lot for lot in lots if lot.card.stage in stages and not lot.held]


def _unsterilised(lots: list[Lot], lives: Lives) -> Iterable[ToDo]:
    for lot in _of(lots, Stage.GRAIN, Stage.BAGS):
        if (lot.pk, STERILISER_RUN) not in lives.last:
            yield ToDo(lot, "filled, not sterilised", STERILISER_RUN.slug, "lots", urgent=True)


def _sterilised(lots: list[Lot], lives: Lives, day: date) -> Iterable[ToDo]:
    for lot in _of(lots, Stage.GRAIN, Stage.BAGS):
        run = lives.last.get((lot.pk, STERILISER_RUN))
        if run:
            grain = lot.card.stage == Stage.GRAIN
            slug, field = (
                (INOCULATE_GRAIN.slug, "grain") if grain else (INOCULATE_BLOCKS.slug, "bags")
            )
            yield ToDo(lot, f"sterilised {ago(run, day)}", slug, field, (day - run).days)


def _spawn(lots: list[Lot], lives: Lives, day: date) -> Iterable[ToDo]:
    for lot in _of(lots, Stage.SPAWN):
        age = (day - lives.begun[lot.pk]).days
        if age >= SHAKE_AFTER_DAYS:
            checked = lives.last.get((lot.pk, CHECK))
            about = f"inoculated {age} days ago, " + (
                f"checked {ago(checked, day)}" if checked else "not checked yet"
            )
            slug, field = (INOCULATE_BLOCKS.slug, "all_of") if checked else (CHECK.slug, "lot")
            yield ToDo(lot, about, slug, field, age, urgent=checked is None)


def _colonised(lots: list[Lot], lives: Lives, day: date) -> Iterable[ToDo]:
    for lot in _of(lots, Stage.BLOCKS):
        age = (day - lives.begun[lot.pk]).days
        strain = lot.card.strain
        moved = (lot.pk, MOVE_TO_FRUITING) in lives.last
        if strain and not moved and age >= strain.spawn_run_days:
            about = f"inoculated {age} days ago, planned {strain.spawn_run_days}"
            yield ToDo(lot, about, MOVE_TO_FRUITING.slug, "lot", age)


def _in_pick_window(lots: list[Lot], lives: Lives, day: date) -> Iterable[ToDo]:
    for lot in _of(lots, Stage.BLOCKS):
        strain = lot.card.strain
        if not strain or (lot.pk, MOVE_TO_FRUITING) not in lives.last:
            continue
        picked = lives.last.get((lot.pk, PICK))
        days = strain.flush_gap_days if picked else strain.first_pick_days
        due = (picked or lives.begun[lot.pk]) + timedelta(days=days)
        if day >= due - timedelta(days=PICK_EARLY_DAYS):
            about = "next flush" if picked else "first flush"
            yield ToDo(
                lot, f"{about} planned for {due:%-d %b}", PICK.slug, "blocks", (due - day).days
            )


def _crop(lots: list[Lot], day: date) -> Iterable[ToDo]:
    """Fresh picks and packs by the days that are left in the fridge, the fewest first."""
    fresh = []
    for lot in _of(lots, Stage.CROP, Stage.PACKS):
        until = keeps_until(lot.card)
        if until and is_fresh(lot.card):
            left = (until - day).days
            if left < 0:
                fresh.append(_over(lot, left))
            else:
                slug = PACK.slug if lot.card.stage == Stage.CROP else SELL.slug
                more = show_count(left, "day", "days")
                about = f"keeps {more} more" if left else "today is its last day"
                fresh.append(ToDo(lot, about, slug, "", left, urgent=left <= 1))
    return sorted(fresh, key=lambda todo: todo.days)


def _over(lot: Lot, left: int) -> ToDo:
    """Past its days in the fridge nothing is packed, sold or dried unasked: it is binned."""
    about = f"{show_count(-left, 'day', 'days')} too old"
    return ToDo(lot, about, THROW_AWAY.slug, "lot", left, urgent=True)


def _held(lots: list[Lot]) -> Iterable[ToDo]:
    for lot in lots:
        if lot.held:
            yield ToDo(lot, "on hold", RELEASE.slug, "lot", urgent=True)


def ago(then: date, day: date) -> str:
    days = (day - then).days
    return {0: "today", 1: "yesterday"}.get(days, f"{days} days ago")
