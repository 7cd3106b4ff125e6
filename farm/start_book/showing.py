"""Show what was read of a workbook, row by row and with every unit, before it is taken in."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from farm import habits
from farm.models import Farm
from farm.start_book.layout import SHEETS, Col, Holds
from farm.start_book.reading import Filled, Row
from farm.units import show_both, show_money

# So many rows of a sheet are shown; what is doubtful in the others is asked about all the same.
MOST_SHOWN = 300
PPM_PER_PERCENT = 10_000


@dataclass(frozen=True)
class SheetRead:
    """What was read of one sheet; ``cost`` in money, None where the sheet has no cost.

    ``rows``: each with its number in the workbook; ``count``: how many there are in all.
    """

    title: str
    heads: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    count: int
    cost: int | None

    @property
    def more(self) -> int:
        return self.count - len(self.rows)


def sheets_read(filled: Filled, farm: Farm) -> list[SheetRead]:
    """Lay out each sheet with a row in it; a column that nobody filled in is left out."""
    found = []
    for sheet in SHEETS:
        rows = filled.rows[sheet.key]
        cols = [col for col in sheet.cols if any(row[col.key] is not None for row in rows)]
        costed = any(col.key == "cost_money" for col in sheet.cols)
        if rows:
            found.append(
                SheetRead(
                    title=sheet.title,
                    heads=tuple(col.title.removesuffix(", %") for col in cols),
                    rows=tuple(
                        (row.number, tuple(cell_words(row, col, farm) for col in cols))
                        for row in rows[:MOST_SHOWN]
                    ),
                    count=len(rows),
                    cost=sum(row["cost_money"] or 0 for row in rows) if costed else None,
                )
            )
    return found


def cell_words(row: Row, col: Col, farm: Farm) -> str:
    """Say what a cell was read as: “300 g · 10.58 oz”, “30 pieces”, “9 %”; empty where nothing."""
    value = row[col.key]
    if value is None:
        return ""
    if col.holds is Holds.CHOICE:
        words: Mapping[str, str] = {meant: word for word, meant in (col.choices or {}).items()}
        return words.get(str(value), str(value))
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, date):
        return habits.day(value)
    return _number_words(row, col, value, farm=farm) if isinstance(value, int) else str(value)


def _number_words(row: Row, col: Col, value: int, *, farm: Farm) -> str:
    if col.holds is Holds.MONEY:
        loose = col.key == "unit_money" and not row.counted
        per = f" a {farm.weight_unit}" if loose else ""
        return show_money(value, farm.currency, 2 if value % 100 == 0 else 4) + per
    if col.holds is Holds.PERCENT:
        return f"{habits.marked(f'{(Decimal(value) / PPM_PER_PERCENT).normalize():f}')} %"
    if col.holds is Holds.AMOUNT and row.counted:
        return f"{value} {COUNTED.get(row.sheet.key, 'pieces')}"
    return show_both(value, farm.weight_unit)


COUNTED = {"growing": "blocks", "orders": "packs"}
