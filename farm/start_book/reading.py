"""Read a filled-in starting workbook into plain rows, or say line by line what is wrong with it."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from io import BytesIO
from typing import Any

from openpyxl import load_workbook

from farm.models import (
    Customer,
    Farm,
    Form,
    Grade,
    Loose,
    PackKind,
    Product,
    SellingPlace,
    Species,
    Strain,
    Supplier,
    Supply,
)
from farm.start_book.cells import read_cell, shown, typed
from farm.start_book.layout import FIRST_ROW, NAMES_FROM, NEEDED, SHEETS, Col, Holds, Sheet
from farm.units import MG_PER_UNIT, UnitError, is_bare, read_count, read_mass, show_both, show_mass
from ledger.models import Dimension

Cells = Iterator[tuple[object, ...]]
MOST_ROWS = 20_000  # on one sheet
MOST_ORDERS = 500
A_PERCENT = 10_000  # ppm


@dataclass(frozen=True)
class Problem:
    """What is wrong, where: the row and the column as the workbook counts and names them."""

    sheet: str
    row: int
    column: str
    words: str


class Row(dict[str, Any]):
    """One filled-in row, its values by the columns' keys; what was left empty is None.

    ``counted``: its quantity is a number of pieces. ``asked``: what is doubtful in it, in words.
    """

    def __init__(self, sheet: Sheet, number: int) -> None:
        super().__init__()
        self.sheet = sheet
        self.number = number
        self.counted = False
        self.asked: list[str] = []


@dataclass
class Filled:
    """A workbook as it was read: rows by sheet, every problem found, and what is to be asked."""

    rows: dict[str, list[Row]] = field(default_factory=lambda: {s.key: [] for s in SHEETS})
    problems: list[Problem] = field(default_factory=list)
    questions: list[Problem] = field(default_factory=list)

    def complain(self, row: Row, key: str, words: str) -> None:
        self.problems.append(_at(row, key, words))

    def ask(self, row: Row, key: str, words: str) -> None:
        self.questions.append(_at(row, key, words))
        row.asked.append(words)


def _at(row: Row, key: str, words: str) -> Problem:
    title = next(col.title for col in row.sheet.cols if col.key == key)
    return Problem(row.sheet.title, row.number, title, words)


def read_workbook(content: bytes, farm: Farm, today: date) -> Filled:
    """Read every sheet that is known by its name; nothing is written."""
    filled = Filled()
    try:
        book = load_workbook(BytesIO(content), read_only=True, data_only=True)
    except Exception:  # whatever the library stumbles over, the file is not a workbook
        filled.problems.append(Problem("The file", 0, "", "is not a workbook (.xlsx)."))
        return filled
    there = [sheet for sheet in SHEETS if sheet.title in book.sheetnames]
    if not there:
        filled.problems.append(
            Problem("The file", 0, "", "has none of the starting workbook's sheets.")
        )
    for sheet in there:
        cells = (
            tuple(shown(cell.value, cell.number_format) for cell in line)
            for line in book[sheet.title].iter_rows()
        )
        _read_sheet(cells, sheet, filled=filled, farm=farm)
    _check(filled, farm, today)
    for found in (filled.problems, filled.questions):
        found.sort(
            key=lambda one: (
                ([s.title for s in SHEETS].index(one.sheet), one.row) if one.row else (-1, 0)
            )
        )
    return filled


def _read_sheet(lines: Cells, sheet: Sheet, *, filled: Filled, farm: Farm) -> None:
    heads = [typed(cell).removesuffix(NEEDED) for cell in next(lines, ())]
    missing = [col.title for col in sheet.cols if col.title not in heads]
    for title in missing:
        filled.problems.append(Problem(sheet.title, 1, title, "This column is gone. Put it back."))
    if missing:
        return
    places = {col.key: heads.index(col.title) for col in sheet.cols}
    for number, cells in enumerate(lines, start=FIRST_ROW):
        if number > MOST_ROWS:
            filled.problems.append(
                Problem(sheet.title, number, "", f"More than {MOST_ROWS} rows. Split the file.")
            )
            return
        if any(typed(cell) for cell in cells):
            row = Row(sheet, number)
            for col in sheet.cols:
                at = places[col.key]
                cell = cells[at] if at < len(cells) else None
                row[col.key] = _read(filled, row, col=col, farm=farm, cell=cell)
            filled.rows[sheet.key].append(row)


def _read(filled: Filled, row: Row, *, col: Col, farm: Farm, cell: object) -> object:
    """Read one cell, or complain of it and return None."""
    if not typed(cell):
        if col.needed:
            filled.complain(row, col.key, "Empty. Fill it in.")
        return None
    try:
        value = read_cell(cell, col, farm)
        _ask_about(filled, row, col=col, text=typed(cell), value=value, farm=farm)
        return value
    except (UnitError, ValueError) as refusal:
        filled.complain(row, col.key, f"{refusal}".rstrip(".") + ".")
        return None


def _ask_about(filled: Filled, row: Row, *, col: Col, text: str, value: object, farm: Farm) -> None:
    """Ask about a weight without its unit that is more than anybody means, and a tiny share.

    “250” as a net weight would be 250 kg; 0.07 in a cell of percent is 0.07 %.
    """
    assert isinstance(value, int | str | date | bool | None)
    if col.holds in (Holds.MASS, Holds.AMOUNT) and isinstance(value, int):
        if not (is_bare(text) and value > col.bare_mg > 0):
            return
        small = "oz" if farm.weight_unit == "lb" else "g"
        number = value / MG_PER_UNIT[farm.weight_unit]
        meant = show_mass(round(number * MG_PER_UNIT[small]), small)
        read = show_both(value, farm.weight_unit)
        filled.ask(row, col.key, f"“{text}” has no unit, so it is {read}. Was {meant} meant?")
    elif col.holds is Holds.PERCENT and isinstance(value, int) and 0 < value < A_PERCENT:
        meant = f"{Decimal(value) / 100:f}"
        filled.ask(row, col.key, f"“{text}” is less than 1 %. Was {meant} % meant?")


# --- what must fit together ------------------------------------------------------------------


def _check(filled: Filled, farm: Farm, today: date) -> None:
    _check_once(filled)
    known = names_known(filled)
    for row in _all(filled):
        for col in row.sheet.cols:
            value = row[col.key]
            if col.holds is Holds.NAME and value is not None and value not in known[col.of]:
                filled.complain(row, col.key, f"“{value}” is not known. {_remedy(col.of)}")
            late = isinstance(value, date) and value > today
            if late and col.key == "day":
                filled.complain(row, col.key, f"{value} has not been yet. State a day up to today.")
    _check_products(filled)
    _check_prices(filled, known["product"])
    _check_supplies(filled, farm)
    _check_growing(filled, farm)
    _check_orders(filled, farm, today)
    _check_amounts(filled)
    _check_sales(filled)


def names_known(filled: Filled) -> dict[str, set[str]]:
    """List the names that a column may give: of this workbook's rows and of the look-ups."""
    known = {
        "supplier": set(Supplier.objects.values_list("name", flat=True)),
        "place": set(SellingPlace.objects.values_list("name", flat=True)),
        "customer": set(Customer.objects.values_list("name", flat=True)),
        "product": set(Product.objects.values_list("name", flat=True)),
        "species": set(Species.objects.values_list("name", flat=True)),
        "strain": {str(strain) for strain in Strain.objects.select_related("species")},
        "mark": set(),
    }
    for key, of in NAMES_FROM.items():
        known[of] |= {row["mark" if of == "mark" else "name"] for row in filled.rows[key]}
    known["wanted"] = known["product"] | known["species"]
    return known


def _remedy(of: str) -> str:
    if of == "wanted":
        return "Add it to the sheet of products, or write the species as under Farm details."
    if of in ("species", "strain"):
        return "Add it under Farm details first, with its planning figures, or write it as there."
    return "Add it to its sheet of this workbook, or write it as there."


def _check_once(filled: Filled) -> None:
    for key, rows in filled.rows.items():
        named = next(sheet.named for sheet in SHEETS if sheet.key == key)
        seen: dict[str, int] = {}
        for row in rows if named else ():
            if row[named] in seen:
                words = f"“{row[named]}” stands in row {seen[row[named]]} already."
                filled.complain(row, named, words)
            seen.setdefault(row[named], row.number)


def _check_products(filled: Filled) -> None:
    for row in filled.rows["products"]:
        if row["form"] == Form.FRESH and row["pack"] == PackKind.AIRTIGHT:
            filled.complain(
                row,
                "pack",
                "Fresh mushrooms in airtight packs can grow the botulism "
                "poison. Use an open or perforated pack. One whose process was "
                "approved is added under Farm details first.",
            )


def _check_prices(filled: Filled, products: set[str]) -> None:
    """Refuse a price that stands twice, however its goods are written."""
    of = ("wanted", "state", "grade", "place", "from_day")
    rows = filled.rows["prices"]
    for row in rows:
        row.counted = row["wanted"] in products
        _say_goods(filled, row)
    prices = Counter(tuple(row[key] for key in of) for row in rows)
    for row in rows:
        if prices[tuple(row[key] for key in of)] > 1:
            filled.complain(row, "from_day", "This price stands in two rows. Keep one.")


def _say_goods(filled: Filled, row: Row) -> None:
    """Say in full what is loose; a pack has a state of its own, and what is dried no grade."""
    if row.counted:
        for key in ("state", "grade"):
            if row[key] is not None:
                filled.complain(row, key, "Of a species alone: a pack has its own. Clear it.")
        return
    row["state"] = row["state"] or Loose.FRESH
    if row["state"] == Loose.FRESH:
        row["grade"] = row["grade"] or Grade.FIRSTS
    elif row["grade"] is not None:
        filled.complain(row, "grade", "Nothing is graded but what is fresh. Clear it.")


def _check_supplies(filled: Filled, farm: Farm) -> None:
    """Read how much of each supply, by weight or by pieces; a new one says what it is used for."""
    found = Supply.objects.select_related("item")
    counted = {one.item.name: one.item.dimension == Dimension.COUNT for one in found}
    for row in filled.rows["supplies"]:
        name = row["supply"]
        if name is not None and name not in counted:
            if row["use"] is None:
                filled.complain(row, "use", f"“{name}” is new here. Say what it is used for.")
            counted[name] = row["piece_mg"] is not None
        _read_amount(filled, row, counted=counted.get(name, False), farm=farm)


def _check_growing(filled: Filled, farm: Farm) -> None:
    for row in filled.rows["growing"]:
        blocks = row["what"] == "blocks"
        if blocks and row["piece_mg"] is None:
            filled.complain(row, "piece_mg", "Empty. Say what one block weighs.")
        _read_amount(filled, row, counted=blocks, farm=farm)


def _read_amount(filled: Filled, row: Row, *, counted: bool, farm: Farm) -> None:
    text = row["quantity"]
    if text is None:
        return
    try:
        amount = read_count(text) if counted else read_mass(text, farm.weight_unit)
    except UnitError as refusal:
        filled.complain(row, "quantity", str(refusal))
        row["quantity"] = None
    else:
        row["quantity"], row.counted = amount, counted
        if not counted:
            (col,) = (one for one in row.sheet.cols if one.key == "quantity")
            _ask_about(filled, row, col=col, text=text, value=amount, farm=farm)


def _check_amounts(filled: Filled) -> None:
    for row in _all(filled):
        for key in ("quantity", "mass_mg", "net_mg", "piece_mg"):
            if row.get(key) == 0:
                filled.complain(row, key, "0 of it cannot be. State more, or clear the row.")


def _check_sales(filled: Filled) -> None:
    """Refuse to sell more than was picked, or before it was."""
    picks = {row["mark"]: row for row in filled.rows["picks"]}
    left = {mark: row["mass_mg"] or 0 for mark, row in picks.items()}
    for row in filled.rows["sales"]:
        pick = picks.get(row["mark"])
        if pick is None or row["mass_mg"] is None:
            continue
        left[row["mark"]] -= row["mass_mg"]
        if left[row["mark"]] < 0:
            words = f"More than was picked as “{row['mark']}”, in row {pick.number} of "
            words += f"{pick.sheet.title}. Correct one of them."
            filled.complain(row, "mass_mg", words)
        if row["day"] and pick["day"] and row["day"] < pick["day"]:
            filled.complain(row, "day", f"Before it was picked, on {pick['day']}. Correct one.")


def _check_orders(filled: Filled, farm: Farm, today: date) -> None:
    """Read packs or weight by what is wanted; refuse a day that is over, and a thing twice."""
    rows, seen = filled.rows["orders"], dict[tuple[object, ...], int]()
    products = names_known(filled)["product"]
    for row in rows:
        packed = row["wanted"] in products
        _read_amount(filled, row, counted=packed, farm=farm)
        if row["wanted"] and not packed and row["unit_money"] is None:
            words = f"Empty. State the price of a {farm.weight_unit}: it is sold loose."
            filled.complain(row, "unit_money", words)
        if row["due_on"] and row["due_on"] < today:
            words = f"{row['due_on']} is over. State the next day on which it is due."
            filled.complain(row, "due_on", words)
        same = tuple(row[key] for key in ("customer", "wanted", "due_on", "often"))
        if same in seen:
            words = f"Stands in row {seen[same]} already, for the same day. Add the two up."
            filled.complain(row, "wanted", words)
        seen.setdefault(same, row.number)
    if len(rows) > MOST_ORDERS:
        filled.complain(rows[MOST_ORDERS], "customer", f"More than {MOST_ORDERS}. Split the file.")


def _all(filled: Filled) -> Iterator[Row]:
    for rows in filled.rows.values():
        yield from rows
