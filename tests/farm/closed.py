"""Months to close: one block whose whole cost is stated, its two flushes, and `close`."""

from datetime import UTC, datetime
from typing import Any

from farm.actions.common import Draw, card, item_for, post
from farm.actions.growing.harvesting import mark_spent, pick
from farm.actions.months.closing import close_month
from farm.actions.selling.selling import SoldLine, sell
from farm.kinds.growing import INOCULATE_BLOCKS
from farm.models import ClosedMonth, Rate, RateOf, Stage
from farm.queries.months.months import Month, month_of
from farm.reports.months.closing_rows import closing_files
from ledger.book import Recorded
from ledger.drafts import LineDraft, NewLot
from ledger.models import Lot, Role
from tests.farm.season import MADE
from tests.farm.world import GRAM, UNIT, World, fresh

AUGUST, SEPTEMBER, OCTOBER, NOVEMBER = (month_of(f"2026-{at:02}") for at in (8, 9, 10, 11))
LATER = datetime(2026, 12, 3, 9, tzinfo=UTC)


def close(world: World, month: Month = SEPTEMBER, at: datetime = LATER) -> ClosedMonth:
    return close_month(
        world.owner, month, at=at, produce=lambda closing: closing_files(closing, MADE)
    )


def go_to(world: World, month: Month, day: int = 5) -> None:
    world.now = datetime(month.first.year, month.first.month, day, 8, tzinfo=UTC)


def blocks(world: World, count: int = 1, money: int = 5 * UNIT) -> Lot:
    """Blocks at a stated cost, of a strain that gives 500 g and then 200 g; room costs nothing."""
    world.strain.third_mg = 0
    world.strain.save()
    Rate.objects.filter(of=RateOf.BLOCK_DAY).update(rate_money=0)
    new = NewLot(item_for("Oyster blocks", "count"), unit_mass_mg=1_500 * GRAM)
    line = LineDraft(new, Role.BOUGHT, count, money)
    lot = post(world.doing(), INOCULATE_BLOCKS, [line]).lots[0]
    card(lot, Stage.BLOCKS, strain=world.strain, species=world.species)
    return fresh(lot)


def flush(world: World, lot: Lot, number: int, mg: int, **said: Any) -> Lot:
    """Pick in no time unless stated, so that only the blocks' own cost is shared."""
    doing = world.doing(**{"minutes": 0, "sure": True, **said})
    return fresh(pick(doing, given=[Draw(fresh(lot), 0)], flush=number, firsts_mg=mg).lots[-1])


def sold(world: World, lot: Lot, quantity: int | None = None, **said: Any) -> Recorded:
    line = SoldLine(lot, quantity or fresh(lot).quantity, 12 * UNIT)
    doing = world.doing(**{"minutes": 0, "sure": True, **said})  # whatever its age
    return sell(doing, place=world.kitchens, customer=world.customer, lines=[line])


def two_flushes(world: World) -> Lot:
    """Flush 1, 500 g, sold in September, closed; in October flush 2, 150 g, sold, and spent."""
    lot = blocks(world)
    sold(world, flush(world, lot, 1, 500 * GRAM))
    close(world)
    go_to(world, OCTOBER)
    second = flush(world, lot, 2, 150 * GRAM)
    spent(world, lot)
    sold(world, second)
    return lot


def spent(world: World, lot: Lot) -> None:
    mark_spent(world.doing(minutes=0), lot=fresh(lot))
