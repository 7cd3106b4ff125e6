"""Sheets of labels and single-label rolls: where each label sits on the paper."""

from collections.abc import Mapping
from dataclasses import dataclass

MM = 72 / 25.4
A4_MM, LETTER_MM = (210.0, 297.0), (215.9, 279.4)


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """Lengths in millimetres; ``pitch`` is from a label's corner to the next one's.

    ``padding``: how far inside a label its words stay; more where labels reach the paper's edge,
    which most printers cannot print.
    """

    title: str
    page: tuple[float, float]
    grid: tuple[int, int]
    label: tuple[float, float]
    corner: tuple[float, float] = (0, 0)
    pitch: tuple[float, float] = (0, 0)
    padding: float = 2

    @property
    def per_page(self) -> int:
        return self.grid[0] * self.grid[1]

    def corner_mm(self, place: int) -> tuple[float, float]:
        """Give the upper left corner of the n-th label (from 0), row by row from the top."""
        row, column = divmod(place, self.grid[0])
        return (
            self.corner[0] + column * self.pitch[0],
            self.corner[1] + row * self.pitch[1],
        )


def _roll(width: float, height: float) -> Sheet:
    size = (width, height)
    return Sheet(
        title=f"Label printer, {width:g} × {height:g} mm",
        page=size,
        grid=(1, 1),
        label=size,
        padding=1.5,
    )


# Sizes sold everywhere, from memory: lay a print over a sheet before printing many.
SHEETS: Mapping[str, Sheet] = {
    "a4-2x7": Sheet(
        title="A4, 2 × 7 labels of 99.1 × 38.1 mm",
        page=A4_MM, grid=(2, 7), label=(99.1, 38.1), corner=(4.65, 15.15), pitch=(101.6, 38.1),
        padding=2.5,
    ),
    "a4-3x8": Sheet(
        title="A4, 3 × 8 labels of 70 × 37 mm",
        page=A4_MM, grid=(3, 8), label=(70, 37), corner=(0, 0.5), pitch=(70, 37), padding=4.5,
    ),
    "a4-4x12": Sheet(
        title="A4, 4 × 12 labels of 45.7 × 21.2 mm",
        page=A4_MM, grid=(4, 12), label=(45.7, 21.2), corner=(9.8, 21.3), pitch=(48.23, 21.2),
        padding=1.2,
    ),
    "letter-2x5": Sheet(
        title="Letter, 2 × 5 labels of 4 × 2 in",
        page=LETTER_MM, grid=(2, 5), label=(101.6, 50.8), corner=(3.97, 12.7),
        pitch=(106.36, 50.8), padding=2.5,
    ),
    "letter-3x10": Sheet(
        title="Letter, 3 × 10 labels of 2 5/8 × 1 in",
        page=LETTER_MM, grid=(3, 10), label=(66.67, 25.4), corner=(4.76, 12.7),
        pitch=(69.85, 25.4), padding=1.8,
    ),
    "62x29": _roll(62, 29),
    "100x50": _roll(100, 50),
    "50x25": _roll(50, 25),
}  # fmt: skip
