"""Print labels: a square code to scan, the lot code in large type, and the words beside it.

Every label that is alike is drawn once and shown many times. The same labels give the same bytes.
"""

import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby, product

from reportlab.graphics.barcode.qrencoder import QRCode, QRErrorCorrectLevel
from reportlab.pdfgen.canvas import Canvas

from farm.queries.tracing.labels import Label, grouped
from farm.reports.faces import font, text_width
from farm.reports.pdf import wrapped
from farm.reports.tracing.label_sheets import MM, Sheet

# Five points make small letters 0.9 mm high, the least that Regulation (EU) 1169/2011 wants on a
# small pack (from memory); what does not fit at that is refused, not printed unreadable.
LARGEST, SMALLEST, STEP = 12.0, 5.0, 0.25  # points
LEADING = 1.13
ASCENT, DESCENT = 0.75, 0.23  # of Helvetica, shares of its size
CODE_LARGEST, CODE_HEIGHTS = 40.0, (0.3, 0.24, 0.2)  # the code's shares of the height
# ISO/IEC 18004 wants four modules of nothing on every side (from memory); at the left and at the
# top the label's own padding is half of that.
QUIET, QUIET_AT_EDGE = 4, 2
QR_WIDTH_SHARE, QR_LARGEST_MM = 0.35, 32.0
CODE_DEPTH = ASCENT + 0.12  # how far the large code reaches down


class DoesNotFit(ValueError):
    """The words of a label are too many for its size; the message says what to do."""


def labels_pdf(labels: Sequence[Label], sheet: Sheet, *, start: int = 1) -> bytes:
    """Lay labels out on sheets, the first at place ``start``, so that a used sheet is used up."""
    assert 1 <= start <= sheet.per_page, "the first label has a place on the sheet"
    buffer = io.BytesIO()
    width, height = sheet.page[0] * MM, sheet.page[1] * MM
    canvas = Canvas(buffer, pagesize=(width, height), invariant=1, lang="en")
    canvas.setTitle("Labels")
    forms: dict[Label, str] = {}
    for label in labels:
        if label not in forms:
            forms[label] = f"label{len(forms)}"
            _define(canvas, forms[label], label=label, sheet=sheet)
    for place, label in enumerate(labels, start=start - 1):
        if place % sheet.per_page == 0 and place >= start:
            canvas.showPage()
        x, y = sheet.corner_mm(place % sheet.per_page)
        canvas.saveState()
        canvas.translate(x * MM, height - (y + sheet.label[1]) * MM)
        canvas.doForm(forms[label])
        canvas.restoreState()
    canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _define(canvas: Canvas, name: str, *, label: Label, sheet: Sheet) -> None:
    """Draw one label from its lower left corner: code and words beside the square, below whose."""
    padding = sheet.padding * MM
    room = sheet.label[0] * MM - 2 * padding, sheet.label[1] * MM - 2 * padding
    laid = _fitting(label, room)
    top = padding + room[1]
    canvas.beginForm(name, 0, 0, sheet.label[0] * MM, sheet.label[1] * MM)
    canvas.setFillColor("#000000")
    _draw_square(canvas, label.scanned, (padding, top - laid.side), side=laid.side)
    x = padding + laid.side + laid.gap
    canvas.setFont(font(bold=True), laid.code_size)
    canvas.drawString(x, top - laid.code_size * ASCENT, grouped(label.code))
    _write(canvas, laid.body, (x, top - laid.code_size * CODE_DEPTH))
    _write(canvas, laid.foot, (padding, padding + _height(laid.foot)))
    canvas.endForm()


def _draw_square(canvas: Canvas, scanned: str, corner: tuple[float, float], *, side: float) -> None:
    """Draw the QR code with its quiet zone; dark modules side by side are one bar."""
    code = QRCode(None, QRErrorCorrectLevel.M)
    code.addData(scanned)
    code.make()
    modules: list[list[bool]] = code.modules
    count = len(modules)
    module = side / (count + QUIET + QUIET_AT_EDGE)
    path = canvas.beginPath()
    for row, cells in enumerate(modules):
        y = corner[1] + side - (QUIET_AT_EDGE + row + 1) * module
        at = 0
        for dark, run in groupby(map(bool, cells)):
            length = len(list(run))
            if dark:
                x = corner[0] + (QUIET_AT_EDGE + at) * module
                path.rect(x, y, length * module, module)
            at += length
    canvas.drawPath(path, stroke=0, fill=1)


# --- words -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Line:
    """Words and how large against the label's plain size."""

    words: str
    scale: float = 1
    bold: bool = False
    gap: float = 0  # above it, as a share of its size


Block = list[tuple[str, float, _Line]]


@dataclass(frozen=True)
class _Laid:
    """Where all of a label goes, in points."""

    side: float
    gap: float
    code_size: float
    body: Block
    foot: Block


def _fitting(label: Label, room: tuple[float, float]) -> _Laid:
    """Choose the largest type that fits; before it is too small, facts are left out."""
    for less in (label, replace(label, facts=()), replace(label, facts=(), what="")):
        for share, size in product(CODE_HEIGHTS, _sizes()):
            laid = _lay(less, room=room, size=size, code_share=share)
            if _height(laid.body) + laid.code_size * CODE_DEPTH <= room[1] - _height(laid.foot):
                return laid
    raise DoesNotFit(
        f"Lot {label.code}: its words do not fit on this size of label. Choose a larger one."
    )


def _lay(label: Label, *, room: tuple[float, float], size: float, code_share: float) -> _Laid:
    """Lay a label out in one size of type; it may turn out too high."""
    width, height = room
    foot_size = max(size * 0.85, SMALLEST)
    foot = _set([_Line(f"{label.farm_name}, {label.farm_place}", gap=0.2)], foot_size, width)
    above = height - _height(foot)
    side = max(0.0, min(above, width * QR_WIDTH_SHARE, QR_LARGEST_MM * MM))
    gap = width * 0.02
    beside = width - side - gap
    widest = beside / text_width(grouped(label.code), 1, bold=True)
    code_size = min(CODE_LARGEST, height * code_share, widest)
    return _Laid(side, gap, code_size, _set(_lines(label), size, beside), foot)


def _sizes() -> Iterator[float]:
    size = LARGEST
    while size >= SMALLEST:
        yield size
        size -= STEP


def _lines(label: Label) -> list[_Line]:
    return [
        _Line(label.title, 1.25, bold=True),
        *[_Line(words) for words in (label.what, *label.facts) if words],
        *([_Line(label.weight, bold=True)] if label.weight else []),
        *[_Line(words) for words in label.dates],
        *([_Line(" ".join(label.wording), bold=True, gap=0.25)] if label.wording else []),
    ]


def _set(lines: Sequence[_Line], size: float, width: float) -> Block:
    return [
        (words, size * line.scale, line if at == 0 else _Line(words, line.scale, line.bold))
        for line in lines
        for at, words in enumerate(wrapped(line.words, width, size * line.scale, bold=line.bold))
    ]


def _height(block: Block) -> float:
    return sum(size * (LEADING + line.gap) for _, size, line in block)


def _write(canvas: Canvas, block: Block, corner: tuple[float, float]) -> None:
    x, y = corner
    for words, size, line in block:
        y -= size * (LEADING + line.gap)
        canvas.setFont(font(line.bold, words), size)
        canvas.drawString(x, y + size * DESCENT, words)
