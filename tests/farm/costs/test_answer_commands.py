"""The three answers at the terminal, and as files."""

import io
from pathlib import Path

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from farm.reports.rows import Column, Fact, Kind, Report, Table, total_row
from farm.reports.text import text
from tests.farm.season import MADE, season
from tests.farm.world import UNIT

pytestmark = pytest.mark.django_db


def said(*words: object) -> str:
    out = io.StringIO()
    call_command(*map(str, words), stdout=out)
    return out.getvalue()


def test_it_prints_what_a_lot_and_a_kilo_cost() -> None:
    words = said("cost", season().grown.blocks.code)

    assert "LINE BY LINE" in words
    assert "sold (before selling costs)" in words


def test_it_prints_a_trace_back_and_forward() -> None:
    lots = season()

    assert lots.grown.grain.code in said("trace", lots.packs.code)
    assert "The Anchor" in said("trace", lots.grown.grain.code)


def test_it_prints_a_month_without_names() -> None:
    season()
    words = said("month", "2026-10")

    assert "HARVEST BY FLUSH" in words
    assert "yes, difference 0" in words
    assert "The Anchor" not in words


def test_it_writes_files_into_a_folder_that_it_makes(tmp_path: Path) -> None:
    lots = season()
    folder = tmp_path / "out" / "here"
    said("cost", lots.packs.code, "--out", folder)
    said("trace", lots.packs.code, "--out", folder)
    said("month", "2026-10", "--out", folder)

    assert sorted(path.name for path in folder.iterdir()) == sorted(
        f"{name}.{ending}"
        for name in (f"cost-{lots.packs.code}", f"trace-{lots.packs.code}", "month-2026-10")
        for ending in ("pdf", "xlsx", "zip")
    )


def test_a_mistyped_code_is_refused_with_the_right_one() -> None:
    code = season().packs.code
    wrong = ("2" if code[0] != "2" else "3") + code[1:]

    for command in ("cost", "trace"):
        with pytest.raises(CommandError, match=code):
            said(command, wrong)


def test_a_month_that_is_none_is_refused() -> None:
    season()

    with pytest.raises(CommandError, match="such as 2026-10"):
        said("month", "last")


def test_without_a_farm_it_says_how_to_start() -> None:
    with pytest.raises(CommandError, match=r"manage\.py start"):
        said("month", "2026-10")


def test_numbers_stand_under_each_other() -> None:
    columns = (Column("What"), Column("Net", Kind.MONEY))
    lines = (("packs", 12 * UNIT), ("box", 120 * UNIT))
    table = Table("Sales", columns, lines, total_row(columns, lines, {"Net"}))
    report = Report(
        "T",
        "",
        MADE.farm_name,
        MADE.by,
        MADE.at,
        facts=(Fact("A fact", "x"),),
        tables=(table,),
        currency="EUR",
    )

    assert text(report).splitlines()[-6:] == [
        "What   Net, EUR",
        "-----  --------",
        "packs     12.00",
        "box      120.00",
        "-----  --------",
        "Total    132.00",
    ]
