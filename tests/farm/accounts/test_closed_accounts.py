"""Payments dated into a closed month: they stand in the open one, and every month still rolls on.

September: 50.00 invoiced, 20.00 paid, 30.00 owed; closed. Then 12.00 dated into September comes to
light. October begins with the 30.00 of the paper, has 12.00 less since closing, and goes on.
"""

import io
from datetime import UTC, date, datetime
from uuid import uuid4

import pytest
from openpyxl import load_workbook

from farm.actions.accounts.payments import enter_payment, take_payment_back
from farm.actions.months.bills import BillSaid, enter_bill
from farm.models import BillKind, Payment
from farm.queries.accounts.owed import account_of
from farm.queries.months.account_checks import accounts_add_up, payments_agree
from farm.queries.months.bills import missing_words
from farm.queries.months.closings import closings, closings_add_up, frozen_rows, since_closing
from farm.queries.months.closings import totals as totals_of
from farm.queries.months.months import Only, month_figures, month_of
from farm.queries.months.years import YearSums
from farm.queries.movements import money_in
from farm.queries.roll_forward import rolled_by_month
from farm.reports.months.account_rows import HELD, OWED, SINCE
from farm.reports.months.closing_rows import open_report
from farm.reports.months.month_rows import month_report
from farm.reports.months.year_rows import year_report
from farm.reports.rows import Cell, Report, Table, show_cell
from farm.reports.text import text
from farm.reports.xlsx import workbook_bytes
from ledger.errors import Malformed
from tests.farm.closed import LATER, NOVEMBER, OCTOBER, SEPTEMBER, close, go_to
from tests.farm.goods import packs
from tests.farm.orders.test_shares import BOX, box, taken, two_packs
from tests.farm.season import MADE
from tests.farm.settled import gets_back, gives_up, invoice_of, paying, pays
from tests.farm.sold import selling_farm
from tests.farm.world import UNIT, World, assert_book_is_sound, prepared_grain, run

pytestmark = pytest.mark.django_db

IN_SEPTEMBER = date(2026, 9, 28)


@pytest.fixture
def trade() -> World:
    """September as it was closed: 50.00 invoiced, 20.00 paid."""
    world = selling_farm()
    go_to(world, SEPTEMBER)
    invoice_of(world, 10)
    pays(world, 20 * UNIT)
    close(world)
    go_to(world, OCTOBER)
    return world


def table(report: Report, title: str) -> Table:
    return next(table for table in report.tables if table.title == title)


def row(report: Report, title: str, at: int = 0) -> dict[str, Cell]:
    shown = table(report, title)
    return dict(zip((column.name for column in shown.columns), shown.rows[at], strict=True))


def october() -> Report:
    return open_report(OCTOBER, MADE, closings())


def test_a_payment_dated_into_a_closed_month_stands_in_the_open_one(trade: World) -> None:
    pays(trade, 12 * UNIT, paid_on=IN_SEPTEMBER)
    pays(trade, 3 * UNIT)

    shown = row(october(), OWED)
    assert [shown[name] for name in ("At the start", SINCE, "Paid", "At the end")] == [
        30 * UNIT,
        -12 * UNIT,
        3 * UNIT,
        15 * UNIT,
    ]
    late = row(october(), "Since closing: what customers owe")
    assert (late["Belongs to"], late["Customer number"]) == (
        "September 2026",
        trade.customer.number,
    )
    assert (late["Paid"], late["Owed"]) == (12 * UNIT, -12 * UNIT)
    whole = row(october(), "How closed and open make the whole", at=-2)
    assert list(whole.values()) == [
        "Owed by customers, less paid ahead",
        30 * UNIT,
        -12 * UNIT,
        -3 * UNIT,
        15 * UNIT,
    ]
    assert account_of(trade.customer, date(2026, 10, 31)).balance == 15 * UNIT
    assert [check().broken for check in (closings_add_up, accounts_add_up, payments_agree)] == [
        "",
        "",
        "",
    ]


def test_what_a_closing_showed_is_frozen_and_the_next_month_begins_with_it(trade: World) -> None:
    pays(trade, 12 * UNIT, paid_on=IN_SEPTEMBER)
    close(trade, OCTOBER)
    shown = row(open_report(NOVEMBER, MADE, closings()), OWED)

    assert totals_of(frozen_rows())["owed owed_money"] == 18 * UNIT
    assert since_closing() == []
    assert (shown["At the start"], shown["At the end"]) == (18 * UNIT, 18 * UNIT)
    assert SINCE not in shown


def test_a_payment_of_a_closed_month_taken_back_is_owed_again_since(trade: World) -> None:
    take_payment_back(trade.doing(), Payment.objects.get())

    shown = row(october(), OWED)
    assert (shown["At the start"], shown[SINCE], shown["At the end"]) == (
        30 * UNIT,
        20 * UNIT,
        50 * UNIT,
    )


def test_what_came_to_nothing_since_still_says_where_the_paper_stood(trade: World) -> None:
    """All of the 30.00 was paid in September after all: nothing is owed, and October says how."""
    pays(trade, 30 * UNIT, paid_on=IN_SEPTEMBER)

    shown = row(october(), OWED)
    assert (shown["At the start"], shown[SINCE], shown["At the end"]) == (30 * UNIT, -30 * UNIT, 0)


def test_refunds_and_what_was_given_up_late_stand_there_too(trade: World) -> None:
    """Paid 35.00 in October: 5.00 ahead; 4.00 paid back and 1.00 left, both dated September."""
    pays(trade, 35 * UNIT)
    gets_back(trade, 4 * UNIT, paid_on=IN_SEPTEMBER)
    gives_up(trade, UNIT, paid_on=IN_SEPTEMBER)

    (late,) = [one for one in since_closing() if one.table == "owed"]
    assert late.numbers == {
        "invoiced_money": 0,
        "credited_money": 0,
        "paid_money": 0,
        "paid_back_money": 4 * UNIT,
        "given_up_money": -UNIT,
        "owed_money": 5 * UNIT,
    }
    shown = row(october(), OWED)
    assert (shown["At the start"], shown[SINCE], shown["Paid"], shown["At the end"]) == (
        30 * UNIT,
        5 * UNIT,
        35 * UNIT,
        0,
    )


def test_a_deposit_dated_into_a_closed_month_rolls_on(trade: World) -> None:
    """48.00 ahead, dated September; a box of 12.00 in October: 36.00 held."""
    share = taken(trade)
    pays(trade, 48 * UNIT, share=share, paid_on=IN_SEPTEMBER)
    box(trade, share, two_packs(packs(trade)))

    shown = row(october(), HELD)
    assert list(shown.values()) == [
        trade.customer.number,
        share.pk,
        0,
        48 * UNIT,
        0,
        BOX,
        0,
        0,
        36 * UNIT,
    ]
    late = row(october(), "Since closing: deposits for boxes")
    assert (late["Share"], late["Paid ahead"], late["Held"]) == (
        f"{share.pk}",
        48 * UNIT,
        48 * UNIT,
    )
    whole = row(october(), "How closed and open make the whole", at=-1)
    assert list(whole.values()) == [
        "Deposits held for boxes",
        0,
        48 * UNIT,
        -BOX,
        36 * UNIT,
    ]
    assert closings_add_up().broken == ""


def test_a_payment_before_the_book_is_of_a_month_of_its_own(trade: World) -> None:
    """Dated August, which no entry is of: it belongs before the closed September, and is late."""
    pays(trade, 12 * UNIT, paid_on=date(2026, 8, 30))

    assert closings().known[0] == month_of("2026-08")
    (late,) = [one for one in since_closing() if one.table == "owed"]
    assert (late.month, late.numbers["owed_money"]) == ("2026-08", -12 * UNIT)
    assert closings_add_up().broken == ""


def test_an_absurd_day_never_becomes_a_month(trade: World) -> None:
    with pytest.raises(Malformed, match="state a day from 2000 to today"):
        enter_payment(trade.doing(sure=True), paying(trade, UNIT, paid_on=date(26, 10, 1)))


# --- the same in every form ------------------------------------------------------------------


def test_page_text_and_spreadsheet_roll_to_the_same_cent(trade: World) -> None:
    pays(trade, 12 * UNIT, paid_on=IN_SEPTEMBER)
    gives_up(trade, 18 * UNIT)
    shown = table(october(), OWED)
    (cells,) = shown.rows
    words = [show_cell(column, cell) for column, cell in zip(shown.columns, cells, strict=True)]
    assert words[1:] == ["30.00", "-12.00", "0.00", "0.00", "0.00", "0.00", "18.00", "0.00"]
    assert shown.total == ("Total", *cells[1:])

    (line, *_) = [
        line.split()
        for line in text(october()).split(OWED.upper())[1].splitlines()
        if trade.customer.number in line
    ]
    assert line[1:] == words[1:]
    sheet = load_workbook(io.BytesIO(workbook_bytes(october())), data_only=True)
    titles = [table.title for table in october().tables]
    found = sheet.worksheets[1 + titles.index(OWED)]
    values = [cell.value for cell in found[4]][: len(words)]
    assert [round(float(str(value)) * UNIT) for value in values[1:]] == list(cells[1:])


def test_any_days_roll_on_and_a_part_of_the_farm_does_not(trade: World) -> None:
    whole = month_report(month_figures(SEPTEMBER), MADE)
    assert row(whole, OWED)["At the end"] == 30 * UNIT
    part = month_report(month_figures(SEPTEMBER, Only(trade.species)), MADE)
    assert OWED not in [table.title for table in part.tables]


def test_a_year_rolls_on_from_month_to_month(trade: World) -> None:
    """September 0 to 30.00; October 30.00 less 12.00; December: 10.00 invoiced: 28.00."""
    pays(trade, 12 * UNIT)
    trade.now = datetime(2026, 12, 31, 9, tzinfo=UTC)
    invoice_of(trade, 2)
    trade.now = datetime(2027, 1, 2, 9, tzinfo=UTC)
    pays(trade, 28 * UNIT)

    sums, months = YearSums((), None), rolled_by_month(2026)
    shown = year_report(2026, sums, weeks=(), begins=None, made=MADE, rolled=months)
    rows = [(row[0], row[1], row[-1]) for row in table(shown, OWED).rows]
    assert rows == [
        ("2026-09", 0, 30 * UNIT),
        ("2026-10", 30 * UNIT, 18 * UNIT),
        ("2026-12", 18 * UNIT, 28 * UNIT),
    ]
    assert table(shown, OWED).total == (
        "Total",
        None,
        60 * UNIT,
        0,
        32 * UNIT,
        0,
        0,
        None,
    )
    ((_, after),) = rolled_by_month(2027)
    assert [(one.start, one.paid, one.end) for one in after] == [(28 * UNIT, 28 * UNIT, 0)]
    assert_book_is_sound()


# --- bills never entered ---------------------------------------------------------------------


def test_a_bill_never_entered_is_missing_and_not_zero(db: None) -> None:
    """A run charges 6.00 of energy. Without a bill nothing differs; billed 8.00 late, 2.00 do."""
    world = selling_farm()
    run(world, prepared_grain(world))
    kept = close(world)
    money = money_in(SEPTEMBER.first, SEPTEMBER.last)

    assert missing_words(money) == "energy"
    assert '"bill":"no bill entered"' in kept.rows
    assert totals_of(frozen_rows())["bills under_charged_money"] == 0
    said = BillSaid(month=SEPTEMBER, kind=BillKind.ENERGY, paid_money=8 * UNIT)
    enter_bill(world.owner, said, uuid=uuid4(), at=LATER)
    (late,) = [one for one in since_closing() if one.table == "bills"]
    assert late.numbers == {
        "billed_money": 8 * UNIT,
        "charged_money": 0,
        "under_charged_money": 2 * UNIT,
    }
