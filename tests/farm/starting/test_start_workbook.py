"""The starting workbook: filled in, looked at, recorded whole or not at all, taken back."""

from datetime import date, timedelta
from hashlib import sha256
from io import BytesIO
from typing import TYPE_CHECKING, Any
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.utils import timezone
from openpyxl import Workbook, load_workbook

from farm.actions.common import Draw
from farm.actions.growing.blocks import move_to_fruiting
from farm.actions.growing.harvesting import pick
from farm.actions.growing.supplies import Delivery, receive_supplies
from farm.actions.starting.start_book import read_in, take_out
from farm.actions.tracing.recalling import open_recall
from farm.models import (
    Customer,
    LotCard,
    Price,
    Product,
    SaleLine,
    Stage,
    StartWorkbook,
    Supplier,
    Supply,
)
from farm.queries.tracing.reach import reach_of
from farm.queries.tracing.suspects import suspect_supplier_lot
from farm.reports.starting.start_sheets import start_workbook
from farm.start_book.cells import typed
from farm.start_book.layout import BY_KEY, SHEETS
from farm.start_book.reading import Filled, read_workbook
from ledger.errors import Conflict, NotEnough
from ledger.models import Entry, Lot
from tests.farm.world import GRAM, KG, UNIT, World, assert_book_is_sound, fresh

if TYPE_CHECKING:
    from django.test.client import _MonkeyPatchedWSGIResponse

TODAY = date(2026, 9, 7)
OYSTER = "Oyster · Grey"
DAY, LATER, DUE = date(2026, 5, 2), date(2026, 5, 4), date(2026, 9, 12)

# A cell for each column, in the order of the sheet.
ROWS: dict[str, list[tuple[Any, ...]]] = {
    "suppliers": [("New Mill", "Mill Lane", "0555 0300")],
    "places": [("Sunday market", "market stall")],
    "customers": [("The Weir", "Sunday market", None, None, None)],
    "products": [("Oyster, 300 g", "Oyster", "fresh", 0.3, "open or perforated", 9)],
    "prices": [
        ("Oyster, 300 g", None, None, "Sunday market", DAY, 6.5, "no"),
        ("Oyster", None, None, "Sunday market", DAY, 16, None),
        ("Oyster", "fresh", "seconds", "Sunday market", DAY, "9.50", "no"),
        ("Oyster", "dried", None, "Sunday market", DAY, 120, None),
    ],
    "supplies": [
        ("Beech pellets", "block ingredient", 120, None, 48, DAY, "New Mill", "B7", None),
        ("Lids", "bags", "200", "12 g", "20.50", DAY, None, None, None),
    ],
    "growing": [
        ("spawn", OYSTER, "2.5 kg", None, 15, DAY),
        ("blocks", OYSTER, 30, 2.3, 90, DAY),
    ],
    "stock": [("fresh", OYSTER, "seconds", DAY, 3, 12), ("dried", OYSTER, None, DAY, "400 g", 30)],
    "picks": [("A", OYSTER, None, DAY, 10, 40)],
    "sales": [("A", "Sunday market", "The Weir", LATER, 6, 16)],
    "orders": [
        ("The Weir", "Oyster, 300 g", 12, DUE, "every other week", None),
        ("The Weir", "Oyster", "2.5 kg", DUE, "every other week", 15),
        ("The Weir", "Oyster", 4, DUE, None, 14),
    ],
}


def filled_in(world: World, rows: dict[str, list[tuple[Any, ...]]] | None = None) -> bytes:
    """The blank as the farm takes it, with some rows typed into it."""
    book = load_workbook(BytesIO(start_workbook(world.farm, timezone.now())))
    for key, lines in (ROWS if rows is None else rows).items():
        for at, line in enumerate(lines, start=2):
            for column, cell in enumerate(line, start=1):
                book[BY_KEY[key].title].cell(at, column, cell)
    out = BytesIO()
    book.save(out)
    return out.getvalue()


def read(world: World, **rows: list[tuple[Any, ...]]) -> Filled:
    return read_workbook(filled_in(world, {**ROWS, **rows}), world.farm, TODAY)


def problems(world: World, **rows: list[tuple[Any, ...]]) -> list[tuple[str, int, str]]:
    return [(one.sheet, one.row, one.column) for one in read(world, **rows).problems]


def recorded(world: World, content: bytes | None = None) -> StartWorkbook:
    content = content or filled_in(world)
    filled = read_workbook(content, world.farm, TODAY)
    assert filled.problems == []
    return read_in(world.doing(), filled, name="ours.xlsx", sha256=sha256(content).hexdigest())


def lot_of(stage: Stage, item: str = "") -> Lot:
    return Lot.objects.get(card__stage=stage, item__name__contains=item)


# --- reading ---------------------------------------------------------------------------------


def test_a_filled_in_workbook_is_read_without_a_problem(world: World) -> None:
    filled = read(world)

    assert filled.problems == []
    assert {key: len(rows) for key, rows in filled.rows.items()} == {
        key: len(rows) for key, rows in ROWS.items()
    }
    assert filled.rows["growing"][1]["piece_mg"] == 2_300 * GRAM
    assert filled.rows["supplies"][1]["cost_money"] == 205_000


def test_the_blank_has_every_sheet_and_no_row(world: World) -> None:
    filled = read_workbook(start_workbook(world.farm, timezone.now()), world.farm, TODAY)

    assert filled.problems == [] and not any(filled.rows.values())


@pytest.mark.parametrize(
    ("cell", "text"),
    [(5.6, "5.6"), (30, "30"), (30.0, "30"), (1.255, "1.2550"), (1e-05, "0.00001"), (None, "")],
)
def test_a_number_cell_reads_as_it_would_be_typed(cell: object, text: str) -> None:
    assert typed(cell) == text


@pytest.mark.parametrize(
    ("key", "at", "cell", "said"),
    [
        ("picks", 4, "a lot", '"a lot" cannot be read as a weight'),
        ("picks", 4, None, "Empty. Fill it in."),
        ("picks", 4, 0, "0 of it cannot be"),
        ("picks", 3, "4/5/26", "“4/5/26” is not a day: type it as 2026-04-30"),
        ("picks", 3, date(2027, 1, 1), "2027-01-01 has not been yet"),
        ("picks", 1, "Enoki · White", "“Enoki · White” is not known. Add it under Farm details"),
        ("sales", 2, "Nobody", "“Nobody” is not known. Add it to its sheet"),
        ("sales", 0, "Z", "“Z” is not known"),
        ("sales", 4, 11, "More than was picked as “A”, in row 2 of Last season's picks"),
        ("sales", 3, date(2026, 5, 1), "Before it was picked, on 2026-05-02"),
        ("products", 4, "airtight", "Fresh mushrooms in airtight packs can grow the botulism"),
        ("products", 5, 900, "“900” is not a share"),
        ("places", 1, "shop", "“shop” is not one of: market stall; kitchens and shops"),
        ("customers", 0, "x" * 81, "has 81 letters, 80 at most"),
        ("supplies", 1, None, "“Beech pellets” is new here. Say what it is used for."),
        ("growing", 2, 2.5, '"2.5" is not a whole number'),
        ("growing", 3, None, "Say what one block weighs"),
        ("orders", 0, "Nobody", "“Nobody” is not known"),
        ("orders", 1, "Enoki", "“Enoki” is not known. Add it to the sheet of products"),
        ("orders", 2, "2.5 kg", '"2.5 kg" is not a whole number'),
        ("orders", 2, 0, "0 of it cannot be"),
        ("orders", 3, date(2026, 9, 6), "2026-09-06 is over. State the next day"),
        ("orders", 4, "monthly", "“monthly” is not one of: once; every week"),
    ],
)
def test_a_problem_names_sheet_row_column_and_remedy(
    world: World, key: str, at: int, cell: object, said: str
) -> None:
    line = list(ROWS[key][-1 if key == "growing" else 0])
    line[at] = cell
    filled = read(world, **{key: [tuple(line)]})

    one = next(p for p in filled.problems if p.sheet == BY_KEY[key].title)
    assert (one.row, one.column) == (2, BY_KEY[key].cols[at].title)
    assert said in one.words


def test_a_name_that_stands_twice_is_named(world: World) -> None:
    twice = [("A", OYSTER, None, DAY, 10, 40), ("A", OYSTER, None, DAY, 5, 20)]

    assert ("Last season's picks", 3, "Mark") in problems(world, picks=twice)


def test_a_column_or_file_that_is_no_workbook_is_named(world: World) -> None:
    assert "is not a workbook" in read_workbook(b"words", world.farm, TODAY).problems[0].words
    out = BytesIO()
    Workbook().save(out)
    said = read_workbook(out.getvalue(), world.farm, TODAY).problems[0].words
    assert "none of the starting workbook's sheets" in said


# --- recording -------------------------------------------------------------------------------


def test_a_delivery_on_the_sheet_of_what_a_recall_asked_for_is_held_at_once(world: World) -> None:
    mill = Supplier.objects.create(name="New Mill")
    receive_supplies(
        world.doing(),
        supply=world.supplies["sawdust"],
        quantity=KG,
        paid_money=4_000,
        delivery=Delivery(supplier=mill, supplier_lot="B7"),
    )
    recall = open_recall(
        world.doing(reason="metal"),
        reach_of(suspect_supplier_lot(mill, "B7")),
        notice="Keep it apart.",
    )
    recorded(world)

    pellets = lot_of(Stage.SUPPLY, "Beech")
    assert pellets.held
    assert recall.lots.filter(lot=pellets).exists()


def test_stock_stands_in_the_book_with_its_cost_and_card(world: World) -> None:
    recorded(world)

    pellets = lot_of(Stage.SUPPLY, "Beech")
    assert (pellets.quantity, pellets.materials) == (120 * KG, 48 * UNIT)
    assert (pellets.card.supplier, pellets.card.supplier_lot) == (
        Supplier.objects.get(name="New Mill"),
        "B7",
    )
    blocks = lot_of(Stage.BLOCKS)
    assert (blocks.quantity, blocks.unit_mass_mg, blocks.materials) == (30, 2_300_000, 90 * UNIT)
    assert blocks.made_by.happened_on == DAY
    assert lot_of(Stage.DRIED).quantity == 400 * GRAM
    assert lot_of(Stage.CROP, "seconds").card.grade == "seconds"
    assert_book_is_sound()


def test_last_season_is_sold_as_sales_and_the_rest_written_off(world: World) -> None:
    """10 kg at 40.00, 6 kg sold at 16.00 are 96.00; 4 kg go out with 16.00 of the cost."""
    recorded(world)

    pick_lot = lot_of(Stage.CROP, "firsts")
    assert pick_lot.quantity == 0
    line = SaleLine.objects.get()
    assert (line.gross, line.sale.customer) == (96 * UNIT, Customer.objects.get(name="The Weir"))
    lost = pick_lot.flows.get(role="lost")
    assert (lost.quantity, lost.materials) == (-4 * KG, -16 * UNIT)
    assert "not known" in lost.entry.reason


def test_opening_blocks_are_picked_like_any(world: World) -> None:
    recorded(world)
    blocks = lot_of(Stage.BLOCKS)
    move_to_fruiting(world.doing(), lot=blocks, shelf=world.fruiting_shelf)
    pick(world.doing(sure=True), given=[Draw(fresh(blocks), 0)], flush=1, firsts_mg=5 * KG)

    assert_book_is_sound()


def test_look_ups_that_are_there_stay_as_they_are(world: World) -> None:
    Supplier.objects.create(name="New Mill", contact="mine")
    recorded(world)

    assert Supplier.objects.get(name="New Mill").contact == "mine"
    price = Price.objects.get(product=Product.objects.get(name="Oyster, 300 g"))
    assert (price.pack_money, price.tax_included) == (65_000, False)
    assert Supply.objects.get(item__name="Lids").piece_mg == 12 * GRAM


def test_sent_twice_it_is_recorded_once(world: World) -> None:
    filled, doing = read(world), world.doing()
    first = read_in(doing, filled, name="ours.xlsx", sha256="0" * 64)
    entries = Entry.objects.count()

    assert read_in(doing, filled, name="ours.xlsx", sha256="0" * 64) == first
    assert Entry.objects.count() == entries


def test_the_same_file_is_not_read_in_twice_while_it_stands(world: World) -> None:
    content = filled_in(world)
    first = recorded(world, content)
    with pytest.raises(Conflict, match=r"This very file, “ours.xlsx”, was read in"):
        recorded(world, content)

    take_out(world.doing(), first)
    assert recorded(world, content).first_seq > first.last_seq


def test_what_is_refused_on_the_way_leaves_nothing(world: World) -> None:
    """A sale of more than was picked, slipped past the reading, is refused by the book."""
    filled = read(world)
    filled.rows["sales"][0]["mass_mg"] = 11 * KG

    with pytest.raises(NotEnough):
        read_in(world.doing(), filled, name="ours.xlsx", sha256="0" * 64)

    assert not Entry.objects.exists() and not LotCard.objects.exists()
    assert not Supplier.objects.filter(name="New Mill").exists()


# --- taking back -----------------------------------------------------------------------------


def test_it_is_taken_back_whole_newest_first(world: World) -> None:
    workbook = recorded(world)
    standing = workbook.last_seq - workbook.first_seq + 1

    assert (standing, take_out(world.doing(), workbook)) == (9, 11)
    assert set(Lot.objects.values_list("quantity", flat=True)) == {0}
    assert sum(SaleLine.objects.values_list("gross", flat=True)) == 0
    assert_book_is_sound()


def test_while_something_needs_it_nothing_is_taken_back(world: World) -> None:
    workbook = recorded(world)
    move_to_fruiting(world.doing(), lot=lot_of(Stage.BLOCKS), shelf=world.fruiting_shelf)
    pick(world.doing(sure=True), given=[Draw(lot_of(Stage.BLOCKS), 0)], flush=1, firsts_mg=KG)
    before = Entry.objects.count()

    with pytest.raises(NotEnough):
        take_out(world.doing(), workbook)

    assert Entry.objects.count() == before


# --- pages -----------------------------------------------------------------------------------


def sent(client: Client, content: bytes) -> "_MonkeyPatchedWSGIResponse":
    file = SimpleUploadedFile("ours.xlsx", content)
    return client.post("/start-workbook/", {"workbook": file})


def test_the_owner_takes_looks_records_and_takes_back(owner: Client, world: World) -> None:
    blank = owner.get("/start-workbook/blank.xlsx").content
    assert load_workbook(BytesIO(blank)).sheetnames[1] == SHEETS[0].title

    soon = timezone.localdate() + timedelta(days=5)
    orders = [(*row[:3], soon, *row[4:]) for row in ROWS["orders"]]
    looked = sent(owner, filled_in(world, {**ROWS, "orders": orders}))
    assert looked.status_code == 200 and "Record all of it" in looked.content.decode()
    assert not Entry.objects.exists()

    said = {name: looked.context["yes"][name].value() for name in ("content", "name", "uuid")}
    done = owner.post("/start-workbook/", said, follow=True).content.decode()
    assert "ours.xlsx is read in: 9 entries, 1 to 9, 2 orders." in done
    assert "9 entries and 2 orders stand" in done

    workbook = StartWorkbook.objects.get()
    back = {"uuid": uuid4(), "reason": "wrong year"}
    undone = owner.post(f"/start-workbook/{workbook.pk}/undo/", back, follow=True)
    assert "All taken back" in undone.content.decode()


def test_a_page_of_problems_offers_no_yes(owner: Client, world: World) -> None:
    rows = {**ROWS, "picks": [("A", OYSTER, None, "soon", 10, 40)]}
    answer = sent(owner, filled_in(world, rows))

    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Last season&#x27;s picks" in page and "“soon” is not a day" in page
    assert "Record all of it" not in page


def test_a_file_that_was_changed_on_the_way_is_read_anew(owner: Client, world: World) -> None:
    said = {"content": "d29yZHM=", "name": "ours.xlsx", "uuid": uuid4()}  # “words”

    assert owner.post("/start-workbook/", said).status_code == 422
    assert owner.post("/start-workbook/", {**said, "content": "%"}).status_code == 302
    assert not Entry.objects.exists()


@pytest.mark.parametrize("address", ["", "blank.xlsx"])
def test_only_the_owner_sees_it(helper: Client, reader: Client, address: str) -> None:
    for client in (helper, reader):
        assert client.get(f"/start-workbook/{address}").status_code == 403


def test_a_person_without_the_right_records_nothing(helper: Client, world: World) -> None:
    assert sent(helper, filled_in(world)).status_code == 403
