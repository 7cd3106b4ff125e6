"""A farm in pounds: their hundredths are handed out as grams are, so that every table adds up.

A pound is 453.59237 g (`tests/published.py`).
"""

import csv
import json
from collections import Counter
from dataclasses import replace
from datetime import date
from fractions import Fraction
from io import BytesIO, StringIO

import pytest
from openpyxl import load_workbook

from farm.models import ClosedMonth, Form
from farm.queries.months.months import MonthFigures, Only, Span, month_figures
from farm.queries.months.reconciliation import Reconciliation
from farm.queries.months.years import week_of, week_sums, year_as_shown
from farm.reports.csv_tables import table_csv
from farm.reports.months.closing_rows import days_report
from farm.reports.months.month_rows import month_report
from farm.reports.months.reconciliation_rows import steps_table
from farm.reports.months.year_rows import year_report
from farm.reports.rows import Kind, Report, Table, printed, show_fact
from farm.reports.xlsx import workbook_bytes
from farm.weight import Weight, hundredths_of
from ledger.models import Flow
from tests.farm.closed import close
from tests.farm.months.test_cells import OCTOBER, SEPTEMBER, WHOLE, odd_days, sold_late
from tests.farm.season import MADE
from tests.farm.world import World
from tests.published import UNECE_POUND_CENTI_MG

pytestmark = pytest.mark.django_db

POUNDS = replace(MADE, weight_unit="lb")
HUNDREDTH_MG = Fraction(UNECE_POUND_CENTI_MG, 10_000)
SPLIT = (date(2026, 9, 29), date(2026, 10, 2))


def of(figures: MonthFigures) -> Report:
    return month_report(figures, POUNDS)


def table(report: Report, title: str) -> Table:
    return next(one for one in report.tables if one.title == title)


def in_pounds(shown: Table, head: str, by: str = "") -> Counter[str]:
    """Add a printed column of pounds up by the words of another; its total says the same."""
    words = printed(shown)
    at, of = words.heads.index(f"{head}, lb"), words.heads.index(by) if by else 0
    found: Counter[str] = Counter()
    for row in words.rows:
        found[row[of]] += hundredths(row[at])
    assert not (words.total and words.total[at]) or hundredths(words.total[at]) == found.total()
    return found


def hundredths(word: str) -> int:
    return int(word.replace(",", "").replace(".", "") or 0)


def exact(*roles: str, stage: int | None = None) -> Fraction:
    """What the book says of September in hundredths of a pound."""
    flows = Flow.objects.filter(role__in=roles, entry__happened_on__range=WHOLE)
    flows = flows.filter(lot__card__stage=stage) if stage else flows
    return Fraction(sum(flows.values_list("quantity", flat=True))) / HUNDREDTH_MG


def test_every_table_of_a_month_prints_the_same_hundredths_of_a_pound(world: World) -> None:
    odd_days(world)
    report = of(month_figures(SEPTEMBER))
    lines = table(report, "Sales by line")
    facts = {fact.label: show_fact(fact) for fact in report.facts}

    for grade in ("Firsts", "Seconds", "Trim", "Picked"):
        harvest = [
            in_pounds(table(report, f"Harvest by {by}"), grade, "Species")
            for by in ("species", "day", "block lot", "flush")
        ]
        assert harvest[0] and harvest == harvest[:1] * 4
    picked, sold = harvest[0].total(), in_pounds(lines, "Weight").total()
    assert (picked, sold) == (round(exact("made", stage=7)), round(-exact("sold")))
    assert [
        hundredths(facts[f"{name}, in pounds"].removesuffix(" lb")) for name in ("Picked", "Sold")
    ] == [picked, sold]
    for by in ("Place", "Product", "Lot"):
        by_what = table(report, f"Sales by {by.lower()}")
        assert in_pounds(lines, "Weight", by) == in_pounds(by_what, "Weight", by)


def test_where_the_crop_went_adds_up_in_pounds_and_says_what_the_other_tables_say(
    world: World,
) -> None:
    odd_days(world)
    for figures in (month_figures(SEPTEMBER), month_figures(OCTOBER), month_figures(Span(*SPLIT))):
        report = of(figures)
        went = table(report, "Where the fresh crop went")
        came, gone = in_pounds(went, "Came in", "Step"), in_pounds(went, "Went out", "Step")
        stock = table(report, "Stock")
        assert came.total() == gone.total() > 0
        assert came["Picked"] == in_pounds(table(report, "Harvest by species"), "Picked").total()
        assert gone["Sold"] == in_pounds(table(report, "Sales by line"), "Weight").total()
        # Nothing is dried or packed: what is picked is all of the goods.
        assert gone["Still in stock"] == in_pounds(stock, "Weight at the end", "Stage")["picked"]
        assert hundredths(printed(went).rows[-1][printed(went).heads.index("Left, lb")]) == 0


def test_a_month_is_its_days_its_species_its_year_and_its_weeks_in_pounds(world: World) -> None:
    odd_days(world)
    year = table(
        year_report(2026, year_as_shown(2026), weeks=(), begins=None, made=POUNDS), "Month by month"
    )
    by_month = in_pounds(year, "Picked", "Month")
    for month in (SEPTEMBER, OCTOBER):
        whole = in_pounds(table(of(month_figures(month)), "Harvest by species"), "Picked")
        halves = [
            in_pounds(table(of(month_figures(days)), "Harvest by species"), "Picked").total()
            for days in (
                Span(month.first, month.first.replace(day=1)),
                Span(month.first.replace(day=2), month.first.replace(day=28)),
                Span(month.first.replace(day=29), month.last),
            )
        ]
        only = of(month_figures(month, Only(species=world.species)))
        assert whole.total() == sum(halves) == by_month[month.key] > 0
        assert in_pounds(table(only, "Harvest by species"), "Picked") == whole
    week = week_of(date(2026, 9, 30))
    days = table(days_report(Span(week.first, week.last), Only(), POUNDS), "Harvest by day")
    (sums,) = week_sums(week)
    assert in_pounds(days, "Picked").total() == hundredths_of(sums.picked_mg)


def test_files_say_the_pounds_of_the_page(world: World) -> None:
    odd_days(world)
    report = of(month_figures(SEPTEMBER))
    shown = table(report, "Harvest by block lot")
    words = printed(shown)
    at = words.heads.index("Picked, lb")
    page = [row[at] for row in words.rows]
    lines = list(csv.reader(StringIO(table_csv(shown).decode(), newline="")))
    book = load_workbook(BytesIO(workbook_bytes(report)), data_only=True)
    sheet = next(one for one in book if one["A1"].value == "Harvest by block lot")

    assert shown.columns[at].kind is Kind.HANDED_POUNDS
    assert lines[0][at] == sheet.cell(3, at + 1).value == "Picked, lb"
    assert [line[at] for line in lines[1:]] == page != []
    assert [f"{sheet.cell(4 + row, at + 1).value:.2f}" for row in range(len(page))] == page


def test_what_a_closed_month_handed_out_in_pounds_stays(world: World) -> None:
    """A late sale of another lot moves no hundredth of those that were frozen."""
    picked = odd_days(world)
    before = pounds_by_sale(month_figures(SEPTEMBER))
    close(world)
    sold_late(world, picked[2], 77_450)
    after = pounds_by_sale(month_figures(SEPTEMBER))
    kept = [key for key in json.loads(ClosedMonth.objects.get().cells) if key.endswith(" lb")]

    assert {key: of for key, of in after.items() if key in before} == before
    assert sum(after.values()) == round(-exact("sold"))
    assert len(after) == len(before) + 1 and len(kept) >= len(before)


def pounds_by_sale(figures: MonthFigures) -> dict[tuple[int, str], int]:
    return {
        (row.entry, row.lot_code): hundredths_of(row.amount.mass_mg) or 0 for row in figures.sales
    }


def test_what_went_out_comes_to_what_came_in_by_the_hundredth_that_is_no_gram() -> None:
    """150.1 kg came in as 330.92 lb of single lots; they are still there, as 330.91 lb."""
    mg = 150_100_000
    found = Reconciliation(Form.FRESH, Weight(mg, 330_92), (), Weight(mg, 330_91), 0, Weight(0, 1))
    shown = steps_table(found, "lb")
    at = [[column.name for column in shown.columns].index(name) for name in ("Came in", "Went out")]
    assert shown.total
    total = [shown.total[place] for place in at]

    assert [hundredths_of(cell) for cell in total if isinstance(cell, int)] == [330_92, 330_92]


def test_a_farm_in_kilos_shows_no_pounds_and_rounds_no_more_than_grams(world: World) -> None:
    odd_days(world)
    kilos = month_report(month_figures(SEPTEMBER), MADE)

    assert not any("lb" in head for shown in kilos.tables for head in printed(shown).heads)


def test_weights_add_up_in_both_and_lose_their_pounds_with_any_other_number() -> None:
    one, other = Weight(454_000, 100), Weight(453_000, 99)

    assert (sum([one, other]), hundredths_of(sum([one, other]))) == (907_000, 199)
    assert [
        hundredths_of(number) for number in (one - other, -one, 0 - one, 2 * one, abs(-one))
    ] == [1, -100, -100, 200, 100]
    assert [hundredths_of(number) for number in (one + 1, one // 2, 7)] == [None] * 3
    assert (hundredths_of(0), hundredths_of(None)) == (0, 0)
