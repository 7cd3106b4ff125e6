"""A steriliser run is held against steam at its pressure and height, and against what was in it."""

import json
from dataclasses import replace
from typing import Any

import pytest

from farm.actions.common import Draw
from farm.actions.growing.blocks import inoculate_blocks
from farm.actions.growing.grain import inoculate_grain
from farm.actions.growing.runs import sterilise
from farm.actions.questions import PlausibilityQuestion
from farm.actions.recording.correcting import undo
from farm.models import Steriliser
from ledger.book import Recorded
from ledger.errors import Malformed
from ledger.models import Entry, Lot
from tests.conftest import signed_in
from tests.farm.filled import send, text
from tests.farm.world import (
    World,
    assert_book_is_sound,
    filled_bags,
    fresh,
    grow_spawn,
    prepared_grain,
)

pytestmark = pytest.mark.django_db

PSI_15 = 103_421
AN_HOUR: dict[str, Any] = {"minutes_at_temperature": 60}


def run(world: World, lot: Lot, *, sure: bool = False, **stated: Any) -> Recorded:
    said = {"minutes_at_temperature": 150, "gauge_pa": PSI_15} | stated
    said.setdefault("steriliser", world.steriliser)
    return sterilise(world.doing(sure=sure), lots=[lot], **said)


def bags_of(world: World, count: int = 4) -> Lot:
    return filled_bags(world, count, sterilised=False)


def drum(world: World) -> Steriliser:
    return Steriliser.objects.create(name="Barrel", pressurised=False, run_wh=9_000)


def at(world: World, altitude_m: int) -> None:
    world.farm.altitude_m = altitude_m
    world.farm.save()


def said(recorded: Recorded) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(recorded.entry.particulars)
    return found


# --- refused ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("milli_c", "words"),
    [
        # 250 °F is (250 - 32) * 5 / 9 = 121.1 °C.
        (250_000, r"250\.0 °C .*hotter than any bag.*Was 250 °F meant\? That is 121\.1 °C"),
        (212_000, r"Was 212 °F meant\? That is 100\.0 °C"),
        (1_000, r"1\.0 °C \(33\.8 °F\) is too cold.*Check the unit, °C or °F.*121 °C \(250 °F\)"),
        # 121 typed where °F is usual is 49.4 °C; 100 is 37.8 °C.
        (49_444, r"too cold to kill anything.*Was 121 °C meant, and read as °F\?"),
        (37_778, r"Was 100 °C meant"),
        (-18_000, r"-18\.0 °C .*too cold"),
    ],
)
def test_what_no_run_can_have_been_is_refused_with_the_likely_slip(
    world: World, milli_c: int, words: str
) -> None:
    for gauge_pa in (None, PSI_15):
        with pytest.raises(Malformed, match=words) as refusal:
            run(world, bags_of(world), sure=True, gauge_pa=gauge_pa, temperature_milli_c=milli_c)
        assert not isinstance(refusal.value, PlausibilityQuestion)
    assert not Entry.objects.filter(kind="steriliser run").exists()


def test_a_drum_that_is_not_to_be_pressurised_has_no_pressure(world: World) -> None:
    with pytest.raises(Malformed, match=r"Barrel is not to be pressurised, and 103\.4 kPa"):
        run(world, bags_of(world), sure=True, steriliser=drum(world))


# --- asked: a gauge and a thermometer that disagree ------------------------------------------


def test_fifteen_psi_with_121_degrees_at_2000_m_is_asked_about(world: World) -> None:
    """By steam tables 15 psi are 117.4 °C there, and 121.0 °C by the sea."""
    at(world, 2_000)
    bags = bags_of(world)
    with pytest.raises(
        PlausibilityQuestion,
        match=r"121\.0 °C \(249\.8 °F\) in Steam drum, where steam at 103\.4 kPa \(15\.0 psi\) is "
        r"117\.4 °C \(243\.\d °F\) at 2000 m above the sea.*never hotter.*Farm details",
    ):
        run(world, bags, temperature_milli_c=121_000, minutes_at_temperature=240)

    recorded = run(world, bags, sure=True, temperature_milli_c=121_000, minutes_at_temperature=240)
    assert "117.4 °C" in said(recorded)["asked"]
    assert said(recorded)["answer"] == "yes, that is right"


@pytest.mark.parametrize(
    ("altitude_m", "milli_c"),
    # 15 psi: 121.0 °C at 0 m, 119.1 at 1,000, 118.3 at 1,500 (steam tables, printed to 0.1).
    [(0, 121_000), (0, 121_111), (0, 119_500), (300, 121_000), (1_000, 119_000), (1_500, 118_300)],
)
def test_what_agrees_with_steam_is_not_asked_about(
    world: World, altitude_m: int, milli_c: int
) -> None:
    at(world, altitude_m)
    assert "asked" not in said(run(world, bags_of(world), temperature_milli_c=milli_c))


def test_a_thermometer_far_below_the_gauge_asks_for_air_left_in(world: World) -> None:
    # Half of the air left in: 15 psi then stand at about 112 °C (autoclave tables, from memory).
    with pytest.raises(PlausibilityQuestion, match=r"112\.0 °C.*is 121\.0 °C.*Was air left in it"):
        run(world, bags_of(world), temperature_milli_c=112_000, minutes_at_temperature=700)


def test_a_gauge_that_counts_the_air_too_is_asked_about(world: World) -> None:
    """205 kPa of steam are 121.0 °C (steam tables); above the sea's air they are 134.6 °C."""
    world.steriliser.max_gauge_kpa = 250
    world.steriliser.save()
    with pytest.raises(PlausibilityQuestion, match=r"134\.\d °C.*stand at 0 without steam"):
        run(world, bags_of(world), gauge_pa=205_000, temperature_milli_c=121_000)
    with pytest.raises(PlausibilityQuestion, match="Was air left in it"):
        run(world, bags_of(world), gauge_pa=205_000, temperature_milli_c=127_000)


def test_water_in_an_open_drum_is_no_hotter_than_it_boils(world: World) -> None:
    at(world, 2_000)  # 79.5 kPa of air: water boils at 93.3 °C
    with pytest.raises(PlausibilityQuestion, match=r"100\.0 °C .* in Barrel, .* is 93\.3 °C"):
        run(
            world,
            bags_of(world),
            steriliser=drum(world),
            gauge_pa=None,
            temperature_milli_c=100_000,
            minutes_at_temperature=720,
        )


def test_a_heat_that_would_take_more_than_the_plate_allows_is_asked_about(world: World) -> None:
    # 110 kPa above the sea's air are 121.9 °C; 130 °C would take 169 kPa (steam tables: 270 kPa).
    with pytest.raises(PlausibilityQuestion, match=r"110\.0 kPa .*the most it may have"):
        run(world, bags_of(world), gauge_pa=None, temperature_milli_c=130_000)


# --- asked: without pressure, or short -------------------------------------------------------


def test_a_run_without_pressure_is_asked_about(world: World) -> None:
    bags = bags_of(world)
    for stated in (
        {"gauge_pa": 0},
        {"gauge_pa": 3_000},
        {"gauge_pa": None, "temperature_milli_c": 98_000},
        {"gauge_pa": None, "temperature_milli_c": 98_000, "steriliser": drum(world)},
    ):
        with pytest.raises(PlausibilityQuestion, match="minutes without pressure in"):
            run(world, bags, minutes_at_temperature=720, **stated)
    recorded = run(world, bags, sure=True, minutes_at_temperature=720, gauge_pa=0)
    # 12 hours at 99.97 °C: 720 * 10 ** ((99.97 - 121.1) / 10) = 5.55 minutes.
    assert "kill as much as 5.6 minutes at 121.1 °C" in said(recorded)["asked"]


@pytest.mark.parametrize(
    ("minutes", "is_asked"),
    # 15 psi by the sea are 120.95 °C, a rate of 0.967. Bags of 2.27 kg: 150 usual, 75 asked below;
    # 77 * 0.967 = 74.5 and 78 * 0.967 = 75.4.
    [(20, True), (45, True), (77, True), (78, False), (150, False), (300, False)],
)
def test_a_short_run_of_blocks_is_asked_about(world: World, minutes: int, is_asked: bool) -> None:
    bags = bags_of(world)
    if not is_asked:
        assert run(world, bags, minutes_at_temperature=minutes).fresh
        return
    with pytest.raises(PlausibilityQuestion, match=r"150 are usual for 2\.268 kg"):
        run(world, bags, minutes_at_temperature=minutes)


def test_what_was_in_it_says_how_long_is_short(world: World) -> None:
    """An hour does for 1.36 kg of grain, where 1.5 are usual, and not for blocks of 2.27 kg."""
    assert run(world, prepared_grain(world, 4), **AN_HOUR).fresh
    bags, grain = bags_of(world), prepared_grain(world, 4)
    with pytest.raises(PlausibilityQuestion, match="150 are usual"):
        sterilise(
            world.doing(),
            steriliser=world.steriliser,
            lots=[grain, bags],
            gauge_pa=PSI_15,
            **AN_HOUR,
        )
    with pytest.raises(PlausibilityQuestion, match=r"90 are usual for 1\.36 kg"):
        run(world, grain, minutes_at_temperature=40)


def test_the_same_minutes_are_short_on_a_mountain(world: World) -> None:
    """117.4 °C kill 0.43 as fast as 121.1: 150 minutes are 64, and 180 are 77."""
    at(world, 2_000)
    with pytest.raises(PlausibilityQuestion, match="kill as much as 64 minutes"):
        run(world, bags_of(world))
    assert run(world, bags_of(world), minutes_at_temperature=180).fresh


def test_a_steriliser_whose_own_runs_are_like_it_is_not_asked_again(world: World) -> None:
    stated: dict[str, Any] = {
        "gauge_pa": None,
        "temperature_milli_c": 98_000,
        "minutes_at_temperature": 720,
        "steriliser": drum(world),
    }
    for _ in range(5):
        assert "asked" in said(run(world, bags_of(world), sure=True, **stated))
    bags = bags_of(world)
    assert "asked" not in said(run(world, bags, **stated))
    with pytest.raises(PlausibilityQuestion, match="without pressure"):
        run(world, bags, **stated | {"minutes_at_temperature": 600})


# --- before anything is inoculated -----------------------------------------------------------


def test_an_answered_run_is_not_asked_about_again(world: World) -> None:
    *_, spawn = grow_spawn(world)
    bags = bags_of(world)
    run(world, bags, sure=True, minutes_at_temperature=30)
    draws = [Draw(spawn, 907_200)]
    made = inoculate_blocks(world.doing(), bags=fresh(bags), count=4, spawn=draws)
    assert "asked" not in said(made)


def test_what_was_in_no_run_is_asked_about_once(world: World) -> None:
    *_, spawn = grow_spawn(world)
    bags = bags_of(world, 8)
    given = {"bags": bags, "count": 4, "spawn": [Draw(spawn, 907_200)]}
    doing = world.doing()
    with pytest.raises(PlausibilityQuestion, match=r"was in no steriliser run.*Record the run"):
        inoculate_blocks(doing, **given)  # type: ignore[arg-type]
    first = inoculate_blocks(replace(doing, sure=True), **given)  # type: ignore[arg-type]
    second = inoculate_blocks(world.doing(), **given)  # type: ignore[arg-type]

    assert f"Lot {bags.code} was in no steriliser run" in said(first)["asked"]
    assert said(first)["answer"] == "yes, that is right" and "asked" not in said(second)
    assert_book_is_sound()


def test_once_the_answer_is_taken_back_it_is_asked_again(world: World) -> None:
    culture, *_ = grow_spawn(world)
    grain = prepared_grain(world, 4)
    given = {"grain": grain, "bags": 2, "source": culture, "amount": 2}
    first = inoculate_grain(world.doing(sure=True), **given)  # type: ignore[arg-type]
    assert "was in no steriliser run" in said(first)["asked"]
    undo(world.doing(), first.entry)
    with pytest.raises(PlausibilityQuestion, match="was in no steriliser run"):
        inoculate_grain(world.doing(), **given)  # type: ignore[arg-type]


def test_a_weak_run_that_nobody_answered_is_asked_about_at_inoculation(world: World) -> None:
    """A run kept before the farm said how high it lies: 103 kPa are 117.3 °C at 2,000 m."""
    *_, spawn = grow_spawn(world)
    bags = filled_bags(world, 4)
    at(world, 2_000)
    draws = [Draw(spawn, 907_200)]
    with pytest.raises(PlausibilityQuestion, match="kill as much as 63 minutes"):
        inoculate_blocks(world.doing(), bags=bags, count=4, spawn=draws)
    made = inoculate_blocks(world.doing(sure=True), bags=bags, count=4, spawn=draws)
    assert "kill as much as 63 minutes" in said(made)["asked"]


def test_the_form_asks_and_the_answer_stands_on_the_run(world: World) -> None:
    client, bags = signed_in(world.owner), bags_of(world)
    typed = {
        "steriliser": world.steriliser.pk,
        "lots": bags.code,
        "gauge_pa": "0 kPa",
        "minutes_at_temperature": "720",
    }
    asked = text(send(client, "/record/steriliser-run/", **typed))
    assert "minutes without pressure" in asked and "A pressure vessel can burst" in asked
    assert not Entry.objects.filter(kind="steriliser run", lines__lot=bags).exists()
    send(client, "/record/steriliser-run/", sure="on", **typed)
    entry = Entry.objects.get(kind="steriliser run", lines__lot=bags)

    page = text(client.get(f"/entries/{entry.seq}/"))
    assert "minutes without pressure" in page and "yes, that is right" in page
