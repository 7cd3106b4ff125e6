"""Read one cell of a workbook as it was typed: a number, a date, or words."""

import re
from collections.abc import Callable
from datetime import date, datetime
from decimal import Decimal, InvalidOperation

from farm.models import Farm
from farm.start_book.layout import Col, Holds
from farm.units import read_mass, read_money

UNIT_SHOWN = re.compile(r'[0#][\s\\"]*(kg|g|lb|oz)\b', re.IGNORECASE)

Cell = str | int | float | bool | date | datetime | None


def read_cell(cell: object, col: Col, farm: Farm) -> object:
    """Read what a cell holds; raises ValueError in plain words."""
    if col.holds is Holds.DAY:
        return _day(cell)
    text = typed(cell)
    read: dict[Holds, Callable[[], object]] = {
        Holds.MASS: lambda: read_mass(text, farm.weight_unit),
        Holds.MONEY: lambda: read_money(text, farm.currency),
        Holds.PERCENT: lambda: _percent(text),
        Holds.CHOICE: lambda: _choice(text, col.choices or {}),
        Holds.YES_NO: lambda: _choice(text, {"yes": "yes", "no": ""}) == "yes",
    }
    return read[col.holds]() if col.holds in read else _words(text, col)


def shown(value: object, number_format: str | None) -> object:
    """Return what a cell shows: 7 % in a percent cell is kept as 0.07, and means 7 %.

    So is a unit that stands in the cell's format: 250 shown as 250 g.
    """
    if isinstance(value, bool) or not isinstance(value, int | float) or not number_format:
        return value
    if "%" in number_format:
        return f"{(Decimal(repr(value)) * 100).normalize():f} %"
    unit = UNIT_SHOWN.search(number_format)
    return f"{typed(value)} {unit[1]}" if unit else value


def typed(cell: object) -> str:
    """Return a cell's content as it would be typed; a number with three decimals is no doubt."""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, int | float):
        digits = f"{Decimal(repr(cell)):f}"
        whole, point, decimals = digits.partition(".")
        if not decimals.strip("0"):
            return whole
        return f"{digits}0" if point and len(decimals) == 3 else digits
    return "" if cell is None else str(cell).strip()


def _day(cell: object) -> date:
    if isinstance(cell, datetime):
        return cell.date()
    if isinstance(cell, date):
        return cell
    text = typed(cell)
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ValueError(f"“{text}” is not a day: type it as 2026-04-30") from None


def _percent(text: str) -> int:
    """Read percent as parts per million: 9 is 90,000, 7.25 is 72,500."""
    try:
        share_ppm = Decimal(text.replace("%", "").replace(",", ".").strip()) * 10_000
    except InvalidOperation:
        share_ppm = Decimal("NaN")
    if not share_ppm.is_finite() or not 0 <= share_ppm <= 1_000_000:
        raise ValueError(f"“{text}” is not a share: type a number from 0 to 100, such as 9")
    return round(share_ppm)


def _choice(text: str, choices: "dict[str, str] | object") -> str:
    assert isinstance(choices, dict)
    found = {word.casefold(): value for word, value in choices.items()}
    if text.casefold() not in found:
        raise ValueError(f"“{text}” is not one of: {'; '.join(choices)}")
    value: str = found[text.casefold()]
    return value


def _words(text: str, col: Col) -> str:
    if len(text) > col.longest:
        raise ValueError(f"has {len(text)} letters, {col.longest} at most: shorten it")
    return text
