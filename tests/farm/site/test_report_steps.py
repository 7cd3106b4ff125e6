"""Cents are handed out so that what is printed adds up, both ways where both are printed."""

from hypothesis import given
from hypothesis import strategies as st

from farm.reports.rows import Column, Kind, Table, printed, total_row
from farm.steps import rounded, share_steps, steps_across

AMOUNTS = st.integers(-(10**9), 10**9)
ROWS = st.lists(st.tuples(AMOUNTS, AMOUNTS, AMOUNTS), min_size=1, max_size=12)
COLUMNS = (
    Column("What"),
    Column("Paid hours", Kind.MONEY),
    Column("Own hours", Kind.MONEY),
    Column("Total", Kind.MONEY),
)


@given(st.lists(st.integers(-(10**12), 10**12)), st.sampled_from([1, 100, 1000]))
def test_printed_parts_always_add_up_and_none_is_off_by_a_step(
    values: list[int], step: int
) -> None:
    parts = share_steps(values, step)

    assert rounded(sum(values), step) == sum(parts)
    assert all(abs(part * step - value) < step for part, value in zip(parts, values, strict=True))


def test_equal_remainders_give_the_cent_to_the_earlier_part() -> None:
    # Three times 0.005 is 0.015, half to even 0.02: two cents, and three parts want one each.
    assert share_steps([50, 50, 50], 100) == [1, 1, 0]


def with_total(rows: list[tuple[int, int, int]]) -> list[tuple[int, ...]]:
    return [*rows, tuple(map(sum, zip(*rows, strict=True)))]


@given(ROWS)
def test_rows_and_columns_add_up_where_both_are_printed(rows: list[tuple[int, int, int]]) -> None:
    *body, total = steps_across(with_total(rows), 100, has_total=True)

    assert [sum(column) for column in zip(*body, strict=True)] == total
    assert all(sum(row[:-1]) == row[-1] for row in [*body, total])
    assert total[-1] == rounded(sum(map(sum, rows)), 100)


@given(ROWS)
def test_no_printed_cell_is_off_by_a_step_and_none_is_made_of_nothing(
    rows: list[tuple[int, int, int]],
) -> None:
    table = with_total(rows)
    for exact, shown in zip(table, steps_across(table, 100, has_total=True), strict=True):
        for cell, steps in zip(exact, shown[:-1], strict=True):
            assert abs(steps * 100 - cell) < 100


@given(ROWS)
def test_two_tables_of_one_whole_print_the_same_totals(rows: list[tuple[int, int, int]]) -> None:
    table = with_total(rows)

    alone = steps_across([table[-1]], 100, has_total=False)
    assert steps_across(table, 100, has_total=True)[-1] == alone[0]


def test_a_table_that_adds_up_across_is_printed_so() -> None:
    # Own hours are 26.2150 and paid 10.1050, 36.3200 in all: one of the two is rounded down.
    rows = (("a", 50_525, 131_075, 181_600), ("b", 50_525, 131_075, 181_600))
    total = total_row(COLUMNS, rows, {"Paid hours", "Own hours", "Total"})
    shown = printed(Table("Costs", COLUMNS, rows, total, whole="Total"))

    assert shown.total == ("Total", "10.11", "26.21", "36.32")
    assert [row[1:] for row in shown.rows] == [
        ("5.06", "13.10", "18.16"),
        ("5.05", "13.11", "18.16"),
    ]
