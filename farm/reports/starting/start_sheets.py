"""The starting workbook to fill in: a sheet for each kind of thing, with lists to choose from."""

import io
from datetime import datetime
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

from openpyxl import Workbook
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet
from openpyxl.writer.excel import ExcelWriter

from farm.models import Farm, Species, Strain
from farm.start_book.layout import FIRST_ROW, HEAD_ROW, SHEETS, Col, Holds, Sheet

LAST_CHECKED_ROW = 500  # further down cells are not offered choices, and are read all the same
BOLD, PLAIN = Font(name="Arial", size=10, bold=True), Font(name="Arial", size=10)
TITLE = Font(name="Arial", size=14, bold=True)
LISTS = "Names to choose"
HOW = (
    "Fill in what you have, leave the rest empty, and give the file to the page you had it from. "
    "It is shown to you before anything is recorded; then all of it is recorded, or nothing.",
    "One row is one thing. A star marks a column that must be filled in. Keep the first row, and "
    "keep the names of the sheets and columns.",
    "Days are dates. A weight may have its unit in the cell, such as 12.4 lb or 250 g.",
    "Species and strains are under Farm details, as the farm plans by them; add them there first.",
)


def start_workbook(farm: Farm, made_at: datetime) -> bytes:
    """Make the workbook that the farm fills in, in its own units."""
    book = Workbook()
    book.properties.created = book.properties.modified = made_at.replace(tzinfo=None)
    book.properties.title, book.properties.creator = "Starting workbook", farm.name
    first = book.active
    assert isinstance(first, Worksheet)
    _write_how(first, farm)
    lists = _write_lists(book)
    for at, sheet in enumerate(SHEETS, start=1):
        _write_sheet(book.create_sheet(sheet.title, at), sheet, farm=farm, lists=lists)
    return _packed(book)


def _write_how(page: Worksheet, farm: Farm) -> None:
    page.title = "How to fill in"
    page.sheet_view.showGridLines = False
    page.column_dimensions["A"].width, page.column_dimensions["B"].width = 30, 90
    _say(page, 1, ("Starting workbook", ""), font=TITLE)
    row = 3
    for words in (*HOW, f"Bare weights are {farm.weight_unit}, money is {farm.currency}."):
        _say(page, row, ("", words))
        row += 1
    for sheet in SHEETS:
        row += 1
        _say(page, row, (sheet.title, sheet.about), font=BOLD)
        for col in sheet.cols:
            row += 1
            _say(page, row, (f"    {col.head}", _hint(col)))


def _say(page: Worksheet, row: int, words: tuple[str, str], *, font: Font = PLAIN) -> None:
    for at, text in enumerate(words, start=1):
        cell = page.cell(row, at, text or None)
        cell.font = font
        cell.alignment = Alignment(wrap_text=at > 1, vertical="top")


def _hint(col: Col) -> str:
    shown = f"One of: {'; '.join(col.choices)}" if col.choices else f"{col.holds.value}"
    return ". ".join(part for part in (shown[0].upper() + shown[1:], col.hint) if part)


def _write_lists(book: Workbook) -> dict[str, str]:
    """Write the farm's species and strains; return where each list stands."""
    page = book.create_sheet(LISTS)
    names = {
        "species": [one.name for one in Species.objects.all()],
        "strain": [str(one) for one in Strain.objects.select_related("species")],
    }
    places = {}
    for at, (of, words) in enumerate(names.items(), start=1):
        letter = get_column_letter(at)
        page.column_dimensions[letter].width = 34
        page.cell(1, at, of.capitalize()).font = BOLD
        for row, word in enumerate(words, start=2):
            page.cell(row, at, word).data_type = "s"
        if words:
            places[of] = f"'{LISTS}'!${letter}$2:${letter}${len(words) + 1}"
    return places


def _write_sheet(page: Worksheet, sheet: Sheet, *, farm: Farm, lists: dict[str, str]) -> None:
    page.freeze_panes = f"A{FIRST_ROW}"
    for at, col in enumerate(sheet.cols, start=1):
        letter = get_column_letter(at)
        cell = page.cell(HEAD_ROW, at, col.head)
        cell.font = BOLD
        page.column_dimensions[letter].width = max(14, len(col.head) + 4)
        cells = f"{letter}{FIRST_ROW}:{letter}{LAST_CHECKED_ROW}"
        rule = _choices(col, lists)
        if rule:
            page.add_data_validation(rule)
            rule.add(cells)
        if col.holds is Holds.DAY:
            for row in range(FIRST_ROW, LAST_CHECKED_ROW):
                page.cell(row, at).number_format = "yyyy-mm-dd"


def _choices(col: Col, lists: dict[str, str]) -> DataValidation | None:
    """Offer the words of a choice; a name that is not on the list may be typed."""
    if col.choices:
        formula = f'"{",".join(word.replace(",", " ") for word in col.choices)}"'
    elif col.of in lists:
        formula = lists[col.of]
    else:
        return None
    return DataValidation(type="list", formula1=formula, allow_blank=True, showErrorMessage=False)


def _packed(book: Workbook) -> bytes:
    """Zip the parts with one fixed time: the same lists to choose from give the same bytes."""
    first, second = io.BytesIO(), io.BytesIO()
    with ZipFile(first, "w", ZIP_DEFLATED) as archive:
        # Workbook.save would write today's time into the file; the writer itself does not.
        ExcelWriter(book, archive).save()
    with ZipFile(first) as read, ZipFile(second, "w", ZIP_DEFLATED) as written:
        for name in sorted(read.namelist()):
            part = ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))
            written.writestr(part, read.read(name), compress_type=ZIP_DEFLATED)
    return second.getvalue()
