"""Curves over time: a run with its lethality, a store's temperature, the ratio of dryings.

Colour never carries meaning: curves differ in width and dashes, and each is named in words.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise
from math import ceil, dist, floor, log10

from farm import habits
from farm.queries.records.run_readings import RunCourse
from farm.queries.records.store_temperatures import StoreReading
from farm.reports.drawing import Drawing, Line, Point, Shape, Text, Tone

WIDTH, HEIGHT = 600.0, 280.0
LEFT, RIGHT, TOP, BOTTOM = 46.0, 546.0, 34.0, 222.0
SMALL = 10
TICKS = 6
DASH = 5.0
MOST_POINTS = 400  # more lines than dots across a page say nothing more


@dataclass(frozen=True)
class Scale:
    """From a value to a length along one side."""

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        part = (value - self.low) / (self.high - self.low)
        return self.start + part * (self.end - self.start)


def run_curve(course: RunCourse, unit: str) -> Drawing:
    """Draw a run: measured temperature, that of steam at its gauge, and lethality so far."""
    points = course.points
    minutes = Scale(0, max(points[-1].minute, 1), LEFT, RIGHT)
    measured = [(p.minute, degrees(p.measured_c, unit)) for p in points]
    steam = [(p.minute, degrees(p.steam_c, unit)) for p in points if p.steam_c is not None]
    heat = _scale([value for _, value in (*measured, *steam)])
    killed = Scale(0, _nice(max(course.lethality.minutes, 0.1)) * TICKS, BOTTOM, TOP)
    words = (
        f"F0 {course.lethality.minutes:.2f} min at {course.lethality.t_ref_c:.1f} °C, "
        f"z {course.lethality.z_c:.1f} °C"
    )
    shapes: list[Shape] = [
        *_frame(heat, f"°{unit}", along=minutes, words="minutes from the first reading"),
        *_right_side(killed, "F0, min"),
        *_path(measured, minutes, heat, tone=Tone.INK, width=1.6),
        *_path(steam, minutes, heat, tone=Tone.SOFT, width=1, dashed=True),
        *_path(
            [(p.minute, p.killed) for p in points], minutes, killed, tone=Tone.ACCENT, width=2.6
        ),
        *_gaps(course, minutes),
        *_key(
            [
                ("measured", Tone.INK, 1.6, False),
                *([("saturated steam at the gauge", Tone.SOFT, 1.0, True)] if steam else []),
                ("lethality so far (right)", Tone.ACCENT, 2.6, False),
            ]
        ),
    ]
    told = (
        f"Hottest reading {degrees(course.hottest_c, unit):.1f} °{unit}; {words}; "
        f"{len(course.gaps)} gaps."
    )
    return Drawing(WIDTH, HEIGHT, tuple(shapes), f"Temperature and lethality: {words}", told)


def store_curve(readings: Sequence[StoreReading], unit: str, *, name: str) -> Drawing:
    """Draw a store's readings with the limits that held at each; those outside are named."""
    times = [reading.at.timestamp() for reading in readings]
    first, last = min(times), max(times)
    along = Scale(first, max(last, first + 3_600), LEFT, RIGHT)
    read = [(at, degrees(r.milli_c / 1000, unit)) for at, r in zip(times, readings, strict=True)]
    high = [
        (at, degrees(r.high_milli_c / 1000, unit)) for at, r in zip(times, readings, strict=True)
    ]
    low = [
        (at, degrees(r.low_milli_c / 1000, unit))
        for at, r in zip(times, readings, strict=True)
        if r.low_milli_c is not None
    ]
    scale = _scale([value for _, value in (*read, *high, *low)])
    out = [point for point, r in zip(read, readings, strict=True) if r.is_out]
    shapes: list[Shape] = [
        *_frame(scale, f"°{unit}"),
        *_days(readings, along),
        *_path(high, along, scale, tone=Tone.SOFT, width=1, dashed=True),
        *_path(low, along, scale, tone=Tone.SOFT, width=1, dashed=True),
        *_path(read, along, scale, tone=Tone.INK, width=1.6),
        *[
            Text(
                (along.at(at), scale.at(value) - 4),
                "×",
                13,
                bold=True,
                anchor="middle",
                tone=Tone.ACCENT,
            )
            for at, value in out
        ],
        *_key([("read", Tone.INK, 1.6, False), ("limits", Tone.SOFT, 1.0, True)]),
    ]
    days = habits.days(readings[0].record.happened_on, readings[-1].record.happened_on)
    told = f"{len(readings)} readings, {days}; {len(out)} outside the limits (×)"
    return Drawing(WIDTH, HEIGHT, tuple(shapes), f"{name}: {told}", told)


def ratio_curve(ratios: Sequence[tuple[datetime, float]], median: float, *, name: str) -> Drawing:
    """Draw the fresh to dried ratio run by run (×), and the median of them all (dashes)."""
    points = [(at.timestamp(), ratio) for at, ratio in ratios]
    first, last = points[0][0], points[-1][0]
    along = Scale(first, max(last, first + 3_600), LEFT, RIGHT)
    scale = _scale([ratio for _, ratio in points])
    step = ceil(len(ratios) / TICKS)
    middle = [(along.low, median), (along.high, median)]
    shapes: list[Shape] = [
        *_frame(scale, "to 1"),
        *[
            Text(
                (along.at(at.timestamp()), BOTTOM + 15),
                f"{at:%d %b %y}",
                SMALL,
                anchor="middle",
                tone=Tone.SOFT,
            )
            for at, _ in ratios[::step]
        ],
        *_path(middle, along, scale, tone=Tone.SOFT, width=1, dashed=True),
        *[
            Text(
                (along.at(at), scale.at(ratio) + 4),
                "×",
                13,
                bold=True,
                anchor="middle",
                tone=Tone.ACCENT,
            )
            for at, ratio in points
        ],
        *_key([(f"median {median:.2f} to 1", Tone.SOFT, 1.0, True)]),
    ]
    told = f"{len(points)} runs (×), {min(r for _, r in points):.2f} to "
    told += f"{max(r for _, r in points):.2f} to 1, median {median:.2f}"
    return Drawing(WIDTH, HEIGHT, tuple(shapes), f"Fresh for one dried, {name}: {told}", told)


def degrees(celsius: float, unit: str) -> float:
    return celsius if unit == "C" else celsius * 9 / 5 + 32


def _frame(up: Scale, unit: str, *, along: Scale | None = None, words: str = "") -> Iterable[Shape]:
    for value in _ticks(up):
        y = up.at(value)
        yield Line((LEFT, y), (RIGHT, y), Tone.SOFT, 0.3)
        yield Text((LEFT - 5, y + 3), f"{value:g}", SMALL, anchor="end", tone=Tone.SOFT)
    yield Text((LEFT - 5, TOP - 10), unit, SMALL, anchor="end", tone=Tone.SOFT)
    yield Line((LEFT, BOTTOM), (RIGHT, BOTTOM), Tone.INK, 0.8)
    if along is not None:
        for value in _ticks(along):
            yield Text(
                (along.at(value), BOTTOM + 15), f"{value:g}", SMALL, anchor="middle", tone=Tone.SOFT
            )
        yield Text((RIGHT, BOTTOM + 27), words, SMALL, anchor="end", tone=Tone.SOFT)


def _right_side(scale: Scale, unit: str) -> Iterable[Shape]:
    for value in _ticks(scale):
        yield Text((RIGHT + 6, scale.at(value) + 3), f"{value:g}", SMALL, tone=Tone.ACCENT)
    yield Text((RIGHT + 6, TOP - 10), unit, SMALL, tone=Tone.ACCENT)


def _days(readings: Sequence[StoreReading], along: Scale) -> Iterable[Shape]:
    """Write a few days below the line, where a reading of that day stands."""
    seen: dict[date, datetime] = {}
    for reading in readings:
        seen.setdefault(reading.record.happened_on, reading.at)
    step = ceil(len(seen) / TICKS)
    for day, at in list(seen.items())[::step]:
        yield Text(
            (along.at(at.timestamp()), BOTTOM + 15),
            f"{day:%d %b}",
            SMALL,
            anchor="middle",
            tone=Tone.SOFT,
        )


def _gaps(course: RunCourse, along: Scale) -> Iterable[Shape]:
    """Mark below the line where nothing was read for too long."""
    start = course.points[0].at
    for before, after in course.gaps:
        ends = [along.at((at - start).total_seconds() / 60) for at in (before, after)]
        yield Line((ends[0], BOTTOM + 19), (ends[1], BOTTOM + 19), Tone.INK, 3)
        yield Text((ends[0], BOTTOM + 28), "no reading", SMALL)


def _path(
    points: Sequence[Point],
    along: Scale,
    up: Scale,
    *,
    tone: Tone,
    width: float,
    dashed: bool = False,
) -> Iterable[Shape]:
    """Draw a line from point to point; dashes run on across short pieces."""
    step = ceil(len(points) / MOST_POINTS) or 1
    thinned = [*points[:-1:step], *points[-1:]]
    run = 0.0
    for start, end in pairwise([(along.at(x), up.at(y)) for x, y in thinned]):
        length = dist(start, end)
        if not dashed or length > 2 * DASH:
            yield Line(start, end, tone, width, dashed)
        elif int(run / DASH) % 2 == 0:
            yield Line(start, end, tone, width)
        run += length


def _key(named: Sequence[tuple[str, Tone, float, bool]]) -> Iterable[Shape]:
    x = LEFT
    for words, tone, width, dashed in named:
        yield Line((x, HEIGHT - 12), (x + 26, HEIGHT - 12), tone, width, dashed)
        yield Text((x + 32, HEIGHT - 9), words, SMALL)
        x += 52 + 0.65 * SMALL * len(words)


def _scale(values: Sequence[float]) -> Scale:
    low, high = min(values), max(values)
    step = _nice(max(high - low, 1))
    return Scale(floor(low / step) * step, (floor(high / step) + 1) * step, BOTTOM, TOP)


def _ticks(scale: Scale) -> list[float]:
    step = _nice(scale.high - scale.low)
    first = ceil(scale.low / step)
    return [at * step for at in range(first, floor(scale.high / step + 1e-9) + 1)]


def _nice(size: float) -> float:
    """Return a step of 1, 2 or 5 times a power of ten that divides a size about six times."""
    rough = size / TICKS
    power = 10.0 ** floor(log10(rough))
    return next((times * power for times in (1, 2, 5) if times * power >= rough), 10 * power)
