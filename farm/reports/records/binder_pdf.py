"""The binder on paper: cover, index with page numbers, then one section after the other."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from io import BytesIO

from reportlab.lib.pagesizes import A4, landscape
from reportlab.lib.utils import ImageReader

from farm.reports import rows
from farm.reports.faces import text_width
from farm.reports.pdf import FAINT, LEADING, MARGIN, Page, TableWriter
from farm.reports.prints import Print
from farm.reports.rows import Report, Section

NUMBER_AT = 420
INDEX_SIZE = 10
# Four photos side by side, and their captions.
PRINTS_A_ROW, PRINT_WIDE, PRINT_HIGH, CAPTION_SIZE = 4, 175, 131, 7
UNREADABLE = "photo cannot be read"
ROOM, GAP = 130, 18  # points: a section begins where its first rows fit, else overleaf


def binder_pdf(cover: Report, sections: Iterable[Section]) -> bytes:
    """Write the binder; a section is built when its page comes, and let go again.

    The index stands in front although the page numbers are known only at the end.
    """
    listed = list(sections)
    page = Page(cover, landscape(A4))
    page.write_head()
    page.write_cautions()
    page.turn()
    _write_index(page, [section.title for section in listed])
    began = {}
    page.turn()
    for at, section in enumerate(listed):
        if page.need(ROOM):
            page.y += GAP  # at the head of a page
        page.y -= GAP
        began[_key(at)] = str(page.number)
        page.canvas.bookmarkPage(_key(at))
        page.canvas.addOutlineEntry(section.title, _key(at), 0)
        page.say(section.title, 16, bold=True)
        page.y -= 6
        _write_content(page, section, cover.currency)
    return page.finish(**began)


def _write_index(page: Page, titles: Iterable[str]) -> None:
    page.say("Index", 16, bold=True)
    page.y -= 8
    for at, title in enumerate(titles):
        page.need(LEADING * 2)
        page.y -= LEADING * 1.5
        page.put(MARGIN, title, INDEX_SIZE)
        page.rule(page.y - 4, FAINT, width=0.4, right=NUMBER_AT + 24)
        page.show_later(_key(at), NUMBER_AT)
        end = MARGIN + text_width(title, INDEX_SIZE)
        page.canvas.linkRect("", _key(at), (MARGIN, page.y - 3, end, page.y + 9), thickness=0)


def _write_content(page: Page, section: Section, currency: str) -> None:
    content = section.build()
    for drawing in content.drawings:
        page.write_drawing(drawing)
    for table in content.tables:
        shown = rows.printed(table, currency)
        if shown.title == section.title:
            shown = replace(shown, title="")  # it stands above already
        TableWriter(page, shown).write()
    if content.prints:
        _write_prints(page, content.prints)


def _write_prints(page: Page, prints: Sequence[Print]) -> None:
    """Lay photos out in rows, each with its caption below."""
    for first in range(0, len(prints), PRINTS_A_ROW):
        page.need(PRINT_HIGH + 3 * LEADING)
        page.y -= LEADING
        for at, one in enumerate(prints[first : first + PRINTS_A_ROW]):
            _write_print(page, one, _across(at))
        page.y -= PRINT_HIGH + LEADING
        for at, one in enumerate(prints[first : first + PRINTS_A_ROW]):
            page.put(_across(at), one.caption, CAPTION_SIZE)
        page.y -= LEADING


def _write_print(page: Page, one: Print, x: float) -> None:
    if not one.image:
        page.put(x, UNREADABLE, CAPTION_SIZE)
        return
    scale = min(PRINT_WIDE / one.width, PRINT_HIGH / one.height)
    wide, high = one.width * scale, one.height * scale
    page.canvas.drawImage(ImageReader(BytesIO(one.image)), x, page.y - high, wide, high)


def _across(at: int) -> float:
    return MARGIN + at * (PRINT_WIDE + GAP)


def _key(at: int) -> str:
    return f"section{at}"
