"""Grams and cents are handed out once a month, by lot and day: whatever is printed adds up.

The weights here are odd to the milligram, as pounds are, and the costs to the last ten-thousandth.
"""

from collections import Counter
from datetime import UTC, date, datetime
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from farm.actions.common import Draw
from farm.actions.growing.harvesting import pick
from farm.actions.recording.correcting import correct_quantity
from farm.actions.selling.selling import SoldLine, sell
from farm.actions.store.storing import throw_away, weigh_again
from farm.models import Form
from farm.queries.cells import Part, steps_of
from farm.queries.months.closings import closings, closings_add_up
from farm.queries.months.months import MonthFigures, Only, Span, month_figures, month_of
from farm.queries.months.reconciliation import Step, reconcile
from farm.queries.months.years import week_of, week_sums, year_as_shown, year_sums
from farm.queries.movements import happened
from farm.reports.months.closing_rows import days_report, open_report
from farm.reports.months.month_rows import month_report
from farm.reports.months.year_rows import year_report
from farm.reports.rows import Kind, Report, Table, printed, show_fact
from farm.steps import share_steps
from ledger.models import Entry, Flow, Lot
from tests.farm.closed import blocks, close, flush, sold, two_flushes
from tests.farm.season import MADE
from tests.farm.world import KG, UNIT, World, fresh

pytestmark = pytest.mark.django_db

SEPTEMBER, OCTOBER = month_of("2026-09"), month_of("2026-10")
WHOLE = (SEPTEMBER.first, SEPTEMBER.last)
# The last days of one month and the first of the next, with two picks on one of them.
DAYS = ((9, 28), (9, 29), (9, 29), (9, 30), (10, 1), (10, 2), (10, 2))


def at(world: World, month: int, day: int, hour: int = 8) -> None:
    world.now = datetime(2026, month, day, hour, tzinfo=UTC)


def odd_days(world: World) -> list[Lot]:
    """Two block lots picked together, sold in thirds, some thrown away, some weighed again."""
    first, second = blocks(world, 7, 33_3333), blocks(world, 3, 10_0001)
    picked = []
    for number, (month, day) in enumerate(DAYS):
        at(world, month, day, 6 + number)
        doing = world.doing(minutes=7, sure=True)
        given_by = [Draw(fresh(first), 0), Draw(fresh(second), 0)]
        entry = pick(
            doing,
            given=given_by,
            flush=1,
            firsts_mg=1_234_567 + number,
            seconds_mg=453_592,
            trim_mg=100_001,
        )
        picked.append(fresh(entry.lots[-3]))
        for customer in (world.customer, None, None):
            line = SoldLine(picked[-1], 333_333, 12_3400)
            place = world.kitchens if customer else world.stall
            sell(world.doing(minutes=0, sure=True), place=place, customer=customer, lines=[line])
        throw_away(world.doing(reason="soft"), lot=fresh(entry.lots[-2]), quantity=111_111)
    at(world, 10, 3)
    left = fresh(picked[-1])
    weigh_again(world.doing(sure=True), lot=left, weight_mg=left.quantity - 20_500)
    return picked


# --- handing out -----------------------------------------------------------------------------


def test_cents_go_to_the_largest_rests_first_by_lot_and_day_and_then_within() -> None:
    """0.0333 + 0.0334 of lot 1, 0.0367 of lot 2 are 0.1034: ten cents.

    Lot 1 has 0.0667, lot 2 0.0367: 6 and 3 whole cents, and the tenth to the larger rest, 0.67 of
    a cent each: the earlier cell. Of lot 1's seven cents 3 and 3 are whole; 0.34 beats 0.33.
    """
    parts = [Part("", (1, 1), 333), Part("", (1, 1), 334), Part("", (1, 2), 367)]

    assert steps_of(parts, 100) == [3, 4, 3]


@given(
    st.lists(
        st.tuples(st.sampled_from("ab"), st.integers(1, 4), st.integers(-(10**6), 10**6)),
        max_size=20,
    )
)
def test_each_whole_is_rounded_and_no_cell_is_off_by_a_step(
    drawn: list[tuple[str, int, int]],
) -> None:
    parts = [Part(whole, (cell,), number) for whole, cell, number in drawn]
    steps = steps_of(parts, 100)

    for key in {part.whole for part in parts}:
        exact = sum(part.number for part in parts if part.whole == key)
        shared = sum(s for s, part in zip(steps, parts, strict=True) if part.whole == key)
        assert shared == round(Fraction(exact, 100))
    for key in {(part.whole, part.cell) for part in parts}:
        mine = [(s, p.number) for s, p in zip(steps, parts, strict=True) if p[:2] == key]
        assert abs(sum(s for s, _ in mine) * 100 - sum(n for _, n in mine)) < 100
    assert all(abs(s * 100 - p.number) < 100 for s, p in zip(steps, parts, strict=True))


# --- printed tables --------------------------------------------------------------------------


def table(report: Report, title: str) -> Table:
    return next(one for one in report.tables if one.title == title)


def sums(shown: Table, by: str, of: str) -> Counter[str]:
    """Add up a printed column by the words of another, in last digits."""
    words = printed(shown)
    heads = [column.name for column in shown.columns]
    found: Counter[str] = Counter()
    for row in words.rows:
        found[row[heads.index(by)]] += last_digits(row[heads.index(of)])
    assert words.total is None or last_digits(words.total[heads.index(of)]) == found.total()
    return found


def last_digits(shown: str) -> int:
    return int(shown.replace(",", "").replace(".", "") or 0)


def of(figures: MonthFigures) -> Report:
    return month_report(figures, MADE)


def test_every_table_of_a_month_prints_the_same_grams_and_cents(world: World) -> None:
    odd_days(world)
    report = of(month_figures(SEPTEMBER))
    lines = table(report, "Sales by line")

    for grade in ("Firsts", "Seconds", "Trim", "Picked"):
        harvest = [
            sums(table(report, f"Harvest by {by}"), "Species", grade)
            for by in ("species", "day", "block lot", "flush")
        ]
        assert harvest[0] and harvest == harvest[:1] * 4
    for number in ("Weight", "Net", "Cost of sales"):
        for by in ("Place", "Product", "Lot"):
            assert sums(lines, by, number) == sums(
                table(report, f"Sales by {by.lower()}"), by, number
            )
    steps = sums(table(report, "Where the fresh crop went"), "Step", "Came in")
    assert steps["Picked"] == harvest[0]["Oyster"]
    assert (
        sums(table(report, "Where the fresh crop went"), "Step", "Went out")["Sold"]
        == sums(lines, "Product", "Weight").total()
    )


def test_a_month_is_its_year_its_halves_and_its_species(world: World) -> None:
    odd_days(world)
    year = {one.month.key: one for one in year_sums(2026)}
    for month in (SEPTEMBER, OCTOBER):
        whole, row = month_figures(month), year[month.key]
        halves = [
            month_figures(Span(first, last))
            for first, last in (
                (month.first, month.first.replace(day=2)),
                (month.first.replace(day=3), month.first.replace(day=29)),
                (month.first.replace(day=30), month.last),
            )
        ]
        assert row.picked_mg == sum(one.mass_mg for one in whole.picks) > 0
        assert row.cost_of_sales == sum(one.cost for one in whole.sales) > 0
        assert row.lost == sum(one.cost for one in whole.losses) > 0
        assert sum((half.sales for half in halves), ()) == whole.sales
        assert sum((half.picks for half in halves), ()) == whole.picks
        assert month_figures(month, Only(species=world.species)).sales == whole.sales
        assert all(one.mass_mg % 1000 == 0 == one.cost % 100 for one in whole.picks)


def test_days_across_months_sum_what_each_month_handed_out(world: World) -> None:
    odd_days(world)
    across = month_figures(Span(date(2026, 9, 29), date(2026, 10, 2)))
    months = [month_figures(SEPTEMBER), month_figures(OCTOBER)]
    within = [row for one in months for row in one.sales if across.month.first <= row.day]

    assert list(across.sales) == [row for row in within if row.day <= across.month.last]
    week = week_of(date(2026, 9, 30))
    picks = [
        one for figures in months for one in figures.picks if week.first <= one.day <= week.last
    ]
    assert [one.picked_mg for one in week_sums(week)] == [sum(one.mass_mg for one in picks)]


def test_an_evening_is_the_same_as_an_end_and_as_a_start(world: World) -> None:
    odd_days(world)
    before = month_figures(Span(date(2026, 9, 5), date(2026, 9, 29)))
    after = month_figures(Span(date(2026, 9, 30), date(2026, 10, 9)))

    assert before.stock_end == after.stock_start != ()
    assert before.goods[0].end_mg == after.goods[0].start_mg > 0
    assert all(row.mass_mg % 1000 == 0 == row.cost % 100 for row in after.stock_start)


@pytest.mark.parametrize("days", [SEPTEMBER, OCTOBER, Span(date(2026, 9, 29), date(2026, 10, 2))])
def test_where_it_went_comes_to_zero_in_whole_grams(world: World, days: Span) -> None:
    """What rounding leaves is said, so that each step is what the other tables say."""
    odd_days(world)
    found = month_figures(days).goods[0]

    assert found == reconcile(days.first, days.last, form=Form.FRESH)
    assert found.difference_mg == 0
    assert abs(found.amounts.get(Step.ROUNDING, 0)) < 1000 * len(found.moves)
    assert all(mg % 1000 == 0 for mg in found.amounts.values())


def test_whole_grams_leave_nothing_to_round(world: World) -> None:
    lot = blocks(world, 3)
    doing = world.doing(minutes=0, sure=True)
    made: Any = pick(doing, given=[Draw(lot, 0)], flush=1, firsts_mg=1_000_000)
    line = SoldLine(fresh(made.lots[-1]), 333_000, 12 * UNIT)
    sell(world.doing(minutes=0, sure=True), place=world.stall, lines=[line])
    day = world.now.date()

    assert Step.ROUNDING not in reconcile(day, day).amounts


def test_the_books_own_table_shows_all_four_decimals(world: World) -> None:
    odd_days(world)
    figures = month_figures(SEPTEMBER)
    shown = printed(table(of(figures), "How it agrees with the book"))

    assert figures.movement
    sold = shown.rows[3]
    exact = sum(figures.movement.sold)
    assert sold[0] == "- sold" and last_digits(sold[-1]) == -exact
    # To the cent it is what the other tables say.
    assert sum(one.cost for one in figures.sales) == round(Fraction(exact, 100)) * 100


# --- closed months ---------------------------------------------------------------------------


def test_a_year_shows_a_closed_month_as_frozen_and_its_change_apart(world: World) -> None:
    """Design 4: 3.5714 frozen, 3.8461 now, 1.1539 in October: 3.57 + 0.28 + 1.15 = 5.00."""
    two_flushes(world)
    sums = year_as_shown(2026)
    shown = printed(year_report(2026, sums, weeks=(), begins=None, made=MADE).tables[0])
    at = shown.heads.index("Cost of sales")

    assert [(row[0], row[at]) for row in shown.rows] == [
        ("2026-09", "3.57"),
        ("2026-10", "1.15"),
        ("since closing", "0.28"),
    ]
    assert shown.total and shown.total[at] == "5.00"


def test_a_year_without_late_changes_has_no_such_row(world: World) -> None:
    sold(world, flush(world, blocks(world), 1, KG))
    close(world)

    assert year_as_shown(2026).since is None
    assert list(year_as_shown(2026).months) == year_sums(2026)


def test_days_are_shown_as_worked_now_and_say_what_is_not_in_the_closed_month(
    world: World,
) -> None:
    """September froze 3.57 and comes to 3.85: days across both months come to 5.00, and say so."""
    two_flushes(world)
    days = Span(date(2026, 9, 1), date(2026, 10, 31))
    report = days_report(days, Only(), MADE)
    facts = {fact.label: show_fact(fact) for fact in report.facts}
    shown = printed(table(report, "Since closing: sales by line"))

    assert facts["Cost of sales"] == "5.00"
    assert facts["Since closing: Cost of sales"] == "0.28"
    assert facts["Changed since closing"].startswith("of September 2026: counted here")
    assert [row[-1] for row in shown.rows] == ["0.28"]
    october = days_report(Span(date(2026, 10, 1), days.last), Only(), MADE)
    assert "Changed since closing" not in {fact.label for fact in october.facts}


def test_frozen_and_what_changed_since_come_to_what_is_worked_to_the_cent(world: World) -> None:
    """A sale typed late into closed September, and a pick of it that is corrected."""
    picked = odd_days(world)
    close(world)
    frozen = {one.month.key: one for one in year_as_shown(2026).months}
    at(world, 9, 29, 20)
    line = SoldLine(fresh(picked[1]), 55_555, 12_3400)
    sell(world.doing(minutes=0, sure=True), place=world.stall, lines=[line])
    thrown = Entry.objects.filter(kind="throw away", happened_on=date(2026, 9, 28)).get()
    (lost,) = thrown.lines.all()
    correct_quantity(
        world.doing(sure=True), thrown, lot=lost.lot, role="lost", right_quantity=222_222
    )
    shown, now = year_as_shown(2026), year_sums(2026)

    assert shown.months[0] == frozen["2026-09"]
    assert shown.since
    assert (shown.since.cost_of_sales > 0, shown.since.lost > 0) == (True, True)
    for name in ("picked_mg", "net", "gross", "cost_of_sales", "selling", "lost", "left_over"):
        worked = sum(getattr(one, name) for one in now)
        assert sum(getattr(one, name) for one in shown.rows) == worked
    # The month that shows it prints the same cents, row by row under their printed total.
    report = open_report(OCTOBER, MADE, closings())
    facts = {one.label: one.value for one in report.facts}
    for title, head, since in (
        ("sales by line", "Cost of sales", shown.since.cost_of_sales),
        ("losses by stage and reason", "Lost", shown.since.lost),
    ):
        told = table(report, f"Since closing: {title}")
        column = [(one.name, one.kind) for one in told.columns].index((head, Kind.MONEY))
        cents = [number for row in told.rows if isinstance(number := row[column], int)]
        assert told.total
        assert facts[f"Since closing: {head}"] == since == sum(cents) == told.total[column]
        assert all(money % 100 == 0 for money in cents)
    assert closings_add_up().broken == ""


def handed(figures: MonthFigures) -> dict[tuple[int, str], tuple[int | None, int]]:
    return {(row.entry, row.lot_code): (row.amount.mass_mg, row.cost) for row in figures.sales}


def sold_late(world: World, lot: Lot, mg: int) -> None:
    at(world, 9, 30, 20)
    line = SoldLine(fresh(lot), mg, 12_3400)
    sell(world.doing(minutes=0, sure=True), place=world.stall, lines=[line])


def test_what_a_closed_month_handed_out_stays_where_nothing_changed(world: World) -> None:
    """Of 100.4 g and 100.4 g of two lots the first is 101 g. Then 77.45 g of a third is typed.

    Handed out anew, that one's rest would be the larger, and the first 100 g.
    """
    picked = odd_days(world)
    for lot in picked[:2]:
        sold_late(world, lot, 100_400)
    before = handed(month_figures(SEPTEMBER))
    close(world)
    sold_late(world, picked[2], 77_450)
    shown, anew = month_figures(SEPTEMBER), month_figures(SEPTEMBER, found=happened(*WHOLE))
    exact = Flow.objects.filter(role="sold", entry__happened_on__range=WHOLE)
    same = {key: cells for key, cells in before.items() if key[1] != picked[2].code}

    assert {key: cells for key, cells in handed(shown).items() if key in same} == same != {}
    assert {key: cells for key, cells in handed(anew).items() if key in same} != same
    for figures in (shown, anew):  # either way the month comes to what it is
        grams = sum(row.amount.mass_mg or 0 for row in figures.sales)
        assert grams == round(Fraction(-sum(one.quantity for one in exact), 1000)) * 1000


def test_steps_that_stay_leave_the_rest_to_what_changed() -> None:
    """Three times 0.0033 were 1, 0 and 0 hundredths of 0.0099; the third is 0.0160 now.

    0.0226 are two hundredths: the first keeps its one, the second its none, the third has one.
    """
    parts = [Part("", (1,), 33, 1), Part("", (2,), 33, 0), Part("", (3,), 160)]

    assert steps_of(parts, 100) == [1, 0, 1]
    # Where all that changed is gone, what is left is handed out again.
    assert steps_of([Part("", (1,), 33, 1), Part("", (2,), 33, 1)], 100) == [1, 0]


@given(st.lists(st.integers(-500, 500), min_size=1, max_size=9), st.integers(-40, 40))
def test_a_whole_that_is_far_off_is_shared_alike(values: list[int], beyond: int) -> None:
    whole = sum(value // 100 for value in values) + beyond
    parts = share_steps(values, 100, whole)
    given_more = [part - value // 100 for part, value in zip(parts, values, strict=True)]

    assert sum(parts) == whole
    assert max(given_more) - min(given_more) <= 1
