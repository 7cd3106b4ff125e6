"""The card as a spreadsheet that still calculates: change an input and the cascade follows.

Inputs stand on one sheet with their names, units and sources; every figure of the other is a
formula over those names, with our own figure stored beside it for viewers that do not calculate.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from openpyxl import Workbook
from openpyxl.styles import Font
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.worksheet import Worksheet

from farm import habits
from farm.planning.card import MILLION, Card
from farm.planning.card_formulas import (
    MASS,
    MONEY,
    PLAIN_NUMBER,
    SHARE,
    Formula,
    formulas_of,
)
from farm.planning.inputs import ALONE, INPUTS, InputKind, Known
from farm.reports.xlsx import Values, packed

HEAD, BOLD, PLAIN = (
    Font(name="Arial", size=14, bold=True),
    Font(name="Arial", size=10, bold=True),
    Font(name="Arial", size=10),
)
FIRST_ROW = 4
# A key's last word is its unit; the sheet uses the unit that people use.
UNITS: Mapping[str, tuple[str, int, str]] = {
    "mg": ("kg", MILLION, MASS),
    "money": ("price", 10_000, MONEY),
    "ppm": ("share", MILLION, SHARE),
    "seconds": ("minutes", 60, PLAIN_NUMBER),
}
EXTRA = {
    "net_mg": ("Net weight of a pack", "kg"),
    "tax_ppm": ("Tax on top of the net price", "share of the net price"),
    "taken_off": ("What is sold beside the crop", "1: taken off; 0: shared by worth"),
}


@dataclass(frozen=True)
class SheetHead:
    title: str
    currency: str
    farm_name: str
    made_by: str
    made_at: datetime


def card_sheet_bytes(card: Card, known: Mapping[str, Known], head: SheetHead) -> bytes:
    """Write the workbook; the same card gives the same bytes."""
    book = Workbook()
    book.properties.title, book.properties.creator = head.title, head.made_by
    book.properties.created = book.properties.modified = head.made_at.replace(tzinfo=None)
    inputs = book.active
    assert isinstance(inputs, Worksheet)
    inputs.title = "Inputs"
    _title(inputs, head, ("What", "Value", "Unit", "Where from"), widths=(44, 14, 22, 52))
    rows = _write_inputs(book, inputs, card, known=known, currency=head.currency)
    _write_ingredients(inputs, card, rows + 2, currency=head.currency)
    cost = book.create_sheet("Cost")
    _title(cost, head, ("Step", "Figure", "Unit", "How"), widths=(44, 14, 22, 70))
    formulas = formulas_of(card, head.currency, first_ingredient=rows + 3, first_row=FIRST_ROW)
    values = _write_formulas(book, cost, formulas)
    for sheet in book.worksheets:
        sheet.page_setup.orientation, sheet.page_setup.fitToHeight = "landscape", 0
        assert sheet.sheet_properties.pageSetUpPr is not None
        sheet.sheet_properties.pageSetUpPr.fitToPage = True
    return packed(book, [{}, values])


def sheet_name(key: str) -> str:
    """Name an input as the sheet's formulas do: first_mg is first_kg there."""
    stem, _, unit = key.rpartition("_")
    return f"{stem}_{UNITS[unit][0]}" if unit in UNITS else key


def _title(
    sheet: Worksheet, head: SheetHead, columns: tuple[str, ...], *, widths: tuple[int, ...]
) -> None:
    sheet["A1"] = head.title
    sheet["A1"].font = HEAD
    sheet["A2"] = f"{head.farm_name}, made {habits.short_moment(head.made_at)} by {head.made_by}"
    sheet["A2"].font = PLAIN
    for at, (column, width) in enumerate(zip(columns, widths, strict=True), start=1):
        sheet.cell(FIRST_ROW - 1, at, column).font = BOLD
        sheet.column_dimensions["ABCD"[at - 1]].width = width
    sheet.freeze_panes = f"A{FIRST_ROW}"


def _write_inputs(
    book: Workbook, sheet: Worksheet, card: Card, *, known: Mapping[str, Known], currency: str
) -> int:
    """Write one named row an input; return the last row."""
    row = FIRST_ROW - 1
    lost = round((1 - card.plan.batch.kept) * MILLION)
    for key in (*INPUTS, *EXTRA):
        row += 1
        one = known.get(key) or Known(ALONE[key], "none stated")
        value = lost if key == "loss_ppm" else one.value
        _, scale, look = UNITS.get(key.rpartition("_")[2], ("", 1, PLAIN_NUMBER))
        unit = _unit(key, currency)
        label = INPUTS[key].label if key in INPUTS else EXTRA[key][0]
        _put(sheet, row, (label, Decimal(value) / scale, unit, one.source), look=look)
        _name(book, sheet_name(key), f"Inputs!$B${row}")
    return row


def _write_ingredients(sheet: Worksheet, card: Card, row: int, *, currency: str) -> None:
    """Write what goes into a block besides the spawn: quantity in B, price in C."""
    for at, word in enumerate(("Ingredient of a block", "Quantity", f"Price, {currency}", ""), 1):
        sheet.cell(row, at, word).font = BOLD
    for at, part in enumerate(card.plan.batch.ingredients[:-1], start=row + 1):
        scale = MILLION if part.is_weighed else 1
        per = "kg, price a kg" if part.is_weighed else "pieces, price a piece"
        cells = (part.name, Decimal(part.quantity) / scale, Decimal(part.price_money) / 10_000, per)
        _put(sheet, at, cells, look=MASS)
        sheet.cell(at, 3).number_format = MONEY


def _write_formulas(book: Workbook, sheet: Worksheet, formulas: list[Formula]) -> Values:
    values: Values = {}
    for row, one in enumerate(formulas, start=FIRST_ROW):
        _put(sheet, row, (one.label, f"={one.formula}", one.unit, one.formula), look=one.look)
        values[f"B{row}"] = Decimal(one.ours.numerator) / Decimal(one.ours.denominator)
        if one.is_sum:
            sheet.cell(row, 1).font = sheet.cell(row, 2).font = BOLD
        if one.name:
            _name(book, one.name, f"Cost!$B${row}")
    return values


def _put(sheet: Worksheet, row: int, cells: tuple[str | Decimal, ...], *, look: str) -> None:
    for at, value in enumerate(cells, start=1):
        cell = sheet.cell(row, at, value)
        cell.font = PLAIN
        if at == 2:
            cell.number_format = look
        elif isinstance(value, str):
            cell.data_type = "s"  # a name that begins with = is a word, not a formula


def _name(book: Workbook, name: str, where: str) -> None:
    book.defined_names[name] = DefinedName(name, attr_text=where)


def _unit(key: str, currency: str) -> str:
    if key in EXTRA:
        return EXTRA[key][1]
    one = INPUTS[key]
    words = {
        InputKind.MASS: "kg",
        InputKind.MONEY: currency,
        InputKind.SHARE: "share of",
        InputKind.MINUTES: "minutes",
        InputKind.COUNT: "",
    }
    return f"{words[one.kind]} {one.per}".strip()
