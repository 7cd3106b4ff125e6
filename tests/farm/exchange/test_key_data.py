"""The traceability workbook in the rule's words: 21 CFR 1.1325 to 1.1350, eCFR text of 2026-06-11.

The numbers in the comments are the rule's. Whole mushrooms were not on the Food Traceability List
in the version read (FDA's list page, read in part): the farm follows the form of its own accord.
"""

from datetime import date
from io import BytesIO
from pathlib import Path

import pytest
from django.core.management import call_command
from openpyxl import load_workbook

from farm.actions.common import Draw
from farm.actions.recording.correcting import undo
from farm.actions.store.storing import dry
from farm.exchange.choosing import asked_between, asked_of_lots
from farm.exchange.key_data import key_data
from farm.reports.rows import Cell, Report, Table
from farm.reports.xlsx import workbook_bytes
from tests.conftest import signed_in
from tests.farm.goods import packs
from tests.farm.season import MADE, Season, season
from tests.farm.world import GRAM, KG, fresh, grow_blocks, small_farm

# What the rule asks for, in its order; what has no column is named in the workbook as not kept.
ASKED_FOR = {
    "Harvesting": [  # 1.1325(a)(1)
        "Immediate subsequent recipient",  # (i)
        "Commodity",  # (ii)
        "Variety",
        "Quantity",  # (iii)
        "Unit of measure",
        "Farm where harvested",  # (iv)
        "Field or other growing area",  # (v)
        "Date of harvesting",  # (vii)
        "Reference document type",  # (viii)
        "Reference document number",
    ],
    "Initial packing": [  # 1.1330(a)
        "Commodity received",  # (1)
        "Variety received",
        "Date received",  # (2)
        "Quantity received",  # (3)
        "Unit of measure received",
        "Farm where harvested",  # (4)
        "Field or other growing area",  # (5)
        "Business that harvested",  # (7)
        "Date of harvesting",  # (8)
        "Traceability lot code assigned",  # (11)
        "Product description",  # (12)
        "Quantity packed",  # (13)
        "Unit of measure packed",
        "Traceability lot code source",  # (14)
        "Date of initial packing",  # (15)
        "Reference document type",  # (16)
        "Reference document number",
    ],
    "Shipping": [  # 1.1340(a)
        "Traceability lot code",  # (1)
        "Quantity",  # (2)
        "Unit of measure",
        "Product description",  # (3)
        "Immediate subsequent recipient",  # (4)
        "Location shipped from",  # (5)
        "Date shipped",  # (6)
        "Traceability lot code source",  # (7)
        "Reference document type",  # (8)
        "Reference document number",
    ],
    "Receiving": [  # 1.1345(a)
        "Traceability lot code",  # (1)
        "Quantity",  # (2)
        "Unit of measure",
        "Product description",  # (3)
        "Immediate previous source",  # (4)
        "Location where received",  # (5)
        "Date received",  # (6)
        "Traceability lot code source",  # (7)
        "Reference document type",  # (8)
        "Reference document number",
    ],
    "Transformation": [  # 1.1350(a)
        "Traceability lot code used",  # (1)(i)
        "Product description used",  # (1)(ii)
        "Quantity used",  # (1)(iii)
        "Unit of measure used",
        "New traceability lot code",  # (2)(i)
        "Location where transformed",  # (2)(ii)
        "Date completed",  # (2)(iii)
        "Product description made",  # (2)(iv)
        "Quantity made",  # (2)(v)
        "Unit of measure made",
        "Reference document type",  # (2)(vi)
        "Reference document number",
    ],
}
FARM = "Alder Lane, Lowfield"


@pytest.fixture
def sold(db: None) -> Season:
    return season()


def report(*, names: bool = True) -> Report:
    return key_data(asked_between(None, None), MADE, names=names)


def table(title: str, of: Report | None = None) -> Table:
    return next(one for one in (of or report()).tables if one.title == title)


def rows(title: str, of: Report | None = None) -> list[dict[str, Cell]]:
    """Each row by the names of its columns."""
    found = table(title, of)
    names = [column.name for column in found.columns]
    return [dict(zip(names, row, strict=True)) for row in found.rows]


@pytest.mark.parametrize("title", ASKED_FOR)
def test_each_sheet_has_what_the_rule_asks_for_in_its_order(sold: Season, title: str) -> None:
    names = [column.name for column in table(title).columns]

    assert [name for name in names if name in ASKED_FOR[title]] == ASKED_FOR[title]


def test_a_harvest_says_where_its_blocks_stood(sold: Season) -> None:
    """They were never moved from where they incubated; 8 kg of firsts."""
    row = rows("Harvesting")[0]

    assert row["Farm's lot"] == sold.firsts.code
    assert row["Quantity"] == 8 * KG
    assert row["Field or other growing area"] == "Incubation, 1"
    assert row["Date of harvesting"] == sold.firsts.made_by.happened_on
    assert (row["Commodity"], row["Variety"]) == ("Oyster", "Grey")


def test_packing_gives_a_lot_its_code_and_keeps_the_day_of_harvest(sold: Season) -> None:
    """30 packs of 200 g from 6 kg."""
    (row,) = rows("Initial packing")

    assert row["Traceability lot code assigned"] == sold.packs.code
    assert (row["Quantity received"], row["Farm's lot received"]) == (6 * KG, sold.firsts.code)
    assert (row["Quantity packed"], row["Unit of measure packed"]) == (30, "packs of 200 g")
    assert row["Date of harvesting"] == sold.firsts.made_by.happened_on
    assert row["Traceability lot code source"] == FARM


def test_shipping_lists_what_went_to_kitchens_and_not_the_stall(sold: Season) -> None:
    """500 g loose and 20 packs of 200 g; the 6 packs of the stall went to consumers."""
    shipped = rows("Shipping")

    assert [row["Traceability lot code"] for row in shipped] == [
        sold.seconds.code,
        sold.packs.code,
    ]
    assert [row["Quantity"] for row in shipped] == [500 * GRAM, 4 * KG]
    assert [row["Quantity counted"] for row in shipped] == [None, 20]


def test_receiving_lists_deliveries_by_the_suppliers_lot_and_what_came_back(sold: Season) -> None:
    received = rows("Receiving")
    sawdust = next(row for row in received if row["Product description"] == "sawdust")
    back = received[-1]

    assert sawdust["Traceability lot code"] == "sawdust 26-31"
    assert sawdust["Immediate previous source"] == "Mill & Sons"
    assert back["Traceability lot code"] == sold.packs.code
    assert (back["Quantity counted"], back["Immediate previous source"]) == (2, "The Anchor")


def test_drying_is_a_transformation_with_a_new_code(sold: Season) -> None:
    (row,) = rows("Transformation")

    assert row["Traceability lot code used"] == sold.firsts.code
    assert row["New traceability lot code"] == sold.dried.code
    assert (row["Quantity used"], row["Quantity made"]) == (KG, 110 * GRAM)


def test_packs_that_came_back_and_were_dried_are_one_too(db: None) -> None:
    world = small_farm()
    back = packs(world, 5)
    dry(
        world.doing(),
        draws=[Draw(back, 5)],
        dried_mg=120 * GRAM,
        temperature_milli_c=55_000,
        minutes_drying=600,
    )

    (row,) = rows("Transformation")

    # Five packs of 200 g.
    assert row["Traceability lot code used"] == back.code
    assert (row["Quantity used"], row["Quantity made"]) == (KG, 120 * GRAM)


def test_customers_are_numbers_where_names_are_not_to_be_seen(sold: Season) -> None:
    of = report(names=False)

    assert {row["Immediate subsequent recipient"] for row in rows("Shipping", of)} == {
        sold.world.customer.number
    }
    assert sold.world.customer.name not in str(of)


def test_no_sheet_holds_money(sold: Season) -> None:
    kinds = {column.kind.value for one in report().tables for column in one.columns}

    assert kinds == {"text", "date", "mass", "count"}


def test_what_was_taken_back_is_not_listed(sold: Season) -> None:
    undo(sold.world.doing(), sold.dried.made_by)

    assert rows("Transformation") == []


def test_a_trace_leaves_other_blocks_out(sold: Season) -> None:
    other = grow_blocks(sold.world, 4)
    traced = key_data(asked_of_lots([fresh(sold.packs)]), MADE, names=True)
    received = {row["Farm's lot"] for row in rows("Receiving", traced)}

    assert {row["Farm's lot"] for row in rows("Harvesting", traced)} == {sold.firsts.code}
    assert sold.grown.culture.code in received
    assert not received & set(other.edges_in.values_list("src__code", flat=True))
    assert rows("Transformation", traced) == []


def test_a_span_holds_its_days_only(sold: Season) -> None:
    day = sold.delivery.entry.happened_on
    of = key_data(asked_between(day, day), MADE, names=True)

    assert {row["Date shipped"] for row in rows("Shipping", of)} == {day}
    assert (
        rows("Harvesting", key_data(asked_between(date(2027, 1, 1), None), MADE, names=True)) == []
    )


def test_the_workbook_has_a_sortable_sheet_for_each_event(sold: Season) -> None:
    book = load_workbook(BytesIO(workbook_bytes(report())))

    assert book.sheetnames == ["Summary", *ASKED_FOR]
    asked_for = [list(book[title].tables.values()) for title in ASKED_FOR]
    assert all(table.autoFilter and table.autoFilter.ref for (table,) in asked_for)
    assert book["Shipping"]["B3"].value == "Quantity, kg"
    assert book["Shipping"]["B4"].value == 0.5


def test_the_workbook_says_whom_the_rule_covers_and_to_ask(sold: Season) -> None:
    said = " ".join(report().cautions)

    for words in ("whole mushrooms were not on that list", "2026-06-11", "ask the FDA"):
        assert words in said


def test_the_command_writes_the_workbook(sold: Season, tmp_path: Path) -> None:
    out = tmp_path / "key-data.xlsx"
    call_command("key_data", "--out", str(out), "--from", "2026-09-01", "--until", "2026-12-31")

    assert load_workbook(out)["Shipping"]["F4"].value == "The Anchor"


def test_the_page_says_whom_the_rule_covers(sold: Season) -> None:
    said = signed_in(sold.world.helper).get("/take-away/").content.decode()

    assert "whole mushrooms were not on that list" in said


def test_a_helper_takes_the_workbook_with_numbers_for_customers(sold: Season) -> None:
    response = signed_in(sold.world.helper).get("/take-away/", {"take": "file"})
    book = load_workbook(BytesIO(response.content))

    assert book["Shipping"]["F4"].value == sold.world.customer.number


def test_the_owner_takes_it_with_names(sold: Season) -> None:
    response = signed_in(sold.world.owner).get("/take-away/", {"take": "file"})

    assert load_workbook(BytesIO(response.content))["Shipping"]["F4"].value == "The Anchor"


def test_days_the_wrong_way_round_are_said_beside_the_field(sold: Season) -> None:
    turned = {"take": "file", "first": "2026-10-02", "last": "2026-10-01"}
    response = signed_in(sold.world.helper).get("/take-away/", turned)

    assert response.status_code == 422
    assert "Thu 1 Oct 2026 is before the first day, Fri 2 Oct 2026." in response.content.decode()
