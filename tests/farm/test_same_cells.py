"""What other pages show of a month is what its tables show, to the cent and the gram.

The weights are odd to the milligram and the costs to the last ten-thousandth.
"""

from collections import Counter

import pytest

from farm.actions.checks import check
from farm.actions.common import Draw
from farm.models import Given
from farm.queries.growing_losses import growing_losses
from farm.queries.months import MonthFigures, month_figures, month_with
from farm.queries.place_reconciliation import reconcile_place
from farm.queries.reconciliation import Step
from farm.queries.stall_days import earned_by
from farm.reports.month_harvest import harvest_tables
from farm.reports.rows import Table
from farm.weight import hundredths_of
from tests.farm.closed import blocks
from tests.farm.goods import packs
from tests.farm.test_cells import OCTOBER, SEPTEMBER, odd_days
from tests.farm.test_stall_earned import a_saturday
from tests.farm.world import World, fresh

pytestmark = pytest.mark.django_db


def by_block(figures: MonthFigures, head: str) -> Counter[str]:
    table: Table = harvest_tables(figures)[2]
    at = [column.name for column in table.columns].index(head)
    found: Counter[str] = Counter()
    for row in table.rows:
        assert isinstance(row[at], int)
        found[str(row[0])] += row[at]  # type: ignore[operator]
    return found


def test_picked_so_far_is_what_the_months_say_of_each_block_lot(world: World) -> None:
    odd_days(world)
    first, second = month_figures(SEPTEMBER), month_figures(OCTOBER)
    so_far = by_block(second, "Picked so far, all flushes")

    assert by_block(first, "Picked so far, all flushes") == by_block(first, "Picked")
    assert so_far == by_block(first, "Picked") + by_block(second, "Picked")
    assert len(so_far) == 2 and all(mg % 1000 == 0 for mg in so_far.values())


def test_growing_losses_are_the_months_losses_by_stage_and_cause(world: World) -> None:
    for cost, causes in ((33_3333, ("green mould", "dropped")), (10_0001, ("green mould",)),
                         (77_7777, ("other mould", "dropped"))):  # fmt: skip
        lot = blocks(world, 7, cost)
        for cause in causes:
            doing = world.doing(reason=f"{cause}: seen", sure=True)
            check(doing, lot=fresh(lot), colonised_percent=80, lost=1)
    month = month_with(world.now.date())
    lost, rows = month_figures(month).losses, growing_losses(month).rows

    def told(words: str) -> str:
        return words.partition(":")[0]

    table: Counter[tuple[str, str]] = Counter()
    weights: Counter[tuple[str, str]] = Counter()
    for row in lost:
        table[row.stage.label, told(row.reason)] += row.cost
        weights[row.stage.label, told(row.reason)] += row.mass_mg
    assert {(row.stage.label, row.cause): row.money for row in rows} == table != {}
    assert {(row.stage.label, row.cause): row.mass_mg for row in rows} == weights
    assert all(part % 100 == 0 for row in rows for part in row.cost)


def test_what_was_taken_to_a_place_was_sold_as_its_months_say(world: World) -> None:
    odd_days(world)
    for place in (world.stall, world.kitchens):
        sold_mg = pounds = 0
        for month in (SEPTEMBER, OCTOBER):
            rows = [row for row in month_figures(month).sales if row.place == place.name]
            sold_mg += sum(row.amount.mass_mg or 0 for row in rows)
            pounds += sum(hundredths_of(row.amount.mass_mg) or 0 for row in rows)
            found = reconcile_place(place, month.first, month.last).amounts
            assert found.get(Step.SOLD, 0) == sum(row.amount.mass_mg or 0 for row in rows)
        both = reconcile_place(place, SEPTEMBER.first, OCTOBER.last)
        assert both.amounts[Step.SOLD] == both.amounts[Step.DELIVERED] == sold_mg > 0
        assert hundredths_of(both.amounts[Step.SOLD]) == pounds
        assert both.difference_mg == 0


def test_a_load_is_what_was_sold_given_and_brought_back(world: World) -> None:
    lot = packs(world)
    sale = a_saturday(world, lot, given={Given.SAMPLE: [Draw(lot, 1)]})
    assert sale.stall_day
    day = sale.stall_day.day
    amounts = reconcile_place(world.stall, day, day).amounts

    assert amounts[Step.LOADED] == 40 * (lot.unit_mass_mg or 0)
    assert amounts[Step.LOADED] == sum(
        amounts[step] for step in (Step.SOLD, Step.SAMPLES, Step.BACK)
    )


def test_a_stall_day_spent_what_the_month_says_its_goods_had_cost(world: World) -> None:
    """Three Saturdays of packs whose cost is odd, each with a sample given away."""
    sales = []
    for _ in range(3):
        lot = packs(world)
        sales.append(a_saturday(world, lot, given={Given.SAMPLE: [Draw(lot, 1)]}))
        world.wait(7)
    days = earned_by(sales)
    by_entry: Counter[int] = Counter()
    given = 0
    for month in {month_with(sale.stall_day.day) for sale in sales if sale.stall_day}:
        figures = month_figures(month)
        for row in figures.sales:
            by_entry[row.entry] += row.cost
        given += sum(row.cost for row in figures.losses if row.reason.startswith(Given.SAMPLE))

    assert [days[sale.pk].cost for sale in sales] == [by_entry[sale.entry_id] for sale in sales]
    assert sum(sum(day.given.values()) for day in days.values()) == given > 0
    assert all(day.cost % 100 == 0 < day.cost for day in days.values())
