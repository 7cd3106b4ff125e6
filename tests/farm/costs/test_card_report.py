"""The card as a report: one set of figures for page and paper."""

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest

from farm.planning.drivers import steps_of
from farm.planning.grown import Records
from farm.planning.inputs import Names
from farm.planning.work import Worked, work_out
from farm.reports.costs.card_rows import UsedNumber, card_report
from farm.reports.costs.card_words import headline
from farm.reports.costs.range_bar import RangeRow, range_bars
from farm.reports.drawing import Box
from farm.reports.report_heading import Made
from farm.reports.rows import printed
from tests.farm.card_cases import worked_plan

NAMES = Names("Sawdust v1", "Grey oyster", "200 g punnet", "the stall")
MADE = Made("Alder Lane", "EUR", "olive", datetime(2026, 10, 3, tzinfo=UTC))


def worked(asked_money: int | None = None) -> Worked:
    plan = replace(worked_plan(), margin_ppm=250_000)
    kitchen = replace(plan.place, name="kitchens", day_fee_money=0, day_mg=8_000_000)
    return work_out(plan, Records(), [(kitchen, 40_000)], asked_money=asked_money)


def table(title: str) -> dict[str, tuple[str, ...]]:
    report = card_report(worked(), NAMES, MADE, used=[UsedNumber("Spawn", "0.19 kg", "own")])
    found = next(one for one in report.tables if one.title == title)
    return {row[0]: row[1:] for row in printed(found, "EUR").rows}


def test_it_says_first_what_to_ask() -> None:
    # 28.5875 a kilo: 5.7175 a punnet, rounded up; / 0.75 = 7.6233. Without own hours: block 2.27,
    # 4.3049 a kilo picked, 4.6793 saleable, 6.5793 packed, 7.6149 sold, 8.8649 with the fee.
    assert headline(worked(), NAMES, "EUR") == (
        "Ask €7.63 a pack to keep 25 % of the net price; below €5.72 it loses money (€1.78 without "
        "own hours). 200 g punnet at the stall."
    )


def test_it_names_what_drives_it_where_one_cause_is_more_than_half() -> None:
    # 7 packs of 200 g in a day of 30.00 and 5 hours at 18: 120 / 1.4 = 85.71 a kilo; with 21.04
    # of the kilo sold 106.75: 80 %.
    plan = worked_plan()
    day = replace(plan.place, day_fee_money=300_000, day_seconds=5 * 3_600, day_mg=1_400_000)
    names = replace(NAMES, day="one market day")
    said = headline(work_out(replace(plan, place=day), Records()), names, "EUR")

    assert said.endswith(
        "What drives it: one market day with 7 packs carries a €30.00 fee and 5 own hours, 80 % of "
        "the cost."
    )


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"batch": {"loss_ppm": 900_000}}, "90 % of the blocks are lost"),
        ({"crop": {"unsold_ppm": 900_000}}, "90 % stays unsold and is binned"),
        ({"crop": {"trim_ppm": 900_000}}, "90 % of what is picked is trim"),
        ({"crop": {"fridge_ppm": 900_000}}, "the fridge takes 90 % of the weight"),
        ({"crop": {"pick_seconds": 36_000}}, "a kilo takes 600 min to pick"),
        ({"crop": {"flushes_mg": (50_000,)}}, "a block that costs €5.27 gives 0.050 kg"),
        ({"pack": {"pack_money": 100_000}}, "an empty pack costs €10.00 and takes 1 min to fill"),
    ],
)
def test_every_cause_can_be_the_one(changed: dict[str, dict[str, Any]], words: str) -> None:
    plan = worked_plan()
    parts = {key: replace(getattr(plan, key), **said) for key, said in changed.items()}
    worked = work_out(replace(plan, **parts), Records())

    assert f"What drives it: {words}, " in headline(worked, NAMES, "EUR")
    assert sum(steps_of(worked.card).values()) == worked.card.chain.placed


def test_the_five_costs_are_named_with_and_without_own_hours() -> None:
    costs = table("The five costs of a kilo")

    assert list(costs) == ["Picked", "Saleable", "Packed", "Sold", "Sold at the place"]
    assert costs["Sold at the place"][:2] == ("28.59", "8.86")


def test_each_selling_place_has_its_own_floor() -> None:
    places = table("What to ask, place by place")

    # 21.0375 + 126 / 8 = 36.7875 a kilo in kitchens: 7.3575 a punnet, rounded up
    assert places["the stall"][2] == "5.72"
    assert places["kitchens"][2] == "7.36"


def test_the_block_adds_up_to_its_total() -> None:
    report = card_report(worked(), NAMES, MADE, used=[])
    block = next(one for one in report.tables if one.title == "A block, line by line")

    assert block.total is not None
    assert block.total[1] == 52_700
    assert next(f.value for f in report.facts if f.label.startswith("A block")) == 52_700


def test_a_day_is_held_against_the_price_asked_or_the_target_where_that_loses() -> None:
    assert worked(60_000).here.pays.pack_money == 60_000
    assert worked(40_000).here.pays == worked(40_000).here.target


def test_a_range_is_drawn_from_low_to_high_and_said_in_words() -> None:
    drawing = range_bars(
        [RangeRow("Picked", 80_000, 100_000, 150_000, 95_000)], title="Range", unit="EUR per kg"
    )

    assert drawing.description == "Picked 8.00 to 15.00, middle 10.00; EUR per kg."


def test_a_range_without_a_dear_end_is_drawn_to_the_edge_and_says_so() -> None:
    row = RangeRow("Picked", 80_000, 100_000, None, 95_000)
    drawing = range_bars([row], title="Range", unit="EUR per kg")
    none = range_bars([replace(row, low=None, median=None)], title="Range", unit="EUR per kg")

    assert drawing.description == "Picked 8.00 and more, middle 10.00; EUR per kg."
    assert none.description == "Picked no cost: nothing to sell; EUR per kg."
    (bar,) = [shape for shape in drawing.shapes if isinstance(shape, Box)]
    assert bar.corner[0] + bar.width == pytest.approx(drawing.width - 2)
