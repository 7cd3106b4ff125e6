"""Any days, one species or one place; and a year, month by month, which agrees with its months."""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from pytest_django import DjangoAssertNumQueries

from farm.actions.selling.selling import SoldLine, sell
from farm.models import Farm
from farm.queries.months.months import Only, Span, month_figures, month_of
from farm.queries.months.years import (
    MonthSums,
    YearSums,
    same_week_last_year,
    week_of,
    week_sums,
    year_as_shown,
    year_sums,
)
from farm.queries.movements import given_since, happened
from farm.reports.months.closing_rows import days_report
from farm.reports.months.month_rows import month_report
from farm.reports.months.year_rows import year_report
from ledger.models import Charge
from tests.farm.closed import blocks, flush, go_to, sold
from tests.farm.goods import crop
from tests.farm.season import MADE, season
from tests.farm.world import GRAM, KG, UNIT, World, fresh

pytestmark = pytest.mark.django_db

OCTOBER = month_of("2026-10")


def titles(span: Span, only: Only) -> list[str]:
    return [table.title for table in month_report(month_figures(span, only), MADE).tables]


# --- any days --------------------------------------------------------------------------------


def test_two_halves_of_a_month_come_to_the_month() -> None:
    season()
    halves = [
        month_figures(Span(OCTOBER.first, date(2026, 10, 15))),
        month_figures(Span(date(2026, 10, 16), OCTOBER.last)),
    ]
    whole = month_figures(OCTOBER)

    assert sum((half.sales for half in halves), ()) == whole.sales != ()
    assert sum((half.picks for half in halves), ()) == whole.picks
    assert halves[0].goods[0].end_mg == halves[1].goods[0].start_mg
    assert halves[1].stock_end == whole.stock_end


def test_one_place_has_its_sales_and_its_costs_alone() -> None:
    lots = season()
    stall = month_figures(OCTOBER, Only(place=lots.world.stall))

    assert {row.place for row in stall.sales} == {lots.world.stall.name}
    assert list(stall.selling) == [lots.world.stall.name]
    assert (stall.picks, stall.losses, stall.accounts, stall.movement) == ((), (), (), None)
    assert "Harvest by day" not in titles(OCTOBER, Only(place=lots.world.stall))


def test_all_places_together_come_to_the_whole() -> None:
    lots = season()
    parts = [
        month_figures(OCTOBER, Only(place=place))
        for place in (lots.world.stall, lots.world.kitchens)
    ]
    whole = month_figures(OCTOBER)

    assert sum(row.net for part in parts for row in part.sales) == sum(
        row.net for row in whole.sales
    )
    assert {k: v for part in parts for k, v in part.selling.items()} == whole.selling


def test_one_species_leaves_out_the_others(world: World) -> None:
    """Two species picked and sold; of one, the other's picks, sales and stock are not shown."""
    sold(world, flush(world, blocks(world), 1, KG), 300 * GRAM)
    other = blocks(world, 2)
    other.card.species, other.card.strain = world.other_strain.species, world.other_strain
    other.card.save()
    sold(world, flush(world, fresh(other), 1, 2 * KG), 500 * GRAM)
    span, only = Span(date(2026, 9, 1), date(2026, 9, 30)), Only(species=world.species)
    found = month_figures(span, only)

    assert {pick.species for pick in found.picks} == {row.species for row in found.sales}
    assert sum(pick.mass_mg for pick in found.picks) == KG
    assert found.goods[0].whole_mg == KG
    assert sum(row.mass_mg for row in found.stock_end if row.stage.label == "picked") == 700 * GRAM
    assert "Who owes what" not in titles(span, only)


def test_the_number_of_queries_does_not_grow_with_the_days() -> None:
    lots = season()
    with CaptureQueriesContext(connection) as before:
        month_figures(OCTOBER)
    for _ in range(3):
        line = SoldLine(fresh(lots.packs), 1, 4 * UNIT)
        sell(
            lots.world.doing(),
            place=lots.world.kitchens,
            customer=lots.world.customer,
            lines=[line],
        )
    with CaptureQueriesContext(connection) as after:
        month_figures(OCTOBER)

    assert len(after) == len(before)


# --- the year --------------------------------------------------------------------------------


def of_month(sums: list[MonthSums], key: str) -> MonthSums:
    return next(one for one in sums if one.month.key == key)


def test_a_years_months_are_what_each_month_says() -> None:
    season()
    october, figures = of_month(year_sums(2026), "2026-10"), month_figures(OCTOBER)

    assert october.net == sum(row.net for row in figures.sales)
    assert october.gross == sum(row.gross for row in figures.sales)
    assert october.cost_of_sales == sum(row.cost for row in figures.sales)
    assert october.selling == sum(figures.selling.values())
    assert october.lost == sum(row.cost for row in figures.losses)
    assert october.picked_mg == sum(pick.mass_mg for pick in figures.picks)


def test_blocks_count_in_the_month_that_they_were_started_in() -> None:
    season()
    sums = year_sums(2026)

    assert {one.month.key: one.blocks for one in sums} == {"2026-09": 40, "2026-10": 0}
    assert year_sums(2025) == []


def test_hours_are_those_charged() -> None:
    season()
    charged = Charge.objects.filter(kind__in=("paid", "own")).values_list("quantity_milli")

    assert sum(one.hours_milli for one in year_sums(2026)) == sum(sum(row) for row in charged) > 0


def test_the_years_table_adds_up() -> None:
    season()
    sums = year_as_shown(2026)
    (table,) = year_report(2026, sums, weeks=(), begins=None, made=MADE).tables

    total = [cell if isinstance(cell, int) else 0 for cell in table.total or ()]

    # Net sales less cost of sales, selling costs and what was lost.
    assert total[3] == sum(one.net for one in sums.rows) > 0
    assert total[8] == total[3] - sum(total[5:8])


# --- this week last year ---------------------------------------------------------------------


def test_the_same_week_a_year_ago_has_the_same_weekdays() -> None:
    week = week_of(date(2026, 11, 25))  # a Wednesday
    before = same_week_last_year(week)

    assert (week.first, week.last) == (date(2026, 11, 23), date(2026, 11, 29))
    assert (before.first, before.last) == (date(2025, 11, 24), date(2025, 11, 30))


def test_a_week_says_what_was_started_picked_and_sold(world: World) -> None:
    go_to(world, month_of("2025-11"), 26)
    sold(world, flush(world, blocks(world, 4), 1, KG), 300 * GRAM)
    (row,) = week_sums(same_week_last_year(week_of(date(2026, 11, 25))))

    # 300 g at 12.00 a kilo.
    assert (row.species, row.blocks, row.picked_mg, row.sold_mg) == ("Oyster", 0, KG, 300 * GRAM)
    assert (row.net, row.net_per_kg) == (3 * UNIT + 6_000, 12 * UNIT)
    assert replace(row, sold_mg=0).net_per_kg is None


def test_an_empty_week_says_why(world: World) -> None:
    go_to(world, OCTOBER)
    crop(world)
    this, before = week_of(date(2026, 10, 21)), same_week_last_year(week_of(date(2026, 10, 21)))
    weeks = [("This week", this, week_sums(this)), ("This week last year", before, ())]
    report = year_report(2026, YearSums((), None), weeks=weeks, begins=OCTOBER, made=MADE)
    notes = [table.note for table in report.tables[1:]]

    assert notes == [
        "Nothing was started, picked or sold in these days.",
        "Nothing to compare with yet: the book begins in October 2026, after these days.",
    ]


# --- the pages -------------------------------------------------------------------------------


def read(client: Client, address: str) -> str:
    response = client.get(address)
    assert response.status_code == 200
    return response.content.decode()


def test_the_owner_asks_for_some_days_of_one_place(owner: Client, farm: Farm) -> None:
    lots = season()
    days = f"first=2026-10-01&last=2026-10-31&place={lots.world.stall.pk}"
    page = read(owner, f"/days/?{days}")

    assert "1 Oct 2026 to 31 Oct 2026: Saturday market" in page
    assert "Sales by line" in page and "Harvest by day" not in page
    assert owner.get(f"/days/?{days}&file=xlsx").content.startswith(b"PK")


def test_a_month_leads_to_its_year_and_its_parts(owner: Client, farm: Farm) -> None:
    season()
    page = read(owner, "/month/2026-10/")

    assert 'href="/month/2026-09/"' in page
    assert 'href="/year/2026/"' in page
    assert 'href="/where/?first=2026-10-01&amp;last=2026-10-31"' in page
    assert 'href="/month/2026-09/"' in read(owner, "/year/2026/")


def test_six_figures_stand_first_and_tables_are_folded(owner: Client, farm: Farm) -> None:
    season()
    page = read(owner, "/month/2026-10/")
    figures = page.split('<dl class="facts figures">')[1].split("</dl>")[0]

    assert figures.count("<dt>") == 6
    tables = page.count('class="ruled printed"') + page.count('<p class="empty">')
    assert page.count('<details class="rest">') == tables + 1  # and the other answers


def test_no_year_is_no_page(owner: Client, farm: Farm) -> None:
    assert owner.get("/year/0/").status_code == 404
    assert owner.get("/year/99999/").status_code == 404
    assert "None." in read(owner, "/year/2020/")


def test_a_helper_sees_no_days_and_no_year(helper: Client, farm: Farm) -> None:
    assert [helper.get(f"/{page}/").status_code for page in ("days", "year/2026")] == [403, 403]


@pytest.mark.parametrize(
    "later",
    [
        datetime(2026, 9, 20, 8, tzinfo=UTC),
        datetime(2026, 10, 20, 8, tzinfo=UTC),
        datetime(2027, 3, 20, 8, tzinfo=UTC),
    ],
)
def test_any_days_ask_the_same_queries_however_old_their_blocks_are(
    world: World, later: datetime, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    """1 kg in early September and 300 g later: 1.3 kg of one block, in as many queries."""
    lot = blocks(world)
    flush(world, lot, 1, KG)
    world.now = later
    flush(world, lot, 2, 300 * GRAM)
    day = later.date()

    with django_assert_num_queries(12):
        days_report(Span(day, day), Only(), MADE)
    (found,) = month_figures(Span(day, day), Only(), happened(given_since(day, day), day)).blocks
    assert found.picked_mg == 1_300 * GRAM


def test_days_with_all_that_happens_ask_at_most_nineteen_queries(
    django_assert_max_num_queries: DjangoAssertNumQueries,
) -> None:
    """A year later the season's blocks, sold to customers with accounts, are picked once more."""
    lots = season(spent=False)
    lots.world.wait(365)
    sold(lots.world, flush(lots.world, lots.grown.blocks, 3, KG))
    day = lots.world.now.date()

    with django_assert_max_num_queries(19):
        days_report(Span(day, day), Only(), MADE)
