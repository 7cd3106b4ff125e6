"""Every month of the bad year, and days that begin and end on busy days, worked a second time."""

from ledger.models import Flow
from tests.second_costs import differences, second_costs
from tests.year.bad.conftest import BadYear
from tests.year.test_month_figures import (
    client,
    pytestmark,
    shown,
    test_bars_are_as_long_as_their_tables_say,
    test_every_printed_column_comes_to_its_total,
    test_the_csv_of_every_table_says_it_too,
    test_the_page_says_what_the_lines_come_to,
    test_the_paper_prints_every_row_of_the_page,
    test_the_spreadsheet_says_it_too,
    test_the_year_is_its_months,
)

__all__ = [
    "client",
    "pytestmark",
    "shown",
    "test_bars_are_as_long_as_their_tables_say",
    "test_every_printed_column_comes_to_its_total",
    "test_the_csv_of_every_table_says_it_too",
    "test_the_page_says_what_the_lines_come_to",
    "test_the_paper_prints_every_row_of_the_page",
    "test_the_spreadsheet_says_it_too",
    "test_the_year_is_its_months",
]


def test_every_flow_of_the_bad_year_costs_what_lines_and_charges_come_to(bad: BadYear) -> None:
    flows = [
        ((one.entry_id, one.lot_id, str(one.role)), sum(one.cost)) for one in Flow.objects.all()
    ]

    assert differences(second_costs(), flows) == {}
    assert len(flows) > 400
