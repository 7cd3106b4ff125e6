"""Numbers, money and days as the farm's country writes them.

Common practice, no source, for what each country writes; what is read back is worked out here.
"""

from datetime import UTC, date, datetime

import pytest

from farm import habits
from farm.habits import HABITS, written_as
from farm.reports.rows import Column, Fact, Kind, show_cell, show_fact
from farm.units import UnitError, read_mass, show_both, show_mass, show_money, show_temperature


def test_a_point_is_written_where_nothing_else_is_asked_for() -> None:
    assert show_mass(5_625_000, "kg") == "5.625 kg"


def test_a_comma_farm_reads_commas_everywhere() -> None:
    with written_as("comma"):
        assert show_both(5_600_000) == "5,60 kg · 12,35 lb"
        assert show_money(125_000, "EUR") == "12,50\u00a0€"
        assert show_money(-125_000, "CHF") == "-12,50 CHF"
        assert show_temperature(4_500, "C") == "4,5 °C"
        assert show_cell(Column("Sales", Kind.MONEY), 123_456_700) == "12.345,67"


def test_an_american_day_has_its_month_first() -> None:
    with written_as("month first"):
        assert habits.day(date(2026, 10, 3)) == "Sat Oct 3, 2026"
        assert habits.moment(datetime(2026, 10, 3, 7, 40, tzinfo=UTC)) == "Sat Oct 3, 2026, 07:40"
        assert habits.days(date(2026, 10, 3), date(2026, 10, 5)) == "Oct 3, 2026 to Oct 5, 2026"
        assert show_cell(Column("Day", Kind.DATE), date(2026, 10, 3)) == "Oct 3, 2026"


def test_a_sum_of_a_report_is_written_as_on_every_page() -> None:
    owed = Fact("Owed", -123_456_700, Kind.MONEY)

    assert show_fact(owed, "EUR") == "-€12,345.67"
    assert show_fact(owed, "CHF") == "-12,345.67 CHF"
    with written_as("comma"):
        assert show_fact(owed, "EUR") == "-12.345,67\u00a0€"


@pytest.mark.parametrize("name", HABITS)
@pytest.mark.parametrize("mass_mg", [1_000, 5_625_000, 28_000, 12_345_678_000])
def test_what_is_printed_is_read_back(name: str, mass_mg: int) -> None:
    with written_as(name):
        assert read_mass(show_mass(mass_mg, "kg"), "kg") == mass_mg


def test_the_other_mark_before_three_digits_is_asked_about() -> None:
    with written_as("comma"):
        assert read_mass("1,250 kg", "kg") == 1_250_000
        with pytest.raises(UnitError, match="could be 1,250 or 1250"):
            read_mass("1.250 kg", "kg")


def test_the_habit_ends_with_its_block() -> None:
    with written_as("comma"), written_as("month first"):
        assert show_mass(1_500_000, "kg") == "1.50 kg"
    assert show_mass(1_500_000, "kg") == "1.50 kg"
