"""Draw what was planned beside what it came to: the plan an outline, the actual a filled bar."""

from collections.abc import Sequence
from dataclasses import dataclass

from farm.reports.drawing import Box, Drawing, Line, Shape, Text, Tone, fitted, room_for
from farm.reports.rows import Column, Kind, show_cell

ROW, BAR, ROOM, EDGE, HEAD = 42.0, 12.0, 240.0, 4.0, 18.0
SIZE, LABEL_ROOM = 10.0, 190.0


@dataclass(frozen=True)
class PlanBar:
    """One thing in 1/10,000: as planned and as it came."""

    label: str
    planned: int
    actual: int


def plan_bars(rows: Sequence[PlanBar], *, title: str, unit: str) -> Drawing:
    """Draw two bars a row from one base line; words beside each say which it is, and how much."""
    most = max([1, *(max(row.planned, row.actual) for row in rows)])
    left = min(max((room_for(row.label, SIZE) for row in rows), default=0), LABEL_ROOM) + 10
    words = [(f"planned {_said(row.planned)}", f"actual {_said(row.actual)}") for row in rows]
    right = max((room_for(word, SIZE) for pair in words for word in pair), default=0)
    width = left + ROOM + 12 + right + EDGE
    height = HEAD + ROW * len(rows) + 4
    shapes: list[Shape] = [
        Text((left, 10), "dashed outline: planned · filled: actual", 8, tone=Tone.SOFT)
    ]
    for at, (row, (planned, actual)) in enumerate(zip(rows, words, strict=True)):
        y = HEAD + at * ROW
        sizes = [max(amount, 0) / most * ROOM for amount in (row.planned, row.actual)]
        shapes += [
            Text((0, y + BAR + 5), fitted(row.label, left - 8, SIZE), SIZE),
            Box((left, y + 3), max(sizes[0], 0.8), BAR, Tone.PAPER, Tone.INK, dashed=True),
            Box((left, y + 5 + BAR), max(sizes[1], 0.8), BAR, Tone.ACCENT, None),
            Text((width - EDGE, y + BAR + 1), planned, SIZE, anchor="end"),
            Text((width - EDGE, y + 2 * BAR + 4), actual, SIZE, anchor="end"),
        ]
    shapes.append(Line((left, HEAD), (left, height - 6), Tone.INK, 0.8))
    said = "; ".join(f"{row.label} {', '.join(pair)}"
                     for row, pair in zip(rows, words, strict=True))  # fmt: skip
    return Drawing(width, height, tuple(shapes), title, f"{said or 'Nothing to show'}; {unit}.")


def _said(amount: int) -> str:
    return show_cell(Column("", Kind.MONEY), amount)
