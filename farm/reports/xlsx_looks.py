"""How cells of a spreadsheet look, in words; a workbook makes each look once."""

from typing import Any, NamedTuple

from xlsxwriter import Workbook
from xlsxwriter.format import Format

ARIAL = {"font_name": "Arial", "font_size": 10}
FONTS: dict[str, dict[str, Any]] = {
    "plain": ARIAL,
    "bold": {**ARIAL, "bold": True},
    "struck": {**ARIAL, "font_strikeout": True},
    "title": {**ARIAL, "font_size": 14, "bold": True},
}
THIN, DOUBLE, HAIR = 1, 6, 7
RULE, FAINT = "#565D63", "#CBD3CF"
BORDERS: dict[str, dict[str, Any]] = {
    "": {},
    "head": {"top": THIN, "top_color": RULE, "bottom": THIN, "bottom_color": RULE},
    "row": {"bottom": HAIR, "bottom_color": FAINT},
    "total": {"top": THIN, "top_color": RULE, "bottom": DOUBLE, "bottom_color": RULE},
}


class Look(NamedTuple):
    """How a cell looks; ``shape``: its number format, empty for that of its kind."""

    font: str = "plain"
    border: str = ""
    shape: str = ""
    across: str = ""
    upright: str = ""
    wraps: bool = False
    quoted: bool = False


PLAIN = Look()


class Looks:
    """The looks of one workbook."""

    def __init__(self, book: Workbook) -> None:
        self.book = book
        self.made: dict[Look, Format] = {}

    def of(self, look: Look) -> Format:
        if look not in self.made:
            said = {
                "num_format": look.shape or "General",
                "align": look.across,
                "valign": look.upright,
                "text_wrap": look.wraps,
                "quote_prefix": look.quoted,
            }
            known = {name: value for name, value in said.items() if value}
            made = self.book.add_format({**FONTS[look.font], **BORDERS[look.border], **known})
            self.made[look] = made
        return self.made[look]
