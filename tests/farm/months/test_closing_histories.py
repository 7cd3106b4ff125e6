"""Random histories with closings, corrections and late entries: frozen + open = worked."""

from collections.abc import Callable
from contextlib import suppress
from datetime import timedelta
from random import Random

import pytest

from farm.actions.recording.correcting import correct_quantity, undo
from farm.actions.store.storing import throw_away
from farm.models import ClosedMonth, SaleLine, Stage
from farm.queries.months.canonical import rows_of, summed
from farm.queries.months.closings import (
    closings,
    closings_add_up,
    earliest_open,
    frozen_rows,
    since_closing,
)
from farm.queries.months.months import Month, month_of, months_from
from ledger.checks import CHECKS
from ledger.errors import Refused
from ledger.models import Entry, Lot, Role
from tests.farm.closed import blocks, close, flush, go_to, sold, spent
from tests.farm.goods import crop
from tests.farm.world import GRAM, UNIT, World
from tests.repeated import seeds

STEPS, STEPS_AFTER = 18, 8
MONTHS = [month_of(f"2026-{number:02}") for number in range(7, 11)]


def some(chance: Random, **facts: object) -> Lot | None:
    where = {"quantity__gt": 0, **facts}
    return chance.choice(list(Lot.objects.filter(**where).order_by("pk")) or [None])


def grow(world: World, chance: Random) -> None:
    blocks(world, chance.randint(1, 7), chance.randint(1, 90) * 7_777)


def buy(world: World, chance: Random) -> None:
    crop(world, chance.randint(1, 9) * 333 * GRAM, money=chance.randint(0, 50 * UNIT))


def pick(world: World, chance: Random) -> None:
    lot = some(chance, card__stage=Stage.BLOCKS)
    if lot:
        minutes = chance.choice([0, 13])
        flush(
            world,
            lot,
            chance.randint(1, 2),
            chance.randint(1, 3_000) * GRAM,
            minutes=minutes,
            reason="weighed twice",
        )


def finish(world: World, chance: Random) -> None:
    lot = some(chance, card__stage=Stage.BLOCKS)
    if lot:
        spent(world, lot)


def sell(world: World, chance: Random) -> None:
    lot = some(chance, card__stage=Stage.CROP)
    if lot:
        sold(world, lot, chance.randint(1, lot.quantity), minutes=chance.choice([0, 11]))


def bin_some(world: World, chance: Random) -> None:
    lot = some(chance, card__stage=Stage.CROP)
    if lot:
        throw_away(world.doing(reason="soft"), lot=lot, quantity=chance.randint(1, lot.quantity))


def correct(world: World, chance: Random) -> None:
    lines = [line.line for line in SaleLine.objects.filter(line__role=Role.SOLD).order_by("pk")]
    if lines:
        line = chance.choice(lines)
        right = chance.randint(1, 2 * abs(line.quantity) + 1)
        correct_quantity(
            world.doing(), line.entry, lot=line.lot, role=Role.SOLD, right_quantity=right
        )


def take_back(world: World, chance: Random) -> None:
    entries = list(Entry.objects.filter(amends=None).order_by("seq"))
    if entries:
        undo(world.doing(), chance.choice(entries))


def close_next(world: World, chance: Random) -> None:
    following = earliest_open()
    if following:
        close(world, following, at=world.now + timedelta(days=400))


Step = Callable[[World, Random], None]
EACH: tuple[Step, ...] = (
    grow, buy, buy, pick, pick, finish, sell, sell, sell, bin_some, correct, take_back, close_next,
)  # fmt: skip


def play(world: World, chance: Random) -> None:
    """Do things on days of July to October, in any order; what is refused has no effect."""
    for _ in range(STEPS):
        try_one(world, chance, chance.choice(EACH))
    try_one(world, chance, close_next)
    for _ in range(STEPS_AFTER):
        try_one(world, chance, chance.choice(EACH[:-1]))


def try_one(world: World, chance: Random, step: Step) -> None:
    go_to(world, chance.choice(MONTHS), chance.randint(1, 27))
    with suppress(Refused):
        step(world, chance)


def open_months() -> list[Month]:
    following, last = earliest_open(), Entry.objects.order_by("-happened_on").first()
    assert following and last
    return months_from(following.first, last.happened_on)


@pytest.mark.parametrize("seed", seeds(12))
def test_frozen_and_open_come_to_what_is_worked(world: World, seed: int) -> None:
    """Row by row, by month, table and key; and all of it to the whole book, worked apart."""
    play(world, Random(seed))
    opened = [row for month in open_months() for row in rows_of(month)]
    worked = [row for month in [*closings().covered, *open_months()] for row in rows_of(month)]

    assert ClosedMonth.objects.exists()
    assert summed([*frozen_rows(), *since_closing(), *opened]) == summed(worked)
    assert closings_add_up().broken == ""
    assert [found.broken for found in (check() for check in CHECKS) if found.broken] == []


def test_the_histories_change_what_was_closed(world: World) -> None:
    """Over a few seeds on one farm: several months closed, and differences frozen and open."""
    for seed in range(4):
        play(world, Random(seed))
    months = {row.month for row in since_closing()}

    assert ClosedMonth.objects.count() > 1
    assert len(months) > 1
    assert {row.table for row in since_closing()} >= {"sales", "harvest", "stock", "cost"}


def test_later_histories_change_nothing_frozen(world: World) -> None:
    play(world, Random(11))
    before = list(ClosedMonth.objects.values_list("pk", "rows", "sha256"))
    play(world, Random(12))

    assert set(before) <= set(ClosedMonth.objects.values_list("pk", "rows", "sha256"))
    assert before != []
