"""Draw bars under each other, as narrow as a phone: words stand above them and keep their size."""

from collections.abc import Sequence
from dataclasses import dataclass

from farm.reports.drawing import Box, Drawing, Line, Shape, Text, Tone, fitted, room_for
from farm.reports.rows import Column, Kind, show_cell
from farm.steps import rounded

WIDTH, BAR, WORDS = 320.0, 12.0, 17.0
ROW = WORDS + BAR + 7
SIZE, GAP = 11.0, 10.0


@dataclass(frozen=True)
class Bar:
    """One bar: its length in any whole unit, and the words that say it with its unit."""

    label: str
    size: int
    shown: str


@dataclass(frozen=True)
class Step:
    """One step of a cost cascade, in 1/10,000; without an amount it shows the sum so far."""

    label: str
    amount: int | None = None


@dataclass(frozen=True)
class Span:
    """One bar from somewhere to somewhere on the scale that all of a drawing share."""

    label: str
    start: int
    end: int
    shown: str
    tone: Tone = Tone.ACCENT
    is_sum: bool = False


def bars(rows: Sequence[Bar], *, title: str) -> Drawing:
    """Draw one bar a row, all from the same base line."""
    spans = [Span(row.label, 0, row.size, row.shown) for row in rows]
    return _drawing(spans, title, f"{said(spans)}.")


def waterfall(steps: Sequence[Step], *, title: str, unit: str) -> Drawing:
    """Draw how a cost builds up, top to bottom, each step starting where the last one ended.

    A printed step is the difference of the printed sums before and after it, so that the printed
    steps add up to every printed sum.
    """
    column = Column("", Kind.MONEY)
    spans: list[Span] = []
    running = 0
    for step in steps:
        before, running = running, running + (step.amount or 0)
        if step.amount is None:
            shown = show_cell(column, running)
            spans.append(Span(step.label, 0, running, shown, is_sum=True))
            continue
        cents = rounded(running, 100) - rounded(before, 100)
        sign = "+" if cents >= 0 else ""
        shown = sign + show_cell(column, cents * 100)
        spans.append(Span(step.label, before, running, shown, Tone.SOFT))
    sums = said([span for span in spans if span.is_sum], unit)
    return _drawing(spans, title, f"Cost step by step, in {unit}: {sums}.")


def falling(spans: Sequence[tuple[str, int, int, str]], *, title: str) -> Drawing:
    """Draw steps down to zero, one a row: its label, what was there before and after, its words.

    What comes in is dark, what goes out is light; the words have their sign as well.
    """
    rows = [
        Span(label, before, after, shown, Tone.ACCENT if after >= before else Tone.SOFT)
        for label, before, after, shown in spans
    ]
    return _drawing(rows, title, f"{said(rows)}.")


def said(spans: Sequence[Span], unit: str = "") -> str:
    """Say the bars for who cannot see them."""
    words = ("".join([span.label, " ", span.shown, " " if unit else "", unit]) for span in spans)
    return "; ".join(words) or "Nothing to show"


def words_above(label: str, shown: str, y: float, *, bold: bool = False) -> list[Shape]:
    """Write a row's label to the left and its figures to the right, above the bars at ``y``."""
    room = WIDTH - room_for(shown, SIZE, bold=bold) - GAP
    return [
        Text((0, y - 5), fitted(label, room, SIZE, bold=bold), SIZE, bold),
        Text((WIDTH, y - 5), shown, SIZE, bold, "end"),
    ]


def _drawing(spans: Sequence[Span], title: str, description: str) -> Drawing:
    ends = [0, *(end for span in spans for end in (span.start, span.end))]
    low, high = min(ends), max(ends)
    scale = (WIDTH - 2) / max(high - low, 1)
    height = ROW * max(len(spans), 1)
    shapes: list[Shape] = []
    for at, span in enumerate(spans):
        y = at * ROW + WORDS
        x = (min(span.start, span.end) - low) * scale
        length = max(abs(span.end - span.start) * scale, 1)
        shapes += words_above(span.label, span.shown, y, bold=span.is_sum)
        shapes += [
            Box((0, y), WIDTH, BAR, Tone.WASH, None),
            Box((x, y), length, BAR, span.tone, None),
        ]
    zero = -low * scale
    shapes.append(Line((zero, WORDS - 2), (zero, height - 4), Tone.INK, 0.8))
    return Drawing(WIDTH, height, tuple(shapes), title, description)
