"""The card as a spreadsheet that still calculates: change an input and the cascade follows.

Inputs stand on one sheet with their names, units and sources; every figure of the other is a
formula over those names, with our own figure stored beside it for viewers that do not calculate.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from io import BytesIO

from xlsxwriter import Workbook
from xlsxwriter.worksheet import Worksheet

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
from farm.reports.xlsx import opened
from farm.reports.xlsx_looks import PLAIN, Look, Looks

BOLD = Look("bold")
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
    file = BytesIO()
    book = opened(file, head.title, made_by=head.made_by, made_at=head.made_at)
    looks = Looks(book)
    inputs = _Page(book, looks, book.add_worksheet("Inputs"), head.currency)
    _title(inputs, head, ("What", "Value", "Unit", "Where from"), widths=(44, 14, 22, 52))
    rows = _write_inputs(inputs, card, known)
    _write_ingredients(inputs, card, rows + 2)
    cost = _Page(book, looks, book.add_worksheet("Cost"), head.currency)
    _title(cost, head, ("Step", "Figure", "Unit", "How"), widths=(44, 14, 22, 70))
    formulas = formulas_of(card, head.currency, first_ingredient=rows + 3, first_row=FIRST_ROW)
    _write_formulas(cost, formulas)
    for page in (inputs, cost):
        page.sheet.set_landscape()
        page.sheet.fit_to_pages(1, 0)
    book.close()
    return file.getvalue()


def sheet_name(key: str) -> str:
    """Name an input as the sheet's formulas do: first_mg is first_kg there."""
    stem, _, unit = key.rpartition("_")
    return f"{stem}_{UNITS[unit][0]}" if unit in UNITS else key


@dataclass(frozen=True)
class _Page:
    """A sheet that is written by the row that people read, counted from 1."""

    book: Workbook
    looks: Looks
    sheet: Worksheet
    currency: str

    def put(
        self, row: int, cells: tuple[str | float, ...], *, look: Look = PLAIN, first: int = 0
    ) -> None:
        """Write into a row; words are words, also those that begin with =."""
        for at, value in enumerate(cells, start=first):
            if isinstance(value, str):
                shown = self.looks.of(look._replace(shape=""))
                self.sheet.write_string(row - 1, at, value, shown)
            else:
                self.sheet.write_number(row - 1, at, value, self.looks.of(look))

    def name(self, name: str, row: int) -> None:
        """Name the cell in B, for the formulas."""
        self.book.define_name(name, f"={self.sheet.name}!$B${row}")


def _title(
    page: _Page, head: SheetHead, columns: tuple[str, ...], *, widths: tuple[int, ...]
) -> None:
    page.put(1, (head.title,), look=Look("title"))
    made = f"{head.farm_name}, made {habits.short_moment(head.made_at)} by {head.made_by}"
    page.put(2, (made,))
    page.put(FIRST_ROW - 1, columns, look=BOLD)
    for at, width in enumerate(widths):
        page.sheet.set_column(at, at, width)
    page.sheet.freeze_panes(FIRST_ROW - 1, 0)


def _write_inputs(page: _Page, card: Card, known: Mapping[str, Known]) -> int:
    """Write one named row an input; return the last row."""
    row = FIRST_ROW - 1
    lost = round((1 - card.plan.batch.kept) * MILLION)
    for key in (*INPUTS, *EXTRA):
        row += 1
        one = known.get(key) or Known(ALONE[key], "none stated")
        value = lost if key == "loss_ppm" else one.value
        _, scale, shape = UNITS.get(key.rpartition("_")[2], ("", 1, PLAIN_NUMBER))
        label = INPUTS[key].label if key in INPUTS else EXTRA[key][0]
        cells = (label, value / scale, _unit(key, page.currency), one.source)
        page.put(row, cells, look=Look(shape=shape))
        page.name(sheet_name(key), row)
    return row


def _write_ingredients(page: _Page, card: Card, row: int) -> None:
    """Write what goes into a block besides the spawn: quantity in B, price in C."""
    heads = ("Ingredient of a block", "Quantity", f"Price, {page.currency}")
    page.put(row, heads, look=BOLD)
    for at, part in enumerate(card.plan.batch.ingredients[:-1], start=row + 1):
        scale = MILLION if part.is_weighed else 1
        per = "kg, price a kg" if part.is_weighed else "pieces, price a piece"
        page.put(at, (part.name, part.quantity / scale), look=Look(shape=MASS))
        page.put(at, (part.price_money / 10_000, per), look=Look(shape=MONEY), first=2)


def _write_formulas(page: _Page, formulas: list[Formula]) -> None:
    """Write each step with its formula, and our figure beside it."""
    for row, one in enumerate(formulas, start=FIRST_ROW):
        font = "bold" if one.is_sum else "plain"
        page.put(row, (one.label,), look=Look(font))
        page.put(row, (one.unit, one.formula), first=2)
        figure = page.looks.of(Look(font, shape=one.look))
        page.sheet.write_formula(row - 1, 1, f"={one.formula}", figure, float(one.ours))
        if one.name:
            page.name(one.name, row)


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
