"""Work out the temperature of steam and how much killing a run did.

All of it holds for saturated steam without air. Trapped air keeps the gauge where it is and the
temperature below what is worked out here, and the middle of a block lags behind the steam around
it: a temperature measured in the middle of the load always beats a worked-out one.

A pressure vessel stands under local code, its maker's plate and licensed practice. Nothing here
says that a pressure is safe to set, or that a run has made anything sterile.

This is physics and not the book, so floats are used.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from farm.units import UnitError

SEA_LEVEL_KPA = 101.325
LOWEST_M, HIGHEST_M = -500, 11_000
TRIPLE_POINT_KPA, CRITICAL_POINT_KPA = 0.6117, 22_064
T_REF_C = 121.1
Z_C = 10.0

# Coefficients n1 to n10 of the saturation line (region 4), IAPWS-IF97, table 34.
_N = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)


@dataclass(frozen=True)
class Lethality:
    """Minutes at the reference temperature that would have killed as much; kept with its basis.

    A number without its reference means little: 15 minutes at 111 °C are 1.50 at 121.0 °C and
    1.47 at 121.1 °C.
    """

    minutes: float
    t_ref_c: float
    z_c: float


def steam_temperature_c(gauge_kpa: float, altitude_m: float) -> float:
    """Return the temperature of air-free saturated steam at a gauge pressure and an altitude.

    A gauge shows what is above the air outside, and there is less of that on a mountain:
    15 psi (103.42 kPa) is 121.0 °C by the sea and 118.3 °C at 1500 m.
    """
    if gauge_kpa < 0:
        raise UnitError(f"A gauge at {gauge_kpa} kPa shows no pressure: type 0 or more.")
    return saturation_temperature_c(air_pressure_kpa(altitude_m) + gauge_kpa)


def air_pressure_kpa(altitude_m: float) -> float:
    """Return the pressure of the standard atmosphere (ISA), from 500 m below the sea to 11 km."""
    if not LOWEST_M <= altitude_m <= HIGHEST_M:
        raise UnitError(f"{altitude_m} m is no altitude of a farm: type metres above the sea.")
    return SEA_LEVEL_KPA * float((1 - 0.0065 * altitude_m / 288.15) ** 5.25588)


def saturation_temperature_c(pressure_kpa: float) -> float:
    """Return the boiling point of water at an absolute pressure: IAPWS-IF97, equation 31."""
    if not TRIPLE_POINT_KPA < pressure_kpa < CRITICAL_POINT_KPA:
        raise UnitError(f"Water has no boiling point at {pressure_kpa} kPa: check the unit.")
    n1, n2, n3, n4, n5, n6, n7, n8, n9, n10 = _N
    beta = float((pressure_kpa / 1_000) ** 0.25)
    e = beta**2 + n3 * beta + n6
    f = n1 * beta**2 + n4 * beta + n7
    g = n2 * beta**2 + n5 * beta + n8
    d = 2 * g / (-f - math.sqrt(f**2 - 4 * e * g))
    kelvin = (n10 + d - math.sqrt((n10 + d) ** 2 - 4 * (n9 + n10 * d))) / 2
    return kelvin - 273.15


def lethal_rate(temperature_c: float, t_ref_c: float = T_REF_C, z_c: float = Z_C) -> float:
    """Return how fast a temperature kills, against the reference: 120 °C is 0.776 of 121.1 °C.

    `z_c` is the rise that makes it ten times as fast.
    """
    if z_c <= 0:
        raise UnitError(f"z is {z_c} °C and must be above zero: 10 is usual.")
    return float(10 ** ((temperature_c - t_ref_c) / z_c))


def held(
    minutes: float, temperature_c: float, *, t_ref_c: float = T_REF_C, z_c: float = Z_C
) -> Lethality:
    """Return the lethality of minutes held at one temperature, heating and cooling left out."""
    if minutes < 0:
        raise UnitError(f"{minutes} minutes is below zero: type how long the heat was held.")
    return Lethality(minutes * lethal_rate(temperature_c, t_ref_c, z_c), t_ref_c, z_c)


def from_readings(
    readings: Sequence[tuple[float, float]], *, t_ref_c: float = T_REF_C, z_c: float = Z_C
) -> Lethality:
    """Return the lethality of a run from (minute, temperature) readings in order of time.

    Between two readings the lethal rates are joined by a straight line (the trapezoid rule).
    On a steep climb that says more than there was, so read often where it climbs:
    a rate of 0.1 and then 1.0 ten minutes later counts 5.5, and was 3.9 if the climb was even.
    """
    done = course(readings, t_ref_c=t_ref_c, z_c=z_c)
    return Lethality(done[-1] if done else 0.0, t_ref_c, z_c)


def course(
    readings: Sequence[tuple[float, float]], *, t_ref_c: float = T_REF_C, z_c: float = Z_C
) -> list[float]:
    """Return the lethality that was reached at each reading, the first being none."""
    killed = [0.0] if readings else []
    for (start, start_c), (end, end_c) in pairwise(readings):
        if end < start:
            raise UnitError(
                f"The reading at minute {end} follows one at {start}: put the readings in order."
            )
        rates = lethal_rate(start_c, t_ref_c, z_c) + lethal_rate(end_c, t_ref_c, z_c)
        killed.append(killed[-1] + (end - start) * rates / 2)
    return killed
