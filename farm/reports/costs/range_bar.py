"""Draw ranges under each other on one scale: the bar is the range, the tick its middle."""

from collections.abc import Sequence
from dataclasses import dataclass

from farm.reports.bars import BAR, WIDTH, WORDS, words_above
from farm.reports.drawing import Box, Drawing, Line, Shape, Text, Tone
from farm.reports.rows import Column, Kind, show_cell

ROW, HEAD = WORDS + BAR + 9, 18.0
OPEN = 0.9  # of the width, where a range has no end


@dataclass(frozen=True)
class RangeRow:
    """One range in 1/10,000 a kilo; ``planned`` is the card's own figure.

    None: so many batches give nothing that there is no such cost.
    """

    label: str
    low: int | None
    median: int | None
    high: int | None
    planned: int

    @property
    def shown(self) -> str:
        low, middle, high = (
            show_cell(Column("", Kind.MONEY), cost) for cost in (self.low, self.median, self.high)
        )
        if self.low is None:
            return "no cost: nothing to sell"
        ends = f"{low} to {high}" if self.high is not None else f"{low} and more"
        return f"{ends}, middle {middle}" if self.median is not None else ends


def range_bars(rows: Sequence[RangeRow], *, title: str, unit: str) -> Drawing:
    """Draw one row a cost: outlined bar from low to high, tick at the median, dashes at the plan.

    The scale begins at nothing, so that bars can be compared by length; a range without a dear
    end runs to the end of it.
    """
    known = [cost or 0 for row in rows for cost in (row.low, row.median, row.high, row.planned)]
    scale = (WIDTH - 2) / max([1, *known]) * (1 if all(row.high for row in rows) else OPEN)
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
    plan = row.planned * scale
    shapes: list[Shape] = []
    if row.low is not None:
        low = row.low * scale
        high = row.high * scale if row.high is not None else WIDTH - 2
        shapes.append(Box((low, y), max(high - low, 1), BAR, Tone.WASH, Tone.SOFT))
    if row.median is not None:
        middle = row.median * scale
        shapes.append(Line((middle, y), (middle, y + BAR), Tone.ACCENT, 2.5))
    return [*shapes, Line((plan, y - 3), (plan, y + BAR + 3), Tone.INK, 1, dashed=True)]
