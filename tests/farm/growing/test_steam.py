"""Steam at a pressure and a height, and how much a run kills, against steam tables."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from farm import steam
from farm.units import UnitError, read_pressure

KPA_PER_PSI = 6.894757293168
M_PER_FOOT = 0.3048


@pytest.mark.parametrize("pressure_kpa", range(60, 401, 10))
def test_the_boiling_point_agrees_with_the_reference_library(pressure_kpa: int) -> None:
    # IAPWS-IF97 as the iapws library works it out, on the saturation line.
    iapws = pytest.importorskip("iapws", reason="iapws comes with the test extra")
    expected_c = iapws.IAPWS97(P=pressure_kpa / 1_000, x=1).T - 273.15
    assert steam.saturation_temperature_c(pressure_kpa) == pytest.approx(expected_c, abs=0.01)


@pytest.mark.parametrize(
    ("pressure_kpa", "expected_k"),
    [(100, 372.755919), (1_000, 453.035632), (10_000, 584.149488)],
)
def test_the_boiling_point_as_the_release_prints_it(pressure_kpa: int, expected_k: float) -> None:
    # IAPWS-IF97 release, table 36, program check of equation 31; from memory.
    boiling_c = steam.saturation_temperature_c(pressure_kpa)
    assert boiling_c + 273.15 == pytest.approx(expected_k, abs=1e-6)


@pytest.mark.parametrize(
    ("altitude_ft", "air_kpa", "boiling_c", "at_10_psi_c", "at_15_psi_c", "psi_for_121"),
    [
        (0, 101.33, 99.97, 115.20, 120.95, 15.14),
        (1_000, 97.72, 98.96, 114.54, 120.39, 15.66),
        (2_000, 94.21, 97.95, 113.89, 119.84, 16.17),
        (3_000, 90.81, 96.93, 113.25, 119.29, 16.66),
        (4_000, 87.51, 95.92, 112.62, 118.75, 17.14),
        (5_000, 84.31, 94.90, 112.00, 118.22, 17.61),
        (5_280, 83.43, 94.62, 111.82, 118.07, 17.73),
        (6_000, 81.20, 93.89, 111.38, 117.70, 18.06),
        (7_000, 78.19, 92.87, 110.77, 117.19, 18.49),
        (8_000, 75.26, 91.85, 110.17, 116.69, 18.92),
        (10_000, 69.68, 89.81, 109.00, 115.71, 19.73),
    ],
)
def test_the_same_gauge_is_cooler_on_a_mountain(  # one row is one altitude
    altitude_ft: int,
    air_kpa: float,
    boiling_c: float,
    at_10_psi_c: float,
    at_15_psi_c: float,
    psi_for_121: float,
) -> None:
    # Worked with iapws and a second library on the ISA pressure (101.325 kPa at sea level).
    altitude_m = altitude_ft * M_PER_FOOT

    def at(psi: float) -> float:
        return steam.steam_temperature_c(psi * KPA_PER_PSI, altitude_m)

    assert steam.air_pressure_kpa(altitude_m) == pytest.approx(air_kpa, abs=0.006)
    assert at(0) == pytest.approx(boiling_c, abs=0.01)
    assert at(10) == pytest.approx(at_10_psi_c, abs=0.01)
    assert at(15) == pytest.approx(at_15_psi_c, abs=0.01)
    assert at(psi_for_121) == pytest.approx(121.1, abs=0.01)


@pytest.mark.parametrize(
    ("altitude_m", "air_pa"),
    # ISO 2533:1975 (ICAO Doc 7488 is the same below 32 km), pressure by geopotential altitude;
    # the printed figures from memory.
    [
        (-500, 107_478),
        (0, 101_325),
        (500, 95_461),
        (1_000, 89_875),
        (1_500, 84_556),
        (2_000, 79_495),
        (3_000, 70_108),
        (4_000, 61_640),
        (5_000, 54_020),
        (11_000, 22_632),
    ],
)
def test_the_air_is_that_of_the_standard_atmosphere(altitude_m: int, air_pa: int) -> None:
    assert steam.air_pressure_kpa(altitude_m) * 1_000 == pytest.approx(air_pa, abs=2)


@pytest.mark.parametrize("altitude_m", range(-400, 5_501, 300))
def test_the_air_by_the_gas_law_itself(altitude_m: int) -> None:
    """A second way: hydrostatic equilibrium, stepped through metre by metre, no closed formula."""
    # g0 9.80665 m/s2 and M/R = 1 / 287.05287 as in ISO 2533; 288.15 K less 6.5 K a km.
    pressure, step = 101_325.0, 1 if altitude_m > 0 else -1
    for metre in range(0, altitude_m, step):
        kelvin = 288.15 - 0.0065 * (metre + step / 2)
        slope = -9.80665 / 287.05287 / kelvin
        pressure *= (1 + slope * step / 2) / (1 - slope * step / 2)
    assert steam.air_pressure_kpa(altitude_m) * 1_000 == pytest.approx(pressure, abs=1)


@pytest.mark.parametrize(
    ("pressure_kpa", "boiling_c"),
    # Saturated steam as textbooks print it (Cengel and Boles, table A-5), from memory.
    [
        (75, 91.76),
        (100, 99.61),
        (101.325, 99.97),
        (125, 105.97),
        (150, 111.35),
        (175, 116.04),
        (200, 120.21),
        (225, 123.97),
        (250, 127.41),
        (275, 130.58),
        (300, 133.52),
    ],
)
def test_the_boiling_point_as_steam_tables_print_it(pressure_kpa: float, boiling_c: float) -> None:
    # 75 kPa: printed by the older IAPWS formulation, 91.76.
    assert steam.saturation_temperature_c(pressure_kpa) == pytest.approx(boiling_c, abs=0.012)


@pytest.mark.parametrize("altitude_m", [0, 500, 1_500, 2_500])
@pytest.mark.parametrize(
    "typed", ["5 psi", "15 psi", "18 psi", "103.4 kPa", "140 kPa", "0.2 bar", "1.03 bar"]
)
def test_a_typed_gauge_agrees_with_the_reference_library(typed: str, altitude_m: int) -> None:
    iapws97 = pytest.importorskip("iapws.iapws97", reason="iapws comes with the test extra")
    # The barometric formula of ISO 2533, and pounds by 6.894757 kPa.
    amount, unit = typed.split()
    gauge_kpa = float(amount) * {"psi": 6.894757, "kPa": 1, "bar": 100}[unit]
    exponent = 9.80665 / (287.05287 * 0.0065)
    air_kpa = 101.325 * (1 - 0.0065 * altitude_m / 288.15) ** exponent
    expected_c = iapws97._TSat_P((air_kpa + gauge_kpa) / 1_000) - 273.15
    found_c = steam.steam_temperature_c(read_pressure(typed, "kPa") / 1_000, altitude_m)
    assert found_c == pytest.approx(expected_c, abs=0.001)


def test_ten_and_a_half_pounds_is_240_fahrenheit() -> None:
    # USDA home canning as quoted by Missouri Extension: 10.5 lb corresponds to 240 F.
    fahrenheit = steam.steam_temperature_c(10.5 * KPA_PER_PSI, 0) * 9 / 5 + 32
    assert fahrenheit == pytest.approx(240, abs=0.6)


@pytest.mark.parametrize(
    ("altitude_m", "expected_c"),
    [(0, 121.0), (1_000, 119.1), (1_500, 118.3), (2_000, 117.4), (2_500, 116.6)],
)
def test_fifteen_psi_by_metres(altitude_m: int, expected_c: float) -> None:
    # Common practice, no source; worked with steam tables, printed to 0.1.
    found_c = steam.steam_temperature_c(15 * KPA_PER_PSI, altitude_m)
    assert found_c == pytest.approx(expected_c, abs=0.06)


@pytest.mark.parametrize(
    ("temperature_c", "expected"),
    [
        (100, 0.0078),
        (105, 0.0245),
        (110, 0.0776),
        (115, 0.2455),
        (118, 0.4898),
        (120, 0.7762),  # an FAO-derived table prints 0.776
        (121.1, 1.0),
        (122, 1.2303),
        (125, 2.4547),
    ],
)
def test_the_lethal_rate(temperature_c: float, expected: float) -> None:
    # 10 ^ ((T - 121.1) / 10).
    assert steam.lethal_rate(temperature_c) == pytest.approx(expected, abs=0.00005)


@pytest.mark.parametrize(
    ("temperature_c", "expected"), [(121.0, 15.0), (111.0, 1.5), (124.0, 29.9)]
)
def test_fifteen_minutes_held(temperature_c: float, expected: float) -> None:
    # A published worked example of F0 against 121.0: 15 and 1.5 printed, 29.9 worked out.
    found = steam.held(15, temperature_c, t_ref_c=121.0)
    assert found.minutes == pytest.approx(expected, abs=0.05)


def test_a_lethality_states_what_it_was_worked_against() -> None:
    found = steam.held(15, 111.0, t_ref_c=121.11)
    assert (found.t_ref_c, found.z_c) == (121.11, 10.0)
    assert found.minutes == pytest.approx(1.46, abs=0.005)


def test_readings_are_joined_by_straight_lines() -> None:
    # Rates 0.1, 1, 1, 0.1: 10 x 0.55 + 15 x 1 + 10 x 0.55 = 26.
    run = [(0.0, 111.1), (10.0, 121.1), (25.0, 121.1), (35.0, 111.1)]
    assert steam.from_readings(run).minutes == pytest.approx(26.0)


def test_one_reading_or_none_has_killed_nothing_yet() -> None:
    assert steam.from_readings([]).minutes == 0
    assert steam.from_readings([(0.0, 121.1)]).minutes == 0


def test_it_refuses_readings_out_of_order() -> None:
    with pytest.raises(UnitError, match="put the readings in order"):
        steam.from_readings([(10.0, 121.1), (0.0, 121.1)])


@given(
    st.floats(min_value=0, max_value=600),
    st.floats(min_value=60, max_value=140),
    st.integers(min_value=1, max_value=20),
)
def test_steady_readings_kill_as_much_as_the_heat_held(
    minutes: float, temperature_c: float, steps: int
) -> None:
    readings = [(minutes * step / steps, temperature_c) for step in range(steps + 1)]
    expected = steam.held(minutes, temperature_c).minutes
    assert steam.from_readings(readings).minutes == pytest.approx(expected)


def test_it_refuses_what_physics_does_not_know() -> None:
    with pytest.raises(UnitError, match="shows no pressure"):
        steam.steam_temperature_c(-1, 0)
    with pytest.raises(UnitError, match="no altitude of a farm"):
        steam.air_pressure_kpa(20_000)
    with pytest.raises(UnitError, match="no boiling point"):
        steam.saturation_temperature_c(0.1)
    with pytest.raises(UnitError, match="must be above zero"):
        steam.lethal_rate(121.1, z_c=0)
    with pytest.raises(UnitError, match="below zero"):
        steam.held(-1, 121.1)
