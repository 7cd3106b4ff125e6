"""The readings of a steriliser run, and what is worked out from them: lethality, gaps, steam."""

import json
from dataclasses import dataclass
from datetime import datetime, timedelta

from farm.models import Farm, RunReadings
from farm.readings import gaps
from farm.steam import Lethality, course, lethal_rate, steam_temperature_c
from ledger.models import Entry

# Common practice, no source: a logger set to more than this misses a climb.
GAP = timedelta(minutes=5)


@dataclass(frozen=True)
class Point:
    """One reading, minutes from the first; ``steam_c``: saturated steam at its pressure.

    ``killed``: lethality reached so far, in minutes at the reference temperature.
    """

    minute: float
    at: datetime
    measured_c: float
    gauge_pa: int | None
    steam_c: float | None
    rate: float
    killed: float


@dataclass(frozen=True)
class RunCourse:
    readings: RunReadings
    points: tuple[Point, ...]
    lethality: Lethality
    gaps: tuple[tuple[datetime, datetime], ...]
    hottest_c: float
    altitude_m: int


def readings_of(entry: Entry) -> list[RunReadings]:
    """Every set kept of a run, the one that stands last."""
    return list(RunReadings.objects.filter(entry=entry).select_related("by").order_by("pk"))


def course_of(readings: RunReadings, farm: Farm) -> RunCourse:
    """Work out a run from its readings; 15 minutes at 111 °C are 1.5 at 121.0 °C."""
    rows: list[tuple[int, int, int | None]] = json.loads(readings.readings)
    reference_c, z_c = readings.reference_milli_c / 1000, readings.z_milli_c / 1000
    pairs = [(seconds / 60, milli_c / 1000) for seconds, milli_c, _ in rows]
    killed = course(pairs, t_ref_c=reference_c, z_c=z_c)
    start = readings.started_at.astimezone(farm.zone)
    points = tuple(
        Point(
            minute=minute,
            at=start + timedelta(seconds=row[0]),
            measured_c=degrees,
            gauge_pa=row[2],
            steam_c=None if row[2] is None else steam_temperature_c(row[2] / 1000, farm.altitude_m),
            rate=lethal_rate(degrees, reference_c, z_c),
            killed=so_far,
        )
        for row, (minute, degrees), so_far in zip(rows, pairs, killed, strict=True)
    )
    return RunCourse(
        readings=readings,
        points=points,
        lethality=Lethality(killed[-1], reference_c, z_c),
        gaps=tuple(gaps([point.at for point in points], GAP)),
        hottest_c=max(point.measured_c for point in points),
        altitude_m=farm.altitude_m,
    )
