"""A steriliser run's readings as rows: what was measured beside what steam would be, F0, gaps."""

from datetime import timedelta

from farm import habits
from farm.habits import to_places
from farm.models import Farm
from farm.queries.records.run_readings import GAP, Point, RunCourse
from farm.readings import in_fahrenheit
from farm.reports.curves import run_curve
from farm.reports.rows import Column, Content, Kind, Row, Table
from farm.templatetags.farm_format import pressure_unit, temperature_unit
from farm.units import show_pressure

RUN_CAUTION = (
    "F0 is arithmetic from the readings and where the probe was: the middle of a load lags behind "
    "the steam around it, and trapped air keeps it cooler. The record informs and does not "
    "certify: it does not say that a load is sterile."
)

MOST_ABOVE_C = 1.0  # what two instruments may differ by; common practice, no source


def run_content(course: RunCourse, farm: Farm) -> Content:
    """The curve of a run, what it came to, its gaps and its readings."""
    tables = (_summary(course, farm), _gaps(course), _readings(course, farm))
    return Content(tables, (run_curve(course, temperature_unit(farm)),))


def minutes(length: timedelta) -> str:
    return f"{length.total_seconds() / 60:.0f}"


def _summary(course: RunCourse, farm: Farm) -> Table:
    """What a run came to; F0 never without its reference temperature and z."""
    kept, killed = course.readings, course.lethality
    rows = (
        ("F0", f"{to_places(killed.minutes, 2)} minutes"),
        ("Reference", _both(killed.t_ref_c)),
        ("z", f"{to_places(killed.z_c, 1)} °C · {to_places(killed.z_c * 1.8, 1)} °F"),
        ("Hottest reading", _both(course.hottest_c)),
        ("Probe", kept.probe),
        ("Readings", f"{len(course.points)}, {kept.source}, in {kept.stated_in}"),
        ("Altitude", f"{course.altitude_m} m above the sea"),
        ("Lag behind steam", _lag(course)),
        (
            "Signed",
            f"{kept.initials}, {habits.short_moment(kept.recorded_at.astimezone(farm.zone))}",
        ),
    )
    title = f"Run {kept.entry_id}, begun {habits.moment(course.points[0].at)}"
    return Table(title, (Column("What"), Column("Value")), rows, note=RUN_CAUTION)


def _both(celsius: float) -> str:
    return f"{to_places(celsius, 1)} °C · {to_places(celsius * 1.8 + 32, 1)} °F"


def _lag(course: RunCourse) -> str:
    """Say how far the hottest measured point stayed below steam at the gauge it had then."""
    paired = [point for point in course.points if point.steam_c is not None]
    if not paired:
        return "not known: no pressure was read"
    hottest = max(paired, key=lambda point: point.measured_c)
    assert hottest.steam_c is not None  # only such points are among them
    lag_c = hottest.steam_c - hottest.measured_c
    if lag_c < -MOST_ABOVE_C:
        return (
            f"none: {to_places(-lag_c, 1)} °C hotter than steam without air can be at that "
            "gauge. Check the thermometer and the gauge."
        )
    return (
        f"{to_places(max(lag_c, 0.0), 1)} °C at the hottest reading: steam without air would be "
        f"{to_places(hottest.steam_c, 1)} °C there"
    )


def _gaps(course: RunCourse) -> Table:
    return Table(
        "Gaps in the readings",
        (Column("From", Kind.DATE), Column("To", Kind.DATE), Column("Minutes", Kind.COUNT)),
        tuple(
            (before, after, round((after - before).total_seconds() / 60))
            for before, after in course.gaps
        ),
        note=f"Nothing read for more than {minutes(GAP)} minutes; across a gap F0 is only a guess.",
    )


def _readings(course: RunCourse, farm: Farm) -> Table:
    unit = Kind.CELSIUS if temperature_unit(farm) == "C" else Kind.FAHRENHEIT
    return Table(
        "Readings",
        (
            Column("Time", Kind.DATE),
            Column("Minute", Kind.TEXT),
            Column("Measured", unit),
            Column(f"Gauge, {pressure_unit(farm)}"),
            Column("Saturated steam", unit),
            Column("Lethal rate"),
            Column("F0 so far, min"),
        ),
        tuple(_reading(point, unit, farm) for point in course.points),
        note="Saturated steam: without air, at the gauge and the altitude; measured beats it.",
    )


def _reading(point: Point, unit: Kind, farm: Farm) -> Row:
    pressed = pressure_unit(farm)
    gauge = "" if point.gauge_pa is None else show_pressure(point.gauge_pa, pressed)
    return (
        point.at,
        to_places(point.minute, 1),
        _in_unit(point.measured_c, unit),
        gauge.removesuffix(pressed).strip(),
        None if point.steam_c is None else _in_unit(point.steam_c, unit),
        to_places(point.rate, 4),
        to_places(point.killed, 2),
    )


def _in_unit(celsius: float, unit: Kind) -> int:
    milli_c = round(celsius * 1_000)
    return in_fahrenheit(milli_c) if unit is Kind.FAHRENHEIT else milli_c
