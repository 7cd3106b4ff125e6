"""The spreadsheet calculates: recalculated elsewhere it says what the card says."""

import io
import shutil
import subprocess
from datetime import UTC, datetime
from pathlib import Path

import pytest
from openpyxl import Workbook, load_workbook

from farm.planning.card import Card, card_of
from farm.planning.card_formulas import formulas_of
from farm.planning.card_sheet import SheetHead, card_sheet_bytes
from farm.planning.inputs import Known, Names, plan_from
from tests.farm.card_cases import worked_plan

HEAD = SheetHead("Cost card", "EUR", "Alder Lane", "olive", datetime(2026, 10, 3, tzinfo=UTC))
# The worked plan, with a spawn of 100 g at 4.00 and shares of the takings, in the inputs' keys.
KNOWN = {
    "blocks": 100, "load_blocks": 100, "run_wh": 20_000, "spawn_mg": 100_000,
    "spawn_kg_money": 40_000, "block_seconds": 600, "shelf_days": 60, "loss_ppm": 70_000,
    "first_mg": 566_990, "second_mg": 0, "third_mg": 0, "pick_seconds": 720, "trim_ppm": 80_000,
    "fridge_ppm": 40_000, "unsold_ppm": 100_000, "pack_money": 3_800, "pack_seconds": 60,
    "day_mg": 20_000_000, "day_fee_money": 250_000, "day_seconds": 25_200, "takings_ppm": 50_000,
    "card_ppm": 20_000, "margin_ppm": 250_000, "own_ppm": 600_000, "own_hour_money": 180_000,
    "paid_hour_money": 150_000, "kwh_money": 3_000, "block_day_money": 100, "net_mg": 200_000,
    "tax_ppm": 40_000, "trim_kg_money": 40_000, "spent_money": 1_500, "crop_kg_money": 200_000,
    "taken_off": 0,
}  # fmt: skip


NAMES = Names("Sawdust", "Grey oyster", "200 g punnet", "the stall")


def card_from(**changed: int) -> Card:
    return card_of(plan_from({**KNOWN, **changed}, worked_plan().batch.ingredients, NAMES))


def sheet_of(card: Card) -> bytes:
    known = {key: Known(value, "stated") for key, value in KNOWN.items()}
    return card_sheet_bytes(card, known, HEAD)


def figures(path: Path) -> dict[str, float]:
    rows = load_workbook(path, data_only=True)["Cost"].iter_rows(min_row=4, values_only=True)
    return {str(row[0]): float(str(row[1])) for row in rows}


def recalculated(content: bytes, folder: Path, **inputs: float) -> dict[str, float]:
    """Change inputs by name, drop what was calculated, and let LibreOffice calculate anew."""
    book: Workbook = load_workbook(io.BytesIO(content))
    for name, value in inputs.items():
        book["Inputs"][book.defined_names[name].attr_text.split("!")[1].replace("$", "")] = value
    book.save(folder / "changed.xlsx")
    out = folder / "out"
    subprocess.run(
        [
            "soffice",
            f"-env:UserInstallation=file://{folder}/office",
            "--headless",
            "--convert-to",
            "xlsx",
            "--outdir",
            str(out),
            str(folder / "changed.xlsx"),
        ],
        check=True,
        capture_output=True,
        timeout=120,
    )
    return figures(out / "changed.xlsx")


def expected(card: Card) -> dict[str, float]:
    formulas = formulas_of(card, "EUR", first_ingredient=1, first_row=4)
    return {one.label: float(one.ours) for one in formulas}


needs_office = pytest.mark.skipif(
    shutil.which("soffice") is None, reason="LibreOffice is not here to recalculate with"
)


@needs_office
def test_recalculated_it_equals_the_card(tmp_path: Path) -> None:
    card = card_from()

    assert recalculated(sheet_of(card), tmp_path) == pytest.approx(expected(card), rel=1e-12)


@needs_office
def test_a_changed_input_runs_through_the_cascade(tmp_path: Path) -> None:
    found = recalculated(sheet_of(card_from()), tmp_path, loss_share=0.2, first_kg=0.4, day_kg=8)

    changed = card_from(loss_ppm=200_000, first_mg=400_000, day_mg=8_000_000)
    assert found == pytest.approx(expected(changed), rel=1e-12)


@needs_office
@pytest.mark.parametrize(
    ("said", "inputs"),
    [
        ({"taken_off": 1}, {"taken_off": 1}),
        (
            {"taken_off": 1, "trim_kg_money": 90_000_000, "spent_money": 900_000},
            {"taken_off": 1, "trim_kg_price": 9_000, "spent_price": 90},
        ),
        (
            {"trim_kg_money": 0, "spent_money": 0, "crop_kg_money": 0},
            {"trim_kg_price": 0, "spent_price": 0, "crop_kg_price": 0},
        ),
    ],
)
def test_what_is_sold_beside_is_counted_by_the_sheet_as_by_the_card(
    tmp_path: Path, said: dict[str, int], inputs: dict[str, float]
) -> None:
    found = recalculated(sheet_of(card_from()), tmp_path, **inputs)

    assert found == pytest.approx(expected(card_from(**said)), rel=1e-12)


def test_a_viewer_that_does_not_calculate_shows_our_figures(tmp_path: Path) -> None:
    (tmp_path / "card.xlsx").write_bytes(sheet_of(card_from()))

    assert figures(tmp_path / "card.xlsx") == pytest.approx(expected(card_from()), rel=1e-12)


def test_every_figure_is_a_formula() -> None:
    book = load_workbook(io.BytesIO(sheet_of(card_from())))

    assert all(str(row[1].value).startswith("=") for row in book["Cost"].iter_rows(min_row=4))


def test_the_same_card_gives_the_same_bytes() -> None:
    assert sheet_of(card_from()) == sheet_of(card_from())


def test_the_planned_count_of_lost_blocks_stands_as_a_share() -> None:
    book = load_workbook(io.BytesIO(sheet_of(card_from(lost_count=9))))
    rows = book["Inputs"].iter_rows(min_row=4, max_col=2, values_only=True)

    assert ("Blocks lost before the first pick", 0.09) in list(rows)
