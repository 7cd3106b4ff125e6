"""Logger files that lead astray: read right, asked about, or refused with what to do.

Made up here, as people and programs export a run of 7 September 2026, 14:00 in Berlin.
"""

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from farm.logger_file import CountQuestion
from farm.logger_lines import ReadingsError
from farm.readings import Units, decoded, read_readings

BERLIN = ZoneInfo("Europe/Berlin")
START = datetime(2026, 9, 7, 14, tzinfo=BERLIN)
EXPECTED = [(0.0, 20_500), (1.0, 21_000)]


def read(
    text: str,
    *,
    start: datetime = START,
    counts: str = "",
    degrees: str = "C",
    gauge: str = "kPa",
    is_typed: bool = False,
) -> list[tuple[float, int]]:
    """Minutes from the start, thousandths of a degree."""
    units = Units(degrees, gauge)
    found = read_readings(text, units, start, counts=counts, is_typed=is_typed).readings
    return [((r.at - start).total_seconds() / 60, r.milli_c) for r in found]


# --- read right ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        "Data;Ora;Temperatura (°C)\n07/09/2026;14:00:00;20,5\n07/09/2026;14:01:00;21,0",
        "Data e ora;Temperatura\n07/09/2026 14:00;20,5\n07/09/2026 14:01;21,0",
        "Tempo (s);Temperatura;Pressione (kPa)\n0;20,5;0\n60;21,0;1,0",
        "Secondi;Temperatura\n0;20,5\n60;21",
        "Minuti;Temperatura\n0;20,5\n1;21",
        "Tempo trascorso;Temperatura\n0:00:00;20,5\n0:01:00;21",
    ],
)
def test_italian_heads(text: str) -> None:
    assert read(text) == EXPECTED


def test_a_date_beside_the_clock_is_of_it_whatever_its_head() -> None:
    """Else a file of another year is taken for one of the run's day."""
    text = "Data;Hora;Temperatura\n07/09/{0};14:00;20.5\n07/09/{0};14:01;21"
    assert read(text.format(2026)) == EXPECTED
    with pytest.raises(ReadingsError, match="neither 7 Sep 2025 nor 9 Jul 2025"):
        read(text.format(2025))


@pytest.mark.parametrize(
    ("head", "hour"),
    # 14:00 in Berlin is 12:00 in UTC and 5:00 seven hours behind it, in September.
    [
        ("Date Time (UTC)", 12),
        ("Time, GMT+00:00", 12),
        ("Date Time, GMT-07:00", 5),
        ("Zeit UTC+2", 14),
        ("Date Time", 14),
    ],
)
def test_a_zone_that_the_head_states_is_the_zone_of_its_clock(head: str, hour: int) -> None:
    for day in ("2026-09-07 ", ""):
        text = f'"{head}";Temp\n{day}{hour:02}:00;20.5\n{day}{hour:02}:01;21'
        assert read(text) == EXPECTED


def test_a_zone_behind_the_clock() -> None:
    assert read("Time;Temp\n2026-09-07 12:00 UTC;20.5\n2026-09-07 12:01 GMT;21") == EXPECTED


def test_a_night_with_an_hour_twice() -> None:
    """25 October 2026: 3:00 is put back to 2:00, so that 2:00 comes 60 minutes after 2:00."""
    start = datetime(2026, 10, 25, 1, 30, tzinfo=BERLIN)
    clocks = ["01:30", "02:00", "02:30", "02:00", "02:30", "03:00"]
    for day in ("2026-10-25 ", ""):
        text = "Time;Temp\n" + "\n".join(f"{day}{clock};20" for clock in clocks)
        assert [minute for minute, _ in read(text, start=start)] == [0, 30, 60, 90, 120, 150]
    stated = ["02:30+02:00", "02:00+01:00", "02:30+01:00"]
    text = "Time;Temp\n" + "\n".join(f"2026-10-25 {clock};20" for clock in stated)
    assert [minute for minute, _ in read(text, start=start)] == [60, 90, 120]
    with pytest.raises(ReadingsError, match="what stands twice"):
        read("Time;Temp\n2026-10-25 02:30+02:00;20\n2026-10-25 02:30+02:00;20", start=start)


def test_a_date_that_reads_alike_both_ways_decides_nothing() -> None:
    start = datetime(2026, 8, 8, 23, 59, tzinfo=BERLIN)
    for second in ("08/09/2026", "09/08/2026"):
        text = f"Time,Temp\n08/08/2026 23:59,20.5\n{second} 00:00,21"
        assert read(text, start=start) == EXPECTED


@pytest.mark.parametrize("is_typed", [True, False])
def test_decimal_commas_between_blanks(*, is_typed: bool) -> None:
    assert read("14:00 20,5\n14:01 21,0", is_typed=is_typed) == EXPECTED


def test_commas_above_the_head_are_not_what_sets_cells_apart() -> None:
    above = "Ort: Halle, Nord\nSonde: A, lang\n"
    rows = "".join(f"14:{minute:02};{20 + minute},5\n" for minute in range(9))
    assert read(f"{above}Zeit;Temperatur °C\n{rows}")[8] == (8.0, 28_500)


@pytest.mark.parametrize("code", ["utf-16-le", "utf-16-be", "utf-16", "utf-8-sig"])
def test_every_code_of_a_text_is_told(code: str) -> None:
    content = "Zeit;Temperatur °C\r\n14:00;20,5\r\n14:01;21\r\n".encode(code)
    assert read(decoded(content)) == EXPECTED


def test_a_plus_before_a_temperature() -> None:
    assert read("Time;Temp\n14:00;+20.5\n14:01;+21.0") == EXPECTED


# --- minutes and seconds ---------------------------------------------------------------------


def test_a_head_that_says_minutes_and_seconds() -> None:
    text = "Elapsed (mm:ss);Temp\n00:00.0;20\n01:30.0;21\n120:00.0;22"
    assert [minute for minute, _ in read(text)] == [0, 1.5, 120]
    assert [m for m, _ in read("Dauer (hh:mm);Temp\n0:00;20\n1:30;21")] == [0, 90]


def test_two_numbers_since_the_start_are_asked_about() -> None:
    text = "Elapsed;Temp\n00:00;20\n01:30;21"
    with pytest.raises(CountQuestion, match="hours and minutes, or minutes and seconds"):
        read(text)
    assert [minute for minute, _ in read(text, counts="mm:ss")] == [0, 1.5]
    assert [minute for minute, _ in read(text, counts="elapsed")] == [0, 90]


def test_minutes_and_seconds_with_tenths_are_no_hours() -> None:
    """What a spreadsheet makes of 14:00:30.0 when it saves it: 00:30.0."""
    with pytest.raises(ReadingsError, match="is not a time"):
        read("Time;Temp\n00:30.0;20\n01:30.0;21", counts="clock")


# --- refused ---------------------------------------------------------------------------------


def test_a_comma_that_is_the_decimal_mark_too() -> None:
    """121,9 would be 121 °C, and 9 a humidity or a pressure."""
    for text in (
        "Time,Temp\n14:00,20,5\n14:01,121,9",
        "Time,Temp,RH\n14:00,20,5,40\n14:01,21,5,40",
    ):
        with pytest.raises(ReadingsError, match=r"Line 2 has . cells.*decimal mark too"):
            read(text)
    with pytest.raises(ReadingsError, match="is “5” a pressure, or what stands behind a decimal"):
        read("0,120,5\n1,121,0", is_typed=True)
    with pytest.raises(ReadingsError, match="Line 1 has 4 cells"):
        read("0,120,5,103\n1,121,0,103", is_typed=True)
    assert read("0,20.5,0\n1,21,0", is_typed=True) == EXPECTED
    assert read("0,20,0\n1,21,0", is_typed=True)[1] == (1.0, 21_000)
    assert read("0,20,0\n1,121,15", is_typed=True, gauge="psi")[1] == (1.0, 121_000)


@pytest.mark.parametrize(
    "head",
    [
        "Temp_degF",
        "Temp_F",
        "TempF",
        "Temperature (℉)",
        "Temp (deg F)",
        "Temperature ºF",
        "Temp [F]",
        "Fahrenheit",
    ],
)
def test_every_way_to_write_fahrenheit(head: str) -> None:
    with pytest.raises(ReadingsError, match="°C is stated"):
        read(f"Time,{head}\n14:00,70\n14:01,140")
    with pytest.raises(ReadingsError, match="°F is stated"):
        celsius = head.replace("F", "C").replace("℉", "℃").replace("Cahrenheit", "Celsius")
        read(f"Time,{celsius}\n14:00,70\n14:01,140", degrees="F")
    assert read(f"Time,{head}\n14:00,68\n14:01,140", degrees="F") == [(0, 20_000), (1, 60_000)]


def test_a_unit_above_the_head() -> None:
    text = "Serial: 44F\nUnit: Fahrenheit\nTime,Temp{}\n14:00,70\n14:01,140"
    with pytest.raises(ReadingsError, match="stands “Unit: Fahrenheit”, and °C is stated"):
        read(text.format(""))
    assert read(text.format(" °C"))[0] == (0, 70_000)
    assert read(text.format(""), degrees="F")[1] == (1, 60_000)


def test_kelvin() -> None:
    for head in ("Temperature (K)", "Temp [K]", "Temp kelvin"):
        with pytest.raises(ReadingsError, match="which is kelvin"):
            read(f"Time;{head}\n14:00;120\n14:01;121")


@pytest.mark.parametrize(
    "head",
    [
        "Pressure abs (kPa)",
        "P kPa(abs)",
        "Absolutdruck (kPa)",
        "Pression absolue (kPa)",
        "psia",
        "Presión absoluta",
        "Pressione assoluta",
        "Pressure bara",
        "bar(a)",
        "kPa a",
    ],
)
def test_pressure_with_the_air_in_it_is_no_gauge(head: str) -> None:
    """101 kPa of air would be taken for 101 kPa of steam above it: 120 °C at 20."""
    with pytest.raises(ReadingsError, match="which counts the air too"):
        read(f"Time;Temp;{head}\n14:00;20;101\n14:01;121;205")


@pytest.mark.parametrize("unit", ["MPa", "Pa", "inHg", "mmHg", "torr", "atm", "hPa"])
def test_pressure_in_a_unit_that_is_not_read(unit: str) -> None:
    with pytest.raises(ReadingsError, match="and kPa is stated"):
        read(f"Time;Temp;Pressure ({unit})\n14:00;20;0\n14:01;121;1")


@pytest.mark.parametrize("gap", ["---", "-", "NaN", "ERR", "error", "N/A", "#N/A", "", "null"])
def test_a_missing_reading_says_to_take_its_line_out(gap: str) -> None:
    with pytest.raises(ReadingsError, match=r"Line 3: No temperature stands there.*take the line"):
        read(f"Time;Temp;kPa\n14:00;20;0\n14:01;{gap};0\n14:02;21;0")
    if gap:
        with pytest.raises(ReadingsError, match=r"Line 3: No pressure stands there.*cell empty"):
            read(f"Time;Temp;kPa\n14:00;20;0\n14:01;21;{gap}\n14:02;21;0")


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (b"PK\x03\x04\x14\0\x06\0\x08", "spreadsheet"),
        (bytes.fromhex("d0cf11e0a1b11ae1"), "spread"),
        (b"%PDF-1.7\n%\xe2\xe3\xcf\xd3", "PDF"),
        (b"<html><td>14:00", "web page"),
        (b'[{"time": "14:00"}]', "JSON"),
    ],
)
def test_another_file_renamed_says_how_to_save_it(content: bytes, what: str) -> None:
    with pytest.raises(ReadingsError, match=f"The file is .*{what}.*save the readings as CSV"):
        read(decoded(content))
