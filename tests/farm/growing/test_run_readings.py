"""The readings of a run: typed or from a file, their errors by line, F0 with its reference."""

from datetime import UTC, datetime
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from farm.actions.growing.runs import run_of
from farm.actions.records.run_readings import Source, attach_readings
from farm.actions.signing import Signed
from farm.logger_lines import ReadingsError
from farm.models import RunReadings
from farm.queries.records.run_readings import RunCourse, course_of, readings_of
from farm.readings import Reading, Units, decoded, read_readings
from farm.reports.curves import run_curve
from farm.reports.records.run_rows import run_content
from ledger.errors import Conflict, Malformed
from ledger.models import Entry
from tests.conftest import signed_in
from tests.farm.world import World, filled_bags

START = datetime(2026, 9, 7, 14, tzinfo=UTC)
METRIC, CUSTOMARY = Units("C", "kPa"), Units("F", "psi")


def read(text: str, units: Units = METRIC) -> list[tuple[float, int, int | None]]:
    """Minutes from 14:00, thousandths of a degree, pascals."""
    found = read_readings(text, units, START).readings
    return [((r.at - START).total_seconds() / 60, r.milli_c, r.gauge_pa) for r in found]


def the_run(world: World) -> Entry:
    run = run_of(filled_bags(world, 4))
    assert run
    return run


def course(
    world: World, text: str, units: Units = METRIC, reference_milli_c: int = 121_100
) -> RunCourse:
    """Attach readings to a run and work them out."""
    kept = attach_readings(
        Signed(world.owner, world.owner),
        the_run(world),
        readings=read_readings(text, units, START).readings,
        uuid=uuid4(),
        source=Source(name="typed", units=units, probe="core", reference_milli_c=reference_milli_c),
    )
    return course_of(kept, world.farm)


# --- lethality -------------------------------------------------------------------------------


def test_fifteen_minutes_at_111_are_one_and_a_half_at_121(world: World) -> None:
    # Published worked case: 15 min at 111 °C, reference 121.0 °C, z 10 °C -> F0 1.5.
    found = course(world, "0 111\n15 111", reference_milli_c=121_000)

    assert found.lethality.minutes == pytest.approx(1.5)
    assert (found.lethality.t_ref_c, found.lethality.z_c) == (121.0, 10.0)


def test_another_reference_gives_another_f0(world: World) -> None:
    # 15 x 10^((111 - 121.1) / 10) = 1.466
    assert course(world, "0 111\n15 111").lethality.minutes == pytest.approx(1.466, abs=0.001)


def test_the_lethal_rate_at_120_is_that_of_the_published_table(world: World) -> None:
    # A table derived from FAO prints L(120) = 0.776 at 121.1 °C.
    assert course(world, "0 120\n1 120").points[0].rate == pytest.approx(0.776, abs=0.0005)


def test_lethality_adds_up_along_the_run(world: World) -> None:
    killed = [point.killed for point in course(world, "0 121.1\n5 121.1\n15 121.1").points]

    assert killed == pytest.approx([0, 5, 15])


def test_steam_at_the_gauge_stands_beside_what_was_measured(world: World) -> None:
    # 15 psig at sea level is 120.95 °C (IAPWS-97, from iapws and CoolProp).
    (first, _) = course(world, "0 248 15\n1 248 15", CUSTOMARY).points

    assert first.measured_c == pytest.approx(120.0)
    assert first.steam_c == pytest.approx(120.95, abs=0.01)


def test_steam_is_cooler_higher_up(world: World) -> None:
    world.farm.altitude_m = 1_609  # 5280 feet: 118.07 °C
    point = course(world, "0 248 15\n1 248 15", CUSTOMARY).points[0]

    assert point.steam_c == pytest.approx(118.07, abs=0.01)


@pytest.mark.parametrize(
    ("measured_c", "said"),
    # 100 kPa above the sea's air is 120.4 °C: 117.4 lags 3.0, 122.4 cannot be.
    [("117.4", "3.0 °C at the hottest reading"), ("122.4", "none: 2.0 °C hotter than steam")],
)
def test_a_core_lags_behind_the_steam_and_is_never_hotter(
    world: World, measured_c: str, said: str
) -> None:
    found = course(world, f"0 {measured_c} 100\n1 {measured_c} 100")
    rows = run_content(found, world.farm).tables[0].rows
    (lag,) = [str(row[1]) for row in rows if row[0] == "Lag behind steam"]

    assert lag.startswith(said)


def test_a_gap_is_longer_than_five_minutes(world: World) -> None:
    found = course(world, "0 100\n5 110\n11 115")

    assert [(f"{a:%H:%M}", f"{b:%H:%M}") for a, b in found.gaps] == [("16:05", "16:11")]


def test_the_curve_says_its_f0_and_reference(world: World) -> None:
    drawing = run_curve(course(world, "0 121.1 0\n15 121.1 0"), "C")

    assert drawing.title == ("Temperature and lethality: F0 15.00 min at 121.1 °C, z 10.0 °C")


# --- reading what loggers write --------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        "0 20\n1.5 30.5",
        "0,20\n1.5,30.5",
        "0;20\n1,5;30,5",
        "14:00:00\t20\n14:01:30\t30.5",
        "2026-09-07 14:00:00 20\n2026-09-07 14:01:30 30.5",
        "2026-09-07T14:00Z;20\n2026-09-07T16:01:30+02:00;30.5",
        "Serial,7\nNo.,Date Time,Temp °C\n1,2026-09-07 14:00,20\n2,2026-09-07 14:01:30,30.5",
    ],
)
def test_it_reads_the_ways_that_loggers_write(text: str) -> None:
    assert read(text) == [(0.0, 20_000, None), (1.5, 30_500, None)]


def test_units_are_stated_and_turned() -> None:
    # 250 °F is 121.111 °C; 15 psi is 103,421 Pa.
    assert read("0 250 15\n1 250 15", CUSTOMARY)[0] == (0.0, 121_111, 103_421)


def test_a_clock_that_falls_back_passed_midnight() -> None:
    assert [row[0] for row in read("23:58 20\n00:03 21")] == [598, 603]


def test_a_file_of_an_old_program_is_read() -> None:
    assert decoded("0;20 °C".encode("cp1252")) == "0;20 °C"
    assert decoded("0;20 °C".encode("utf-16")) == decoded("0;20 °C".encode("utf-8-sig"))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("0 20\nsoon 30", "Line 2: “soon” is not a time"),
        ("0 20\n\n1 hot", 'Line 3: "hot" cannot be read as a temperature'),
        ("0 20\n1", "Line 2: No temperature stands there: take the line out"),
        ("5 20\n5 30", "Line 2: 14:05:00 is not after 14:05:00"),
        ("0 20\n1 250", "Line 2: 250 is 250 °C, which no steriliser reaches: check the unit"),
        ("0 20 1\n1 30 x", 'Line 2: "x" cannot be read as a pressure'),
        ("Time,Temp °F\n0,68\n1,70", "Line 1: the column says “Temp °F” and °C is stated"),
        ("0 20", "1 readings: two or more are needed"),
        ("", "0 readings"),
    ],
)
def test_an_error_names_its_line(text: str, said: str) -> None:
    with pytest.raises(ReadingsError) as refusal:
        read(text)

    assert said in str(refusal.value)


def test_every_wrong_line_is_named_at_once_but_not_a_hundred() -> None:
    with pytest.raises(ReadingsError) as refusal:
        read("\n".join(f"{minute} x" for minute in range(8)))

    assert str(refusal.value).count("Line ") == 5
    assert str(refusal.value).endswith("And 3 lines more.")


# --- attached to a run -----------------------------------------------------------------------


def test_readings_sent_twice_are_kept_once(world: World) -> None:
    run, uuid = the_run(world), uuid4()

    def sent(last_c: int) -> RunReadings:
        readings = [Reading(START, 20_000), Reading(world.now, last_c)]
        return attach_readings(
            Signed(world.helper, world.owner),
            run,
            readings=readings,
            source=Source(name="typed", units=METRIC, probe="core"),
            uuid=uuid,
        )

    assert sent(120_000) == sent(120_000)
    with pytest.raises(Conflict, match="sent before with other readings"):
        sent(119_000)


def test_only_a_run_has_readings(world: World) -> None:
    entry = filled_bags(world, 4, sterilised=False).made_by
    with pytest.raises(Malformed, match="is “fill blocks”, no steriliser run"):
        attach_readings(
            Signed(world.owner, world.owner),
            entry,
            uuid=uuid4(),
            readings=[Reading(START, 20_000)],
            source=Source(name="typed", units=METRIC, probe="core"),
        )


def test_a_file_is_sent_and_its_curve_shown(world: World) -> None:
    run, client = the_run(world), signed_in(world.helper)
    file = SimpleUploadedFile("run.csv", b"Time,Temp F,psi\n14:00,231.8,8\n14:15,231.8,8\n")
    sent = {
        "file": file,
        "temperature_in": "F",
        "pressure_in": "psi",
        "probe": "core",
        "start": "2026-09-07T14:00",
        "reference_milli_c": "121.0",
        "z_milli_c": "10",
        "uuid": str(uuid4()),
    }
    page = client.post(f"/entries/{run.seq}/readings/add/", sent, follow=True).content.decode()

    # 231.8 °F is 111 °C.
    assert "F0 1.50 min at 121.0 °C" in page and "does not certify" in page
    assert readings_of(run)[0].source == "run.csv"


def test_a_wrong_line_stands_at_its_field(world: World) -> None:
    run, client = the_run(world), signed_in(world.helper)
    sent = {
        "typed": "0 20\nx 30",
        "temperature_in": "C",
        "pressure_in": "kPa",
        "probe": "core",
        "start": "2026-09-07T14:00",
        "reference_milli_c": "121.1",
        "z_milli_c": "10",
        "uuid": str(uuid4()),
    }
    page = client.post(f"/entries/{run.seq}/readings/add/", sent).content.decode()

    assert "Line 2: “x” is not a time" in page
    assert readings_of(run) == []


def test_a_second_set_strikes_the_first_through(world: World) -> None:
    run, client = the_run(world), signed_in(world.helper)
    for last in ("110", "120"):
        sent = {
            "typed": f"0 20\n9 {last}",
            "temperature_in": "C",
            "pressure_in": "kPa",
            "probe": f"core {last}",
            "start": "2026-09-07T14:00",
            "reference_milli_c": "121.1",
            "z_milli_c": "10",
            "uuid": str(uuid4()),
        }
        client.post(f"/entries/{run.seq}/readings/add/", sent)
    page = client.get(f"/entries/{run.seq}/readings/").content.decode()

    assert '<li class="struck">typed, core 110' in page
