"""Draw steps down to zero: each bar begins where the last one ended."""

from collections.abc import Sequence

from farm.reports.drawing import Box, Drawing, Line, Shape, Text, Tone, fitted, room_for

# As narrow as a phone, so that the words keep their size on it; they stand above their bar.
WIDTH, ROW, BAR = 320.0, 36.0, 12.0
SIZE, GAP = 11.0, 10.0


def falling(
    labels: Sequence[str],
    spans: Sequence[tuple[int, int]],
    words: Sequence[str],
    *,
    title: str,
) -> Drawing:
    """Draw one bar a step from what was there before it to what is left after it.

    ``words`` say each step's amount as the table beside prints it. What comes in is dark, what
    goes out is light; the words have their sign as well.
    """
    ends = [0, *(end for span in spans for end in span)]
    low, most = min(ends), max(ends)
    scale = (WIDTH - 2) / max(most - low, 1)
    height = ROW * max(len(labels), 1)
    shapes: list[Shape] = []
    for at, (label, (before, after), word) in enumerate(zip(labels, spans, words, strict=True)):
        bar = at * ROW + 17
        x = (min(before, after) - low) * scale
        fill = Tone.ACCENT if after >= before else Tone.SOFT
        room = WIDTH - room_for(word, SIZE) - GAP
        shapes += [
            Text((0, bar - 5), fitted(label, room, SIZE), SIZE),
            Text((WIDTH, bar - 5), word, SIZE, anchor="end"),
            Box((0, bar), WIDTH, BAR, Tone.WASH, None),
            Box((x, bar), max(abs(after - before) * scale, 1), BAR, fill, None),
        ]
    zero = -low * scale
    shapes.append(Line((zero, 15), (zero, height - 4), Tone.INK, 0.8))
    said = "; ".join(f"{label} {word}" for label, word in zip(labels, words, strict=True))
    return Drawing(WIDTH, height, tuple(shapes), title, f"{said or 'Nothing to show'}.")
