"""The card as a report: one set of figures for page and paper."""

from dataclasses import replace
from datetime import UTC, datetime

from farm.planning.inputs import Names
from farm.planning.work import Worked, work_out
from farm.reports.card_rows import UsedNumber, card_report, headline
from farm.reports.made import Made
from farm.reports.range_bar import RangeRow, range_bars
from farm.reports.rows import printed
from tests.farm.card_cases import worked_plan

NAMES = Names("Sawdust v1", "Grey oyster", "200 g punnet", "the stall")
MADE = Made("Alder Lane", "EUR", "olive", datetime(2026, 10, 3, tzinfo=UTC))


def worked(asked_money: int | None = None) -> Worked:
    plan = replace(worked_plan(), margin_ppm=250_000)
    kitchen = replace(plan.place, name="kitchens", day_fee_money=0, day_mg=8_000_000)
    return work_out(plan, {}, [(kitchen, 40_000)], asked_money=asked_money)


def table(title: str) -> dict[str, tuple[str, ...]]:
    report = card_report(worked(), NAMES, MADE, used=[UsedNumber("Spawn", "0.19 kg", "own")])
    found = next(one for one in report.tables if one.title == title)
    return {row[0]: row[1:] for row in printed(found, "EUR").rows}


def test_it_says_first_what_to_ask() -> None:
    # 28.5875 a kilo: 5.7175 a punnet, rounded up; / 0.75 = 7.6233
    assert headline(worked(), NAMES, "EUR") == (
        "200 g punnet at the stall: never below €5.72; ask €7.63 to keep 25 % of the net price."
    )


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
    drawing = range_bars([RangeRow("Picked", 80_000, 100_000, 150_000, 95_000)],
                         title="Range", unit="EUR per kg")  # fmt: skip

    assert drawing.description == "Picked 8.00 to 15.00, middle 10.00; EUR per kg."
