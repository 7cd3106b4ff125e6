"""Logger files as many programs write them: heads, dates and counts told, asked, never guessed.

The files are made up here: heads are ordinary words of the four languages, times those of a run
on 7 September 2026, 14:00.
"""

import json
from datetime import datetime, timedelta
from itertools import pairwise
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from hypothesis import example, given
from hypothesis import strategies as st

from farm.actions.growing.runs import run_of
from farm.actions.records.run_readings import Source, attach_readings
from farm.actions.signing import Signed
from farm.logger_file import ColumnQuestion, CountQuestion
from farm.logger_lines import ReadingsError
from farm.models import RunReadings
from farm.queries.records.run_readings import readings_of
from farm.readings import Found, Reading, Units, read_readings
from ledger.errors import Malformed
from ledger.models import Entry
from tests.conftest import signed_in
from tests.farm.world import World, filled_bags

START = datetime(2026, 9, 7, 14, tzinfo=ZoneInfo("UTC"))
METRIC = Units("C", "kPa")
EXPECTED = [(0.0, 20_000, None), (1.5, 30_500, None)]


def found(
    text: str, units: Units = METRIC, *, counts: str = "", column: int | None = None
) -> Found:
    return read_readings(text, units, START, counts=counts, column=column, is_typed=False)


def read(text: str, counts: str = "", column: int | None = None) -> list[object]:
    """Minutes from 14:00, thousandths of a degree, pascals."""
    readings = found(text, counts=counts, column=column).readings
    return [((r.at - START).total_seconds() / 60, r.milli_c, r.gauge_pa) for r in readings]


# --- what times count ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("head", "first", "second"),
    [
        ("Time (s)", "0", "90"), ("Zeit [s]", "0", "90,0"), ("Temps (s)", "0", "90"),
        ("Tiempo (s)", "0", "90"), ("Seconds", "0", "90"), ("Sekunden", "0", "90"),
        ("t / s", "0", "90"), ("Segundos", "0", "90"), ("Zeit in Sekunden", "0", "90"),
        ("Time (min)", "0", "1.5"), ("Minuten", "0", "1,5"), ("Minutes écoulées", "0", "1.5"),
        ("Minutos", "0", "1.5"), ("elapsed min", "0.0", "1.50"),
        ("Time (h)", "0", "0.025"), ("Stunden", "0", "0,025"), ("Heures", "0", "0.025"),
        ("Time (ms)", "0", "90000"), ("Zeit (hh:mm:ss)", "14:00:00", "14:01:30"),
        ("Uhrzeit", "14:00", "14:01:30"), ("Heure", "14h00", "14:01:30"), ("Hora", "14:00:00",
                                                                          "14:01:30"),
        ("Elapsed", "0:00:00", "0:01:30"), ("Dauer", "00:00:00", "00:01:30"),
        ("Time", "2:00:00 PM", "2:01:30 pm"), ("Hora", "2:00:00 p. m.", "2:01:30 p.m."),
        ("Time", "14:00:00.000", "14:01:30.000"), ("Zeit", "14:00:00,000", "14:01:30,000"),
        ("Time", "14:00:00:000", "14:01:30:000"),
    ],
)  # fmt: skip
def test_times_count_what_the_head_says(head: str, first: str, second: str) -> None:
    assert read(f"{head};Temperature\n{first};20\n{second};30.5") == EXPECTED


@pytest.mark.parametrize(("counts", "second"), [("s", "90"), ("min", "1.5"), ("h", "0.025")])
def test_plain_numbers_without_a_word_are_asked_about_and_then_read(
    counts: str, second: str
) -> None:
    for head in ("Time;Temp\n", "Heure;Température\n", ""):
        with pytest.raises(CountQuestion, match="Choose seconds, minutes or hours"):
            read(f"{head}0;20\n{second};30.5")
        assert read(f"{head}0;20\n{second};30.5", counts=counts) == EXPECTED


def test_a_choice_against_the_head_is_refused() -> None:
    with pytest.raises(ReadingsError, match="head says that times are in seconds, and minutes"):
        read("Time (s);Temp\n0;20\n90;30.5", counts="min")


def test_a_clock_that_begins_at_midnight_is_asked_about() -> None:
    text = "Zeit;Temperatur\n00:00:00;20\n00:01:30;30,5"
    with pytest.raises(CountQuestion, match="a clock at midnight, or time since the start"):
        read(text)
    assert read(text, counts="elapsed") == EXPECTED
    assert read(text, counts="clock")[0] == (-840.0, 20_000, None)


def test_parts_of_a_second_are_kept_in_their_order() -> None:
    text = "Time;Temp\n14:00:00.250;20\n14:00:00.750;21\n14:00:01;22"
    times = [reading.at - START for reading in found(text).readings]
    assert times == [timedelta(milliseconds=ms) for ms in (250, 750, 1000)]


# --- dates -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("2026-09-07 14:00", "2026-09-07 14:01:30"),
        ("2026-09-07T14:00:00Z", "2026-09-07T16:01:30+02:00"),
        ("2026/09/07 14:00:00.000", "2026/09/07 14:01:30.000"),
        ("07.09.2026 14:00", "07.09.2026 14:01:30"),
        ("7.9.26 14:00", "7.9.26 14:01:30"),
        ("07/09/2026 14:00", "07/09/2026 14:01:30"),  # day first, as the run is of 7 September
        ("09/07/2026 14:00", "09/07/2026 14:01:30"),  # month first, for the same reason
        ("9/7/2026 2:00:00 PM", "9/7/2026 2:01:30 PM"),
        ("07-09-2026 14:00", "07-09-2026 14:01:30"),
    ],
)
@pytest.mark.parametrize("head", ["Date Time;Temp °C\n", "Datum Uhrzeit;Temperatur °C\n", ""])
def test_days_first_and_months_first_are_told_by_the_run(
    head: str, first: str, second: str
) -> None:
    assert read(f"{head}{first};20\n{second};30.5") == EXPECTED
    assert read(f"1;{first};20\n2;{second};30.5") == EXPECTED


@pytest.mark.parametrize(
    "head",
    ["Date;Time;Temp", "Datum;Uhrzeit;Temperatur", "Date;Heure;Température",
     "Fecha;Hora;Temperatura"],
)  # fmt: skip
def test_a_date_and_a_clock_in_two_columns_are_one_time(head: str) -> None:
    assert read(f"{head}\n07/09/2026;14:00;20\n07/09/2026;14:01:30;30,5") == EXPECTED
    with_index = f"Nr.;{head}\n1;7.9.2026;14:00;20\n2;7.9.2026;14:01:30;30,5"
    assert read(with_index) == EXPECTED
    assert read("2026-09-07;14:00;20\n2026-09-07;14:01:30;30,5") == EXPECTED


def test_other_dates_of_the_file_tell_the_order() -> None:
    """A run over midnight: 13 can be no month, so 09/12 is the day before it."""
    start = START.replace(day=12)
    text = "Time,Temp\n09/12/2026 23:59,20\n09/13/2026 00:01,21"
    readings = read_readings(text, METRIC, start, is_typed=False).readings
    assert [r.at.day for r in readings] == [12, 13]


def test_dates_near_the_run_in_neither_order_are_refused() -> None:
    with pytest.raises(ReadingsError, match=r"neither 3 Feb 2026 nor 2 Mar 2026 near the run"):
        read("Time,Temp\n03/02/2026 14:00,20\n03/02/2026 14:05,21")
    with pytest.raises(ReadingsError, match="no order of day and month in common"):
        read("Time,Temp\n13/02/2026 14:00,20\n02/13/2026 14:05,21")


@pytest.mark.parametrize(
    ("time", "said"),
    [
        ("31.02.2026 14:00", "no day of the calendar"),
        ("0001-01-01 00:00", "of the year 1"),
        ("9999-12-31 23:59", "of the year 9999"),
        ("2026-09-07 25:00", "is not a time"),
        ("2026-09-07 14:00+99:00", "is not a time"),
        ("13:00 PM", "is not a time"),
        ("٣", "is not a time"),
        ("99999999999999999999", "is not a time"),
    ],
)
def test_what_is_no_time_is_named(time: str, said: str) -> None:
    with pytest.raises(ReadingsError, match=f"Line 3: .*{said}"):
        read(f"Time,Temp\n2026-09-07 14:00,20\n{time},21")


def test_numbers_longer_than_a_run_are_no_minutes() -> None:
    # 40,000 minutes are 27 days: a serial day, or seconds.
    with pytest.raises(ReadingsError, match="27 days after the start, longer than any run"):
        read("Minutes;Temp\n0;20\n40000;21")


# --- columns ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "columns"),
    [
        ("Time,Core °C,Chamber °C\n14:00,20,90\n14:01:30,30.5,99", [2, 3]),
        ("Zeit;Temperatur Kern;Temperatur Kammer\n14:00;20;90\n14:01:30;30,5;99", [2, 3]),
        ("Uhrzeit;Kern;Kammer\n;°C;°C\n14:00;20;90\n14:01:30;30,5;99", [2, 3]),
        ("Nr;Heure;Sonde 1;Sonde 2\n1;14:00;20;90\n2;14:01:30;30,5;99", [3, 4]),
        ("Hora;Temp. 1;Temp. 2;Presión (kPa)\n14:00;20;90;0\n14:01:30;30,5;99;0", [2, 3]),
    ],
)
def test_more_than_one_temperature_is_asked_about_and_never_guessed(
    text: str, columns: list[int]
) -> None:
    with pytest.raises(ColumnQuestion, match="2 columns of temperature") as question:
        read(text)
    assert [number for number, _ in question.value.columns] == columns
    chosen = [[row[1] for row in read(text, column=number)] for number in columns]  # type: ignore[index]
    assert chosen == [[20_000, 30_500], [90_000, 99_000]]
    with pytest.raises(ColumnQuestion):
        read(text, column=1)


def test_columns_that_nothing_names_are_refused_with_the_remedy() -> None:
    with pytest.raises(ReadingsError, match=r"no line that names them.*time;temperature;pressure"):
        read("14:00;20;90\n14:01;21;91")


def test_a_line_of_units_belongs_to_the_head() -> None:
    assert read("Zeit;Temperatur;Druck\ns;°C;kPa\n0;20;0\n90;30,5;0") == [
        (0.0, 20_000, 0), (1.5, 30_500, 0)
    ]  # fmt: skip


def test_what_stands_above_the_head_is_left_out() -> None:
    above = "sep=;\nStart time;2026-09-07 14:00\nTemp unit;°C;Time zone;UTC\n\n"
    assert read(f"{above}Date/Time;Temp °C\n2026-09-07 14:00;20\n2026-09-07 14:01:30;30.5") == (
        EXPECTED
    )


def test_temps_is_time_in_french_and_temperatures_in_english() -> None:
    assert read("Temps (min);Température\n0;20\n1,5;30,5") == EXPECTED
    assert read("Time (min);Temps\n0;20\n1.5;30.5") == EXPECTED


@pytest.mark.parametrize("footer", ["End of data", "Mittelwert;;118,2", ";Max;121,3", "Moyenne;99"])
def test_lines_below_the_readings_are_named(footer: str) -> None:
    kept = found(f"Zeit;Temp\n14:00;20\n14:01:30;30,5\n;;\n{footer}")
    assert len(kept.readings) == 2
    (said,) = kept.left_out
    assert said.startswith("line 5, “") and footer.strip(";").split(";")[0] in said


def test_a_last_line_that_may_be_a_reading_is_refused_and_not_left_out() -> None:
    with pytest.raises(ReadingsError, match="Line 4: “soon” is not a time"):
        read("Time;Temp\n14:00;20\n14:01;21\nsoon;30")


@pytest.mark.parametrize(
    ("head", "said"),
    [("Time;Temp °F", "°C is stated"), ("Time;Temp (F)", "°C is stated"),
     ("Time;Temp;Druck (bar)", "says “Druck .bar.” and kPa is stated"),
     ("Time;Temp;Pressure mbar", "kPa is stated"),
     ("Time;Temp;Druck oben;Druck unten", "names 2 columns of pressure")],
)  # fmt: skip
def test_a_head_in_another_unit_is_refused(head: str, said: str) -> None:
    with pytest.raises(ReadingsError, match=said):
        read(f"{head}\n14:00;20;1;1\n14:01;21;1;1")


def test_three_decimals_are_no_thousands() -> None:
    assert read("Time,Temp °C,kPa\n14:00,120.523,101.325\n14:01,121.004,101.500") == [
        (0.0, 120_523, 101_325), (1.0, 121_004, 101_500)
    ]  # fmt: skip


@pytest.mark.parametrize("cell", ["9" * 1_500, "9" * 200_000, '"' + "x" * 200_000, "\0" * 300,
                                  "1e400", "NaN", "Infinity", "-", "٣٤", "1" * 40 + "." + "1" * 40,
                                  "\ud800", "12 lb 99999999999999999999 oz"])  # fmt: skip
@pytest.mark.parametrize("at", [0, 1, 2])
def test_a_cell_of_any_size_gives_words(cell: str, at: int) -> None:
    cells = ["14:02", "21", "0"]
    cells[at] = cell
    for row in (";".join(cells), ",".join(cells), "\t".join(cells)):
        with pytest.raises(ReadingsError):
            read(f"Time;Temp;kPa\n14:00;20;0\n14:01;21;0\n{row}\n14:03;21;0")


CELLS = st.one_of(
    st.sampled_from(["Time", "Temp °C", "Zeit", "14:00", "14:05", "0", "20", "2026-09-07 14:00",
                     "07/09/2026", "Datum", "kPa", "°C", "s", "", "0001-01-01", "00:00:00"]),
    st.text(max_size=12),
    st.integers().map(str),
    st.floats().map(str),
    st.datetimes().map(str),
)  # fmt: skip


@given(
    st.lists(st.lists(CELLS, max_size=5), max_size=8),
    st.sampled_from(";,\t "),
    st.sampled_from(["", "s", "min", "h", "ms", "elapsed", "clock"]),
    st.one_of(st.none(), st.integers(-3, 9)),
    st.booleans(),
)
@example([["14:00", "20"], ["5", "21"]], ";", "", None, False)
def test_whatever_stands_in_a_file_gives_readings_or_words(
    rows: list[list[str]], mark: str, counts: str, column: int | None, is_typed: bool
) -> None:
    text = "\n".join(mark.join(cells) for cells in rows)
    try:
        kept = read_readings(
            text, METRIC, START, counts=counts, column=column, is_typed=is_typed
        ).readings
    except ReadingsError as refusal:
        assert str(refusal)
        return
    assert len(kept) >= 2
    assert all(before.at < after.at for before, after in pairwise(kept))


# --- kept with a run -------------------------------------------------------------------------


def the_run(world: World) -> Entry:
    run = run_of(filled_bags(world, 4))
    assert run
    return run


def attached(world: World, run: Entry, *hours: float) -> RunReadings:
    readings = [Reading(run.happened_at + timedelta(hours=hour), 100_000) for hour in hours]
    return attach_readings(
        Signed(world.owner, world.owner), run, readings=readings, uuid=uuid4(),
        source=Source(name="typed", units=METRIC, probe="core"),
    )  # fmt: skip


@pytest.mark.parametrize("hours", [(24, 26), (-24, -22), (13, 15), (-14, -12.5), (8_760, 8_762)])
def test_a_file_of_other_days_than_the_run_is_refused(
    world: World, hours: tuple[float, ...]
) -> None:
    run = the_run(world)
    with pytest.raises(Malformed, match=r"and the run is of 7 Sep 2026.*Choose the file of this"):
        attached(world, run, *hours)
    assert readings_of(run) == []


def test_a_run_of_the_evening_may_be_written_down_in_the_morning(world: World) -> None:
    assert attached(world, the_run(world), -14, -11.5)
    assert attached(world, the_run(world), 0, 30)  # a drum over night, with its cooling


def test_a_file_of_many_days_is_not_one_run(world: World) -> None:
    with pytest.raises(Malformed, match="6 days, longer than any run"):
        attached(world, the_run(world), -72, 80)


def sent(client: Client, run: Entry, content: str, **typed: str) -> str:
    file = SimpleUploadedFile("run.csv", content.encode())
    said = {"file": file, "temperature_in": "C", "pressure_in": "kPa", "probe": "core",
            "start": "2026-09-07T14:00", "reference_milli_c": "121.1", "z_milli_c": "10",
            "uuid": str(uuid4()), **typed}  # fmt: skip
    address = f"/entries/{run.seq}/readings/add/"
    return client.post(address, said, follow=True).content.decode()


def test_the_page_asks_which_column_and_what_times_count(world: World) -> None:
    run, client = the_run(world), signed_in(world.helper)
    file = "Zeit;Kern °C;Kammer °C\n0;20;90\n90;30,5;99\nMittelwert;25;95\n"
    asked = sent(client, run, file)
    assert "names 2 columns of temperature: “Kern °C”, “Kammer °C”" in asked
    assert '<option value="3">Kammer °C</option>' in asked
    again = sent(client, run, file, column="3")
    assert "no head says what they count" in again and 'name="column"' in again
    done = sent(client, run, file, column="3", counts="s")

    assert "2 readings are kept" in done and "Left out below them: line 4, “Mittelwert" in done
    assert [row[1] for row in json.loads(readings_of(run)[0].readings)] == [
        90_000, 99_000
    ]  # fmt: skip


def test_a_column_of_any_size_that_is_sent_gives_words(world: World) -> None:
    run, client = the_run(world), signed_in(world.helper)
    for column in ("x", "-1", "9" * 30, "NaN", "2.5", "\0"):
        page = sent(client, run, "Zeit;A °C;B °C\n14:00;20;90\n14:05;30;99\n", column=column)
        assert "columns of temperature" in page or 'class="errorlist"' in page
    assert readings_of(run) == []
