"""What a starting workbook was read as is shown whole, and what is doubtful in it is asked."""

import re
from datetime import timedelta
from io import BytesIO
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone
from openpyxl import load_workbook

from farm.models import LotCard, Stage
from farm.start_book.layout import BY_KEY
from farm.start_book.reading import Filled, read_workbook
from ledger.models import Entry
from tests.farm.filled import text
from tests.farm.starting.test_start_workbook import DAY, OYSTER, ROWS, TODAY, filled_in, read, sent
from tests.farm.world import GRAM, KG, World


def styled(world: World, key: str, at: int, value: float | str, number_format: str) -> Filled:
    """The workbook with one cell as a spreadsheet program keeps it: a number and how it looks."""
    book = load_workbook(BytesIO(filled_in(world)))
    cell = book[BY_KEY[key].title].cell(2, at + 1, value)
    cell.number_format = number_format
    out = BytesIO()
    book.save(out)
    return read_workbook(out.getvalue(), world.farm, TODAY)


@pytest.mark.parametrize(
    ("value", "number_format", "ppm"),
    [(0.07, "0%", 70_000), (0.075, "0.0%", 75_000), (1, "0%", 1_000_000), (7, "General", 70_000),
     ("7 %", "0%", 70_000), ("7,5", "@", 75_000)],
)  # fmt: skip
def test_7_percent_in_a_cell_of_percent_is_7_percent(
    world: World, value: float | str, number_format: str, ppm: int
) -> None:
    """A spreadsheet keeps what is shown as 7 % as 0.07: ECMA-376 part 1; from memory."""
    filled = styled(world, "products", 5, value, number_format)

    assert (filled.problems, filled.questions) == ([], [])
    assert filled.rows["products"][0]["tax_ppm"] == ppm


def test_a_share_below_one_percent_is_asked_about(world: World) -> None:
    (one,) = styled(world, "products", 5, 0.07, "General").questions

    assert (one.column, one.words) == (
        "Sales tax, %", "“0.07” is less than 1 %. Was 7 % meant?"
    )  # fmt: skip


@pytest.mark.parametrize(
    ("key", "at", "cell", "words"),
    [
        ("products", 3, 250, "“250” has no unit, so it is 250.00 kg · 551.16 lb. Was 250 g meant?"),
        ("stock", 4, 500, "“500” has no unit, so it is 500.00 kg"),
        ("stock", 4, "60.125", "Was 60.1 g meant?"),
        ("stock", 4, "500", "“500” has no unit"),
        ("supplies", 2, 120_000, "“120000” has no unit, so it is 120000.00 kg"),
        ("growing", 2, 2500, "“2500” has no unit, so it is 2500.00 kg"),
    ],
)
def test_a_weight_without_its_unit_that_nobody_means_is_asked_about(
    world: World, key: str, at: int, cell: object, words: str
) -> None:
    line = list(ROWS[key][0])
    line[at] = cell
    filled = read(world, **{key: [tuple(line), *ROWS[key][1:]]})

    (one,) = filled.questions
    assert (one.sheet, one.row, one.column) == (
        BY_KEY[key].title, 2, BY_KEY[key].cols[at].title
    )  # fmt: skip
    assert words in one.words


@pytest.mark.parametrize("cell", ["250 g", 0.25, "0,25", "0.2+0.05"])
def test_a_net_weight_that_is_plain_is_not_asked_about(world: World, cell: object) -> None:
    line = list(ROWS["products"][0])
    line[3] = cell
    filled = read(world, products=[tuple(line)])

    assert (filled.problems, filled.questions) == ([], [])
    assert filled.rows["products"][0]["net_mg"] == 250 * GRAM


def test_a_unit_that_a_cell_shows_is_its_unit(world: World) -> None:
    filled = styled(world, "products", 3, 250, '0 "g"')

    assert not filled.questions
    assert filled.rows["products"][0]["net_mg"] == 250 * GRAM


def test_in_a_farm_of_pounds_ounces_are_asked_about(world: World) -> None:
    world.farm.weight_unit = "lb"
    line = list(ROWS["products"][0])
    line[3] = 8
    (one,) = read(world, products=[tuple(line)]).questions

    assert one.words == "“8” has no unit, so it is 8.00 lb · 3.629 kg. Was 8.0 oz meant?"


# --- the page --------------------------------------------------------------------------------


def soon(**rows: list[tuple[Any, ...]]) -> dict[str, list[tuple[Any, ...]]]:
    """The rows, with orders that are due after the day on which the test runs."""
    due = timezone.localdate() + timedelta(days=5)
    orders = [(*row[:3], due, *row[4:]) for row in ROWS["orders"]]
    return {**ROWS, "orders": orders, **rows}


def test_every_row_is_shown_with_its_units_before_it_is_taken_in(
    owner: Client, world: World
) -> None:
    page = text(sent(owner, filled_in(world, soon())))
    shown = [
        [re.sub(r"<[^>]+>", "", cell) for cell in re.findall(r"<td[^>]*>(.*?)</td>", row)]
        for row in re.findall(r"<tr>(.*?)</tr>", page)
    ]

    assert ["2", "Oyster, 300 g", "Oyster", "fresh", "300 g · 10.58 oz", "open or perforated",
            "9 %"] in shown  # fmt: skip
    day = "Sat 2 May 2026"
    assert ["2", "Oyster, 300 g", "", "", "Sunday market", day, "€6.50", "no"] in shown
    assert ["3", "Oyster", "fresh", "firsts", "Sunday market", day, "€16.00 a kg", ""] in shown
    assert ["5", "Oyster", "dried", "", "Sunday market", day, "€120.00 a kg", ""] in shown
    assert ["2", "Beech pellets", "block ingredient", "120.00 kg · 264.55 lb", "", "€48.00",
            "Sat 2 May 2026", "New Mill", "B7"] in shown  # fmt: skip
    assert ["3", "Lids", "bags", "200 pieces", "12 g · 0.42 oz", "€20.50", "Sat 2 May 2026", "",
            ""] in shown  # fmt: skip
    assert ["3", "blocks", OYSTER, "30 blocks", "2.30 kg · 5.07 lb", "€90.00",
            "Sat 2 May 2026"] in shown  # fmt: skip
    assert ["3", "dried", OYSTER, "", "Sat 2 May 2026", "400 g · 14.11 oz", "€30.00"] in shown
    assert sum(len(rows) for rows in ROWS.values()) == sum(row[:1] != [] for row in shown)


def test_what_is_doubtful_is_answered_before_it_is_taken_in(owner: Client, world: World) -> None:
    stock = [("fresh", OYSTER, "seconds", DAY, 500, 12)]
    looked = sent(owner, filled_in(world, soon(stock=stock)))
    said = {name: looked.context["yes"][name].value() for name in ("content", "name", "uuid")}
    asked = owner.post("/start-workbook/", said)

    assert "“500” has no unit" in text(looked) and "Yes, that is all right" in text(looked)
    assert asked.status_code == 422 and "Answer what is asked below first." in text(asked)
    assert not Entry.objects.exists()
    owner.post("/start-workbook/", {**said, "sure": "on"})
    crop = LotCard.objects.get(stage=Stage.CROP, lot__quantity=500 * KG).lot
    kept = [one for one in Entry.objects.all() if '"asked"' in one.particulars]
    assert [one.pk for one in kept] == [crop.made_by_id]
    assert "500.00 kg" in kept[0].particulars
