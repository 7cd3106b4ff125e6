"""Labels as printed: every code can be read off the paper, and nothing leaves its label."""

from dataclasses import replace
from pathlib import Path

import pytest
from PIL import Image, ImageOps

from farm.queries.tracing.labels import Label, grouped
from farm.reports.tracing.label_sheets import MM, SHEETS, Sheet
from farm.reports.tracing.labels import DoesNotFit, labels_pdf
from ledger.codes import lot_code
from tests.farm.printing import (
    DPI,
    Word,
    cells,
    needs_pdftoppm,
    place_of,
    rendered,
    scanned,
    words_on,
)

# Paper is laid out without a look at the database.
pytestmark = pytest.mark.same_on_any_engine

ADDRESS = "https://alder-lane.example/lots/"


def label(number: int = 1, **said: object) -> Label:
    usual = Label(
        code=lot_code(number),
        scanned=ADDRESS + lot_code(number),
        title="Blue oyster, 200 g",
        facts=("Packed 4 Oct 2026",),
        dates=("Harvested 3 Oct 2026", "Best before 10 Oct 2026"),
        weight="Net weight 200 g · 7.05 oz",
        wording=("Keep cold.", "Cook thoroughly."),
        farm_name="Alder Lane Mushrooms",
        farm_place="Alder Lane 3, 12345 Lowfield, Northshire",
    )
    return replace(usual, **said)  # type: ignore[arg-type]


@needs_pdftoppm
@pytest.mark.parametrize("name", SHEETS)
def test_every_square_code_on_a_full_sheet_reads_as_its_lot(name: str, tmp_path: Path) -> None:
    labels = [label(number) for number in range(SHEETS[name].per_page)]

    read = [found for page in pictures(labels, SHEETS[name], tmp_path) for found in scanned(page)]

    assert sorted(read) == sorted(one.scanned for one in labels)


@needs_pdftoppm
def test_the_square_code_is_the_bare_code_where_no_address_is_known(tmp_path: Path) -> None:
    bare = label(scanned=lot_code(1))

    (page,) = pictures([bare], SHEETS["50x25"], tmp_path)

    assert scanned(page) == [lot_code(1)]


@needs_pdftoppm
@pytest.mark.parametrize("name", SHEETS)
def test_every_word_stays_inside_its_label(name: str, tmp_path: Path) -> None:
    sheet = SHEETS[name]
    words = words_on([label()] * sheet.per_page, sheet, tmp_path)

    astray = [word.text for word in words if not any(inside(word, cell) for cell in cells(sheet))]

    assert words
    assert astray == []


@needs_pdftoppm
@pytest.mark.parametrize("name", SHEETS)
def test_no_two_words_lie_on_each_other(name: str, tmp_path: Path) -> None:
    words = words_on([label()], SHEETS[name], tmp_path)

    assert [
        (one.text, other.text)
        for at, one in enumerate(words)
        for other in words[at + 1 :]
        if overlap(one, other)
    ] == []


@needs_pdftoppm
@pytest.mark.parametrize("name", SHEETS)
def test_nothing_is_printed_in_the_padding_of_the_only_label(name: str, tmp_path: Path) -> None:
    sheet = SHEETS[name]
    (page,) = pictures([label()], sheet, tmp_path)

    ink = ImageOps.invert(page.convert("L")).getbbox()

    # Half a millimetre for letters that lean out of their width.
    least = [corner + sheet.padding - 0.5 for corner in sheet.corner]
    most = [
        corner + size - sheet.padding + 0.5
        for corner, size in zip(sheet.corner, sheet.label, strict=True)
    ]
    assert ink
    assert all(at >= edge * DPI / 25.4 for at, edge in zip(ink[:2], least, strict=True))
    assert all(at <= edge * DPI / 25.4 for at, edge in zip(ink[2:], most, strict=True))


@needs_pdftoppm
@pytest.mark.parametrize("name", SHEETS)
def test_the_code_is_the_largest_writing_on_the_label(name: str, tmp_path: Path) -> None:
    words = words_on([label()], SHEETS[name], tmp_path)
    first, second = grouped(lot_code(1)).split()

    tallest = sorted(words, key=lambda word: word.box[3] - word.box[1])[-2:]

    assert {word.text for word in tallest} == {first, second}


@needs_pdftoppm
def test_a_used_sheet_is_used_up_from_the_first_free_label(tmp_path: Path) -> None:
    sheet = SHEETS["a4-3x8"]
    # Places 23 and 24 are the last two of the sheet; the third label begins the next one.
    first, second = pictures([label(n) for n in (1, 2, 3)], sheet, tmp_path, start=23)

    assert [place_of(text, first, sheet) for text in (label(1), label(2))] == [23, 24]
    assert place_of(label(3), second, sheet) == 1


@pytest.mark.parametrize("name", SHEETS)
def test_every_label_of_a_sheet_lies_on_the_paper_and_on_no_other(name: str) -> None:
    sheet = SHEETS[name]
    width, height = (side * MM for side in sheet.page)
    places = cells(sheet)

    assert all(x1 >= 0 and y1 >= 0 for x1, y1, _, _ in places)
    assert all(x2 <= width + 0.01 and y2 <= height + 0.01 for _, _, x2, y2 in places)
    assert not any(
        overlap(Word("", one), Word("", other))
        for at, one in enumerate(places)
        for other in places[at + 1 :]
    )


def test_the_same_labels_give_the_same_bytes() -> None:
    labels = [label(1), label(2)]

    assert labels_pdf(labels, SHEETS["a4-2x7"]) == labels_pdf(labels, SHEETS["a4-2x7"])


def test_alike_labels_are_drawn_once() -> None:
    one, many = (len(labels_pdf([label()] * n, SHEETS["a4-4x12"])) for n in (1, 480))

    assert many < 5 * one


@needs_pdftoppm
def test_a_small_label_leaves_out_facts_and_nothing_else(tmp_path: Path) -> None:
    crowded = label(facts=tuple(f"Supplier's lot number {n} of a long list" for n in range(12)))

    said = " ".join(word.text for word in words_on([crowded], SHEETS["50x25"], tmp_path))

    assert "Supplier's" not in said
    assert all(word in said for word in ("oyster", "Harvested", "200", "Cook", "12345"))


def test_it_refuses_words_that_do_not_fit_at_all() -> None:
    with pytest.raises(DoesNotFit, match=f"Lot {lot_code(1)}: its words do not fit"):
        labels_pdf([label(farm_place="Lane " * 120)], SHEETS["50x25"])


# --- helpers ---------------------------------------------------------------------------------


def pictures(
    labels: list[Label], sheet: Sheet, folder: Path, *, start: int = 1
) -> list[Image.Image]:
    return rendered(labels_pdf(labels, sheet, start=start), folder)


def inside(word: Word, cell: tuple[float, float, float, float]) -> bool:
    x1, y1, x2, y2 = word.box
    return cell[0] <= x1 and cell[1] <= y1 and x2 <= cell[2] and y2 <= cell[3]


def overlap(one: Word, other: Word) -> bool:
    """Say whether two boxes share more than a hair (boxes are taller than their letters)."""
    (ax1, ay1, ax2, ay2), (bx1, by1, bx2, by2) = one.box, other.box
    wide, tall = min(ax2, bx2) - max(ax1, bx1), min(ay2, by2) - max(ay1, by1)
    return wide > 0.01 and tall > 0.15 * min(ay2 - ay1, by2 - by1)
