"""Print labels in a test, and read the paper again: pictures, square codes, where words lie.

The square codes are read by zxing-cpp, a reader that has nothing of ours.
"""

import re
import shutil
import subprocess
from pathlib import Path
from typing import NamedTuple

import pytest
import zxingcpp
from PIL import Image

from farm.queries.tracing.labels import Label
from farm.reports.tracing.label_sheets import MM, Sheet
from farm.reports.tracing.labels import labels_pdf

DPI = 300

needs_pdftoppm = pytest.mark.skipif(
    not shutil.which("pdftoppm"), reason="pdftoppm (poppler-utils) is not on this machine"
)


class Word(NamedTuple):
    text: str
    box: tuple[float, float, float, float]  # points from the upper left corner


def rendered(pdf: bytes, folder: Path) -> list[Image.Image]:
    for old in folder.glob("page*.png"):
        old.unlink()
    (folder / "labels.pdf").write_bytes(pdf)
    command = ["pdftoppm", "-r", str(DPI), "-png", "labels.pdf", "page"]
    subprocess.run(command, cwd=folder, check=True)
    pages = []
    for path in sorted(folder.glob("page*.png")):
        with Image.open(path) as page:
            pages.append(page.copy())
    return pages


def scanned(page: Image.Image) -> list[str]:
    return [found.text for found in zxingcpp.read_barcodes(page)]


def place_of(wanted: Label, page: Image.Image, sheet: Sheet) -> int | None:
    """Say at which place of the sheet (from 1) a label's square code was printed."""
    for found in zxingcpp.read_barcodes(page):
        if found.text == wanted.scanned:
            corner = found.position.top_left
            x, y = corner.x * 72 / DPI, corner.y * 72 / DPI
            places = [x1 <= x < x2 and y1 <= y < y2 for x1, y1, x2, y2 in cells(sheet)]
            return places.index(True) + 1
    return None


def words_on(labels: list[Label], sheet: Sheet, folder: Path) -> list[Word]:
    (folder / "labels.pdf").write_bytes(labels_pdf(labels, sheet))
    command = ["pdftotext", "-bbox", "labels.pdf", "-"]
    page = subprocess.run(command, cwd=folder, check=True, capture_output=True, text=True).stdout
    pattern = r'<word xMin="(.+?)" yMin="(.+?)" xMax="(.+?)" yMax="(.+?)">(.*?)</word>'
    return [
        Word(text, (float(a), float(b), float(c), float(d)))
        for a, b, c, d, text in re.findall(pattern, page)
    ]


def cells(sheet: Sheet) -> list[tuple[float, float, float, float]]:
    corners = [sheet.corner_mm(place) for place in range(sheet.per_page)]
    width, height = sheet.label
    return [(x * MM, y * MM, (x + width) * MM, (y + height) * MM) for x, y in corners]
