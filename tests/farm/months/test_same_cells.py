"""What other pages show of a month is what its tables show, to the cent and the gram.

The weights are odd to the milligram and the costs to the last ten-thousandth.
"""

from collections import Counter

import pytest

from farm.actions.common import Draw
from farm.actions.growing.checks import check
from farm.actions.selling.selling import SoldLine, sell
from farm.actions.store.packing import pack
from farm.models import Given, Rate, RateOf, SellingCost, Stage
from farm.queries.months.growing_losses import growing_losses
from farm.queries.months.lot_reconciliation import reconcile_lot
from farm.queries.months.months import MonthFigures, month_figures, month_with
from farm.queries.months.place_reconciliation import reconcile_place
from farm.queries.months.reconciliation import Step, moves_of, reconcile
from farm.queries.selling.stall_days import earned_by
from farm.reports.months.month_harvest import harvest_tables
from farm.reports.rows import Table
from farm.weight import hundredths_of
from ledger.models import Flow, Lot
from tests.farm.closed import blocks
from tests.farm.goods import packs
from tests.farm.months.test_cells import OCTOBER, SEPTEMBER, odd_days
from tests.farm.selling.test_stall_earned import a_saturday
from tests.farm.world import UNIT, World, fresh

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
    for cost, causes in (
        (33_3333, ("green mould", "dropped")),
        (10_0001, ("green mould",)),
        (77_7777, ("other mould", "dropped")),
    ):
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


def test_the_lots_come_to_what_their_days_say_step_by_step(world: World) -> None:
    """Sold in thirds of a kilo, and the rest of two lots packed together and sold pack by pack."""
    *_, one, other = odd_days(world)
    world.received("punnet", 5)
    draws = [Draw(fresh(one), 133_457), Draw(fresh(other), 91_111)]
    made = pack(world.doing(sure=True), product=world.product, packs=1, draws=draws).lots[-1]
    sell(world.doing(sure=True), place=world.stall, lines=[SoldLine(fresh(made), 1, UNIT)])
    grams: Counter[Step] = Counter()
    pounds: Counter[Step] = Counter()
    for lot in Lot.objects.filter(card__stage=Stage.CROP).select_related("item", "card__product"):
        found = reconcile_lot(lot)
        assert found.difference_mg == 0
        assert all(mg % 1000 == 0 for step, mg in found.amounts.items() if step != Step.ROUNDING)
        for step, mg in found.amounts.items():
            grams[step] += mg
            pounds[step] += hundredths_of(mg) or 0

    days = reconcile(SEPTEMBER.first, OCTOBER.last).amounts
    steps = days.keys() - {Step.ROUNDING}
    assert steps >= {Step.PICKED, Step.SOLD, Step.OVER, Step.END, Step.TRIM}
    assert {step: grams[step] for step in steps} == {step: int(days[step]) for step in steps}
    assert {step: pounds[step] for step in steps} == {
        step: hundredths_of(days[step]) for step in steps
    }
    # Each weight rounded by itself would not come to it.
    sold = [
        move
        for lot in (one, other)
        for move in moves_of(Flow.objects.filter(lot=lot))
        if move.step is Step.SOLD
    ]
    assert (
        sum(round(-move.mass_mg / 1000) for move in sold) * 1000
        != round(-sum(move.mass_mg for move in sold) / 1000) * 1000
    )


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


def test_what_stall_days_paid_is_what_the_month_says_selling_cost(world: World) -> None:
    """Minutes at 20.01 an hour: 7 of them are 2.3345, and three such days 7.0035, or 7.00."""
    Rate.objects.filter(of=RateOf.OWN_HOUR).update(rate_money=20_0100)
    sales = []
    for _ in range(3):
        sales.append(a_saturday(world, packs(world), minutes=7))
        world.wait(7)
    hours = SellingCost.objects.filter(what=SellingCost.HOURS).exclude(amount=0)
    assert {one.amount % 100 for one in hours} == {45}
    days, paid = earned_by(sales), 0
    for month in {month_with(sale.stall_day.day) for sale in sales if sale.stall_day}:
        paid += sum(month_figures(month).selling.values())

    spent = [one.fees + one.cards + one.own_hours + one.paid_hours for one in days.values()]
    assert sum(spent) == paid > 0
    assert all(money % 100 == 0 for money in spent)


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
