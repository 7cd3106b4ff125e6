"""Draw what was planned beside what it came to: the plan an outline, the actual a filled bar."""

from collections.abc import Sequence
from dataclasses import dataclass

from farm.reports.bars import BAR, WIDTH, WORDS, words_above
from farm.reports.drawing import Box, Drawing, Line, Shape, Text, Tone
from farm.reports.rows import Column, Kind, show_cell

ROW, HEAD = WORDS + 2 * BAR + 9, 18.0


@dataclass(frozen=True)
class PlanBar:
    """One thing in 1/10,000: as planned and as it came."""

    label: str
    planned: int
    actual: int

    @property
    def shown(self) -> str:
        column = Column("", Kind.MONEY)
        return f"planned {show_cell(column, self.planned)}, actual {show_cell(column, self.actual)}"


def plan_bars(rows: Sequence[PlanBar], *, title: str, unit: str) -> Drawing:
    """Draw two bars a row from one base line; the words above say both amounts."""
    scale = (WIDTH - 2) / max([1, *(max(row.planned, row.actual) for row in rows)])
    height = HEAD + ROW * len(rows)
    shapes: list[Shape] = [
        Text((0, 10), "dashed outline: planned · filled: actual", 9, tone=Tone.SOFT)
    ]
    for at, row in enumerate(rows):
        y = HEAD + at * ROW + WORDS
        planned, actual = (max(max(amount, 0) * scale, 1) for amount in (row.planned, row.actual))
        shapes += words_above(row.label, row.shown, y)
        shapes += [
            Box((0, y), planned, BAR, Tone.PAPER, Tone.INK, dashed=True),
            Box((0, y + BAR + 1), actual, BAR, Tone.ACCENT, None),
        ]
    shapes.append(Line((0, HEAD + WORDS - 2), (0, height - 4), Tone.INK, 0.8))
    words = "; ".join(f"{row.label} {row.shown}" for row in rows) or "Nothing to show"
    return Drawing(WIDTH, height, tuple(shapes), title, f"{words}; {unit}.")
