"""Draw ranges under each other on one scale: the bar is the range, the tick its middle."""

from collections.abc import Sequence
from dataclasses import dataclass

from farm.reports.bars import BAR, WIDTH, WORDS, words_above
from farm.reports.drawing import Box, Drawing, Line, Shape, Text, Tone
from farm.reports.rows import Column, Kind, show_cell

ROW, HEAD = WORDS + BAR + 9, 18.0


@dataclass(frozen=True)
class RangeRow:
    """One range in 1/10,000 a kilo; ``planned`` is the card's own figure."""

    label: str
    low: int
    median: int
    high: int
    planned: int

    @property
    def shown(self) -> str:
        low, middle, high = (
            show_cell(Column("", Kind.MONEY), cost) for cost in (self.low, self.median, self.high)
        )
        return f"{low} to {high}, middle {middle}"


def range_bars(rows: Sequence[RangeRow], *, title: str, unit: str) -> Drawing:
    """Draw one row a cost: outlined bar from low to high, tick at the median, dashes at the plan.

    The scale begins at nothing, so that bars can be compared by length.
    """
    scale = (WIDTH - 2) / max([1, *(max(row.high, row.planned) for row in rows)])
    height = HEAD + ROW * len(rows)
    shapes: list[Shape] = [
        Text((0, 10), "bar: eight in ten · tick: the middle · dashes: the plan", 9, tone=Tone.SOFT)
    ]
    for at, row in enumerate(rows):
        y = HEAD + at * ROW + WORDS
        shapes += [*words_above(row.label, row.shown, y), *_range(row, y, scale)]
    shapes.append(Line((0, HEAD + WORDS - 2), (0, height - 4), Tone.INK, 0.8))
    described = "; ".join(f"{row.label} {row.shown}" for row in rows)
    return Drawing(WIDTH, height, tuple(shapes), title, f"{described}; {unit}.")


def _range(row: RangeRow, y: float, scale: float) -> list[Shape]:
    low, high, middle, plan = (
        cost * scale for cost in (row.low, row.high, row.median, row.planned)
    )
    return [
        Box((low, y), max(high - low, 1), BAR, Tone.WASH, Tone.SOFT),
        Line((middle, y), (middle, y + BAR), Tone.ACCENT, 2.5),
        Line((plan, y - 3), (plan, y + BAR + 3), Tone.INK, 1, dashed=True),
    ]
