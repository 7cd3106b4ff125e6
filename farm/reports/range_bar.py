"""Draw ranges under each other on one scale: the bar is the range, the tick its middle."""

from collections.abc import Sequence
from dataclasses import dataclass

from farm.reports.drawing import Box, Drawing, Line, Shape, Text, Tone, room_for
from farm.reports.rows import Column, Kind, show_cell

ROW, BAR, ROOM, EDGE, HEAD = 30.0, 13.0, 240.0, 4.0, 16.0
SIZE = 10.0


@dataclass(frozen=True)
class RangeRow:
    """One range in 1/10,000 a kilo; ``planned`` is the card's own figure."""

    label: str
    low: int
    median: int
    high: int
    planned: int


def range_bars(rows: Sequence[RangeRow], *, title: str, unit: str) -> Drawing:
    """Draw one row a cost: outlined bar from low to high, tick at the median, dashes at the plan.

    The scale begins at nothing, so that bars can be compared by length.
    """
    most = max([1, *(max(row.high, row.planned) for row in rows)])
    scale = ROOM / most
    left = max((room_for(row.label, SIZE) for row in rows), default=0) + 10
    words = [_words(row) for row in rows]
    right = max((room_for(word, SIZE) for word in words), default=0)
    width = left + ROOM + 12 + right + EDGE
    height = HEAD + ROW * len(rows) + 4
    shapes: list[Shape] = [
        Text((left, 10), "bar: eight in ten · tick: the middle · dashes: the plan", 8,
             tone=Tone.SOFT),
    ]  # fmt: skip
    for at, (row, said) in enumerate(zip(rows, words, strict=True)):
        y = HEAD + at * ROW
        shapes += _row(row, (left, y), scale)
        shapes.append(Text((0, y + BAR + 3), row.label, SIZE))
        shapes.append(Text((width - EDGE, y + BAR + 3), said, SIZE, anchor="end"))
    shapes.append(Line((left, HEAD), (left, height - 6), Tone.INK, 0.8))
    described = "; ".join(f"{row.label} {said}" for row, said in zip(rows, words, strict=True))
    return Drawing(width, height, tuple(shapes), title, f"{described}; {unit}.")


def _row(row: RangeRow, corner: tuple[float, float], scale: float) -> list[Shape]:
    left, y = corner
    low, high, middle, plan = (
        left + cost * scale for cost in (row.low, row.high, row.median, row.planned)
    )
    return [
        Box((low, y + 4), max(high - low, 1), BAR, Tone.WASH, Tone.SOFT),
        Line((middle, y + 4), (middle, y + 4 + BAR), Tone.ACCENT, 2.5),
        Line((plan, y + 1), (plan, y + 7 + BAR), Tone.INK, 1, dashed=True),
    ]


def _words(row: RangeRow) -> str:
    low, middle, high = (
        show_cell(Column("", Kind.MONEY), cost) for cost in (row.low, row.median, row.high)
    )
    return f"{low} to {high}, middle {middle}"
