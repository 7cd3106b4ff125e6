"""A month ends at midnight on the farm's clock: its last hour, the first of the next, leap days.

Offsets by the IANA time zone database, by the standard library's zoneinfo: Auckland is at +13 h in
its summer, Los Angeles at -8 h in its winter; 2024 is a leap year, since 4 divides it and 100 not.
"""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from django.test import Client

from farm.models import Farm
from farm.queries.months.canonical import rows_of
from farm.queries.months.closings import closings_add_up, provisional_lots, totals
from farm.queries.months.months import Month, Span, month_figures, month_of
from farm.queries.months.years import year_sums
from ledger.models import Lot
from tests.conftest import signed_in
from tests.farm.closed import blocks, close, flush, sold
from tests.farm.world import GRAM, World, fresh
from tests.printed_tables import of_page
from tests.second_working import read_facts

pytestmark = pytest.mark.django_db

ZONES = ("Pacific/Auckland", "America/Los_Angeles", "Europe/Dublin")
# The last day of a month, and the first of the next: a year's end, and leap day.
ENDS = ((date(2025, 12, 31), date(2026, 1, 1)), (date(2024, 2, 29), date(2024, 3, 1)))


def at(world: World, zone: str, day: date, hour: int) -> datetime:
    """Set the world's clock; doing something takes it an hour on."""
    local = datetime(day.year, day.month, day.day, hour, 30, tzinfo=ZoneInfo(zone))
    world.now = datetime.fromtimestamp(local.timestamp() - 3600, UTC)
    return local


def around_midnight(world: World, zone: str, last: date, first: date) -> Lot:
    """Pick and sell in the last hour of a month and in the first of the next."""
    Farm.objects.update(time_zone=zone)
    at(world, zone, last.replace(day=1), 9)
    lot = blocks(world, 4)
    for number, (day, hour, grams) in enumerate(((last, 23, 700), (first, 0, 900))):
        at(world, zone, day, hour)
        picked = flush(world, lot, 1, grams * GRAM)
        at(world, zone, day, hour)
        sold(world, picked, (grams - 100 * number) * GRAM)
    return fresh(lot)


def month(day: date) -> Month:
    return month_of(f"{day:%Y-%m}")


@pytest.mark.parametrize("zone", ZONES)
@pytest.mark.parametrize(("last", "first"), ENDS)
def test_the_last_hour_and_the_first_fall_into_their_own_months(
    world: World, zone: str, last: date, first: date
) -> None:
    around_midnight(world, zone, last, first)
    before, after = month_figures(month(last)), month_figures(month(first))

    assert [one.mass_mg for one in before.picks] == [700 * GRAM]
    assert [one.mass_mg for one in after.picks] == [900 * GRAM]
    assert [(one.day, one.amount.mass_mg) for one in before.sales] == [(last, 700 * GRAM)]
    assert [(one.day, one.amount.mass_mg) for one in after.sales] == [(first, 800 * GRAM)]
    assert before.goods[0].end_mg == after.goods[0].start_mg == 0
    assert after.goods[0].end_mg == 100 * GRAM
    assert month_figures(Span(last, last)).sales == before.sales
    years = {
        one.month.first: one.picked_mg
        for year in {last.year, first.year}
        for one in year_sums(year)
    }
    assert years[month(last).first] == 700 * GRAM
    assert years[month(first).first] == 900 * GRAM


@pytest.mark.parametrize("zone", ZONES)
def test_the_page_says_so_as_the_bare_lines_do(world: World, zone: str) -> None:
    last, first = ENDS[0]
    around_midnight(world, zone, last, first)
    owner: Client = signed_in(world.owner)
    lines = [
        (one.day, one.grams)
        for one in read_facts().moved
        if one.role == "made" and one.card.stage == 7
    ]

    assert lines == [(last, 700), (first, 900)]
    for day, weight in ((last, "0.700"), (first, "0.900")):
        page = of_page(owner.get(f"/month/{day:%Y-%m}/").content.decode())
        table = page["Harvest by day"]
        assert [(row[0], row[-1]) for row in table.rows] == [(f"{day}", weight)]


@pytest.mark.parametrize("zone", ZONES)
def test_a_month_closes_at_its_own_midnight_and_what_is_late_for_it_adds_up(
    world: World, zone: str
) -> None:
    """Closed in the first hour of the year; then a pick of the last hour before is typed."""
    last, first = ENDS[0]
    lot = around_midnight(world, zone, last, first)
    close(world, month(last), at=at(world, zone, first, 1))
    at(world, zone, last, 23)
    flush(world, lot, 1, 300 * GRAM)

    assert closings_add_up().broken == ""
    assert totals(rows_of(month(last)))["harvest picked_mg"] == 1000 * GRAM
    assert totals(rows_of(month(first)))["harvest picked_mg"] == 900 * GRAM


def test_blocks_made_on_the_last_day_of_a_month_are_provisional_in_it(world: World) -> None:
    at(world, "Europe/Madrid", date(2026, 9, 30), 10)
    lot = blocks(world)
    flush(world, lot, 1, 500 * GRAM)

    assert [found.pk for found in provisional_lots(month_of("2026-09"))] == [lot.pk]
    assert not provisional_lots(month_of("2026-08")).exists()
