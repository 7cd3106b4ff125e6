"""The month: its rows agree with the book, and page, PDF and spreadsheet show the same totals."""

import io
import shutil
import subprocess
from dataclasses import replace
from datetime import date
from fractions import Fraction
from pathlib import Path

import pytest
from django.db import connection
from django.db.models import Sum
from django.test import Client
from django.test.utils import CaptureQueriesContext
from openpyxl import load_workbook

from farm.actions.common import Draw
from farm.actions.growing.harvesting import pick
from farm.actions.recording.correcting import correct_quantity, undo
from farm.actions.selling.selling import SoldLine, sell
from farm.queries.months.months import (
    MonthFigures,
    Movement,
    NoMonthError,
    month_figures,
    month_of,
    months_kept,
)
from farm.reports import rows
from farm.reports.months.month_rows import month_report
from farm.reports.pdf import pdf_bytes
from farm.reports.rows import Kind, Report, Table
from farm.reports.xlsx import workbook_bytes
from ledger import balances
from ledger.models import KINDS, Flow, Role
from tests.farm.season import MADE, Season, season
from tests.farm.world import GRAM, KG, UNIT, fresh

pytestmark = pytest.mark.django_db

OCTOBER = month_of("2026-10")
# The book's units in one of the spreadsheet's.
SCALES = {
    Kind.MASS: 1_000_000, Kind.MONEY: 10_000, Kind.EXACT_MONEY: 10_000, Kind.COUNT: 1
}  # fmt: skip


def october() -> MonthFigures:
    return month_figures(OCTOBER)


def movement(figures: MonthFigures) -> Movement:
    """The book's own sums, which only the whole farm's figures have."""
    assert figures.movement
    return figures.movement


def report() -> Report:
    return month_report(october(), MADE)


def table(title: str) -> Table:
    return next(table for table in report().tables if table.title == title)


def cost_of_flows(*roles: Role) -> int:
    flows = Flow.objects.filter(
        role__in=roles, entry__happened_on__range=(OCTOBER.first, OCTOBER.last)
    )
    sums = flows.aggregate(*(Sum(kind) for kind in KINDS))
    return -sum(int(amount) for amount in sums.values())


# --- it agrees with the book -----------------------------------------------------------------


def in_cents(money: int) -> int:
    """Round to whole cents, as a month's total is before its cents are handed out."""
    return round(Fraction(money, 100)) * 100


def test_the_cost_of_what_was_sold_is_the_books_own_to_the_cent() -> None:
    season()
    exact = cost_of_flows(Role.SOLD, Role.BACK)

    assert sum(row.cost for row in october().sales) == in_cents(exact) > 0
    assert exact % 100  # so that there is something to round


def test_the_cost_of_what_was_lost_is_the_books_own_to_the_cent() -> None:
    season()
    exact = cost_of_flows(Role.LOST, Role.STRANDED)

    assert sum(row.cost for row in october().losses) == in_cents(exact) > 0


def test_stock_at_the_end_is_what_the_lots_hold() -> None:
    season()
    held = sum(sum(balance.cost) for balance in balances.on_hand())

    assert sum(row.cost for row in october().stock_end) == in_cents(held)
    assert sum(movement(october()).end) == held


def test_start_and_what_came_in_are_sold_lost_or_in_stock() -> None:
    season()
    moved = movement(october())

    assert moved.difference == 0
    assert moved.bought[0] == 3 * UNIT  # 30 punnets at 0.10
    assert sum(moved.charged) > 0


def test_both_months_together_are_the_whole_book() -> None:
    season()
    months = [movement(month_figures(month)) for month in months_kept()]
    whole = balances.whole_book()

    came_in = [cost for moved in months for cost in (moved.bought, moved.charged)]
    assert whole.came_in == tuple(map(sum, zip(*came_in, strict=True)))
    assert whole.sold == tuple(map(sum, zip(*(moved.sold for moved in months), strict=True)))


def test_every_table_of_sales_has_the_same_totals() -> None:
    """Net, tax and gross of each; by week there is net alone."""
    season()
    totals = {
        table.title: tuple(
            total
            for column, total in zip(table.columns, table.total, strict=True)
            if column.name in ("Net", "Tax", "Gross")
        )
        for table in report().tables
        if table.title.startswith("Sales") and table.total and "week" not in table.title
    }
    by_week = table("Sales by week and place").total

    assert len(totals) == 7
    assert len(set(totals.values())) == 1
    assert by_week and by_week[-1] == totals["Sales by line"][0]


def test_every_table_of_the_harvest_has_the_same_totals() -> None:
    season()
    weights = [table(f"Harvest by {by}") for by in ("species", "block lot", "flush")]
    found = [dict(zip([c.name for c in t.columns], t.total or (), strict=True)) for t in weights]

    # 8 kg of firsts, 1.5 of seconds, 0.5 of trim.
    expected = {"Firsts": 8 * KG, "Seconds": 1_500 * GRAM, "Trim": 500 * GRAM, "Picked": 10 * KG}
    assert [{name: total[name] for name in expected} for total in found] == [expected] * 3


# --- corrections -----------------------------------------------------------------------------


def test_a_correction_counts_in_the_month_of_what_it_corrects() -> None:
    lots = season()
    lots.world.wait(40)
    correct_quantity(
        lots.world.doing(), lots.stall.entry, lot=lots.packs, role="sold", right_quantity=5
    )
    row = next(row for row in october().sales if row.entry == lots.stall.entry.seq)

    assert (row.amount.pieces, row.gross) == (5, 25 * UNIT)
    assert month_figures(month_of("2026-11")).sales == ()
    assert movement(october()).difference == 0


def test_an_undone_sale_is_in_no_month() -> None:
    lots = season()
    lots.world.wait(40)
    undo(lots.world.doing(), lots.stall.entry)

    assert "Saturday market" not in {row.place for row in october().sales}
    assert october().selling.get("Saturday market", 0) == 0


def test_a_return_is_a_row_below_zero() -> None:
    season()
    returned = [row for row in october().sales if row.gross < 0]

    # 2 of 20 packs at 4.00.
    assert [(row.amount.pieces, row.gross) for row in returned] == [(-2, -8 * UNIT)]


# --- what the rows say -----------------------------------------------------------------------


def test_rows_carry_customers_numbers_and_never_names() -> None:
    lots = season()

    assert lots.world.customer.number in str(report())
    assert "The Anchor" not in str(report())


def test_selling_costs_stand_beside_their_place() -> None:
    season()

    # The fee of 25.00 and seven hours at 18.00.
    assert october().selling["Saturday market"] == 151 * UNIT


def test_efficiency_is_fresh_weight_over_the_recipes_dry_matter() -> None:
    season()
    (blocks,) = october().blocks

    # 10 kg / (40 blocks x 975 g x 0.92) = 10 / 35.88 = 27.87 %
    assert (blocks.started, blocks.fruited, blocks.picked_mg) == (40, 39, 10 * KG)
    assert blocks.efficiency_ppm == 278_707


def test_weight_per_block_is_stated_both_ways() -> None:
    season()
    flush = table("Harvest by flush")
    row = dict(zip([column.name for column in flush.columns], flush.rows[0], strict=True))

    # 10 kg / 40 and 10 kg / 39
    assert (row["Per block started"], row["Per block fruited"]) == (250_000, 256_410)


def test_a_second_flush_in_the_next_month_counts_there() -> None:
    lots = season(spent=False)
    lots.world.wait(20)
    doing = replace(lots.world.doing(), sure=True)
    pick(doing, given=[Draw(fresh(lots.grown.blocks), 0)], flush=2, firsts_mg=4 * KG)
    (later,) = month_figures(month_of("2026-11")).blocks

    assert sum(row.mass_mg for row in october().picks) == 10 * KG
    assert october().blocks[0].picked_mg == 10 * KG
    assert later.picked_mg == 14 * KG
    assert later.provisional


def test_losses_stand_by_stage_and_reason() -> None:
    season()
    losses = {(row.stage.label, row.reason): row for row in october().losses}

    assert losses["blocks", "green mould"].pieces == 1
    assert losses["blocks", "green mould"].cost == 0  # within the planned 7 % of 40
    assert losses["packed", "unsold"].mass_mg == 600 * GRAM
    assert losses["picked", "water, inside the band"].cost == 0


def test_spent_blocks_are_no_loss() -> None:
    season()

    assert {row.reason for row in october().losses if row.stage.label == "blocks"} == {
        "green mould"
    }


# --- page, PDF and spreadsheet ---------------------------------------------------------------


def printed_totals() -> list[str]:
    shown = report()
    found = (rows.printed(each, shown.currency).total for each in shown.tables)
    return [cell for total in found if total for cell in total[1:] if cell]


def test_the_page_shows_the_totals(owner: Client) -> None:
    season()
    page = owner.get("/month/2026-10/").content.decode()

    assert [total for total in printed_totals() if f">{total}</td>" not in page] == []


def test_the_pdf_shows_the_totals(tmp_path: Path) -> None:
    season()
    program = shutil.which("pdftotext")
    if program is None:
        pytest.skip("pdftotext is not installed")
    (tmp_path / "month.pdf").write_bytes(pdf_bytes(report()))
    command = [program, "-layout", str(tmp_path / "month.pdf"), "-"]
    words = subprocess.run(command, capture_output=True, text=True, check=True).stdout.split()

    assert [total for total in printed_totals() if total not in words] == []


def test_the_spreadsheet_holds_the_exact_totals() -> None:
    season()
    shown = report()
    book = load_workbook(io.BytesIO(workbook_bytes(shown)), data_only=True)
    sheets = dict(zip([table.title for table in shown.tables], book.worksheets[1:], strict=True))

    for each in shown.tables:
        for index in each.summed_columns():
            cell = sheets[each.title].cell(4 + len(each.rows), index + 1).value
            scale = SCALES[each.columns[index].kind]
            total = each.total[index] if each.total else None
            assert isinstance(total, int)
            assert round(float(str(cell)) * scale) == total, each.title


# --- which month -----------------------------------------------------------------------------


def test_a_month_ends_with_its_last_day() -> None:
    assert month_of("2028-02").last == date(2028, 2, 29)
    assert (OCTOBER.name, OCTOBER.key, OCTOBER.last) == (
        "October 2026",
        "2026-10",
        date(2026, 10, 31),
    )


@pytest.mark.parametrize("typed", ["october", "2026-13", "2026", "0000-01", "9999-12", ""])
def test_what_is_no_month_is_refused(typed: str) -> None:
    with pytest.raises(NoMonthError, match="such as 2026-10"):
        month_of(typed)


def test_the_months_kept_are_those_with_entries() -> None:
    season()

    assert [month.key for month in months_kept()] == ["2026-10", "2026-09"]


def test_a_month_without_entries_is_empty_and_agrees() -> None:
    season()
    figures = month_figures(month_of("2027-03"))

    assert (figures.sales, figures.picks, movement(figures).difference) == ((), (), 0)


def test_the_number_of_queries_does_not_grow_with_the_history() -> None:
    lots = season()
    before = queries()
    more_sales(lots)

    assert queries() == before


def queries() -> int:
    with CaptureQueriesContext(connection) as asked:
        october()
    return len(asked)


def more_sales(lots: Season) -> None:
    for _ in range(2):
        line = SoldLine(fresh(lots.packs), 1, 4 * UNIT)
        sell(
            lots.world.doing(),
            place=lots.world.kitchens,
            customer=lots.world.customer,
            lines=[line],
        )
