"""What is doubtful in a steriliser run: held against steam at its pressure and the farm's height.

A gauge and a thermometer that disagree, a run without pressure, one too short for what was in it.
How long is usual is common practice; nothing here says that a run was enough, nor that a vessel
may be set to a pressure: its maker's plate, local code and licensed practice rule.
"""

from collections.abc import Mapping, Sequence

from farm.actions.common import both
from farm.actions.questions import PlausibilityQuestion
from farm.kinds.growing import Run
from farm.models import LotCard, Stage, Steriliser, the_farm
from farm.queries.growing.usual_values import usual_run
from farm.refusals import MendedInDetails
from farm.steam import held, saturation_temperature_c, steam_temperature_c
from farm.units import show_pressure, show_temperature
from ledger.errors import Malformed

# Warm water kills nothing, and no bag of plastic stands more than this: own rules.
COLDEST_MILLI_C, HOTTEST_MILLI_C = 50_000, 150_000
# A lid that lifts by itself holds a pound or less on the square inch: common practice, no source.
UNPRESSURISED_PA = 7_000
# What two instruments may differ by: common practice, no source. A probe in the load lags behind.
ABOVE_STEAM_C, BELOW_STEAM_C = 1.0, 2.0
# Minutes at 15 psi by the sea, by the weight of one jar or bag up to so many mg. Grain: 1 hour a
# quart, 1.5 half a gallon, 2 a gallon, 4 a bag; blocks of 5 lb 2.5 hours (Stamets 2000, as quoted
# by growers). Asked below half of it, which is an own rule.
USUAL_MINUTES: Mapping[int, tuple[tuple[int, int], ...]] = {
    Stage.GRAIN: ((900_000, 60), (1_800_000, 90), (3_600_000, 120)),
    Stage.BAGS: ((1_200_000, 120),),
}
HEAVIER_MINUTES: Mapping[int, int] = {Stage.GRAIN: 240, Stage.BAGS: 150}
TIMES_SHORT = 2
USUAL_UNPRESSURISED_HOURS = 12
LIVES_ON = (
    f"Without pressure {USUAL_UNPRESSURISED_HOURS} hours are usual, and some spores live "
    "through it, which then grow in grain and rich mixes."
)


def need_possible(
    steriliser: Steriliser, gauge_pa: int | None, temperature_milli_c: int | None
) -> None:
    """Refuse what no run can have been: no reading, beyond the plate, too cold, too hot."""
    if gauge_pa is None and temperature_milli_c is None:
        raise Malformed(f"{steriliser.name}: state the pressure or the temperature that was read.")
    _within_the_plate(steriliser, gauge_pa or 0)
    if temperature_milli_c is None or (COLDEST_MILLI_C <= temperature_milli_c <= HOTTEST_MILLI_C):
        return
    wrong = (
        "too cold to kill anything"
        if temperature_milli_c < COLDEST_MILLI_C
        else "hotter than any bag or jar stands"
    )
    raise Malformed(
        f"{steriliser.name}: {_degrees(temperature_milli_c)} is {wrong}, so no run is kept at it."
        f"{_other_scale(temperature_milli_c)}"
    )


def steam_doubt(
    steriliser: Steriliser, gauge_pa: int | None, temperature_milli_c: int | None
) -> PlausibilityQuestion | None:
    """Ask where the temperature is not that of steam at the gauge: 121 °C at 15 psi and 2000 m.

    Without a gauge it is held against the most that the vessel may have: its plate, or none.
    """
    if temperature_milli_c is None:
        return None
    altitude_m = the_farm().altitude_m
    most_pa = steriliser.max_gauge_kpa * 1000 if steriliser.pressurised else 0
    shown_pa = most_pa if gauge_pa is None else gauge_pa
    steam_c = steam_temperature_c(shown_pa / 1000, altitude_m)
    above_c = temperature_milli_c / 1000 - steam_c
    if gauge_pa is None and above_c <= ABOVE_STEAM_C:
        return None
    if -BELOW_STEAM_C <= above_c <= ABOVE_STEAM_C:
        return None
    there = (
        f"{_degrees(temperature_milli_c)} in {steriliser.name}, where steam at "
        f"{_pressure(shown_pa)}{'' if gauge_pa is not None else ', the most it may have,'} is "
        f"{_degrees(round(steam_c * 1000))} at {altitude_m} m above the sea."
    )
    if above_c > 0:
        why = "Steam is never hotter. Was it measured, or taken from a table for the sea?"
    elif abs(_steam_c_if_absolute(shown_pa) - temperature_milli_c / 1000) <= BELOW_STEAM_C:
        why = (
            "It would be that hot if the figure counted the air outside too: does the gauge stand "
            "at 0 without steam? If not, take off what it stands at."
        )
    else:
        why = "Was air left in it, or was the probe inside the load?"
    return PlausibilityQuestion(f"{there} {why} The altitude stands under Farm details.")


def _steam_c_if_absolute(shown_pa: int) -> float:
    """Work out the steam of a figure that counts the air too: 205 kPa are 121 °C, not 135."""
    return saturation_temperature_c(max(shown_pa, UNPRESSURISED_PA) / 1000)


def weak_doubt(
    steriliser: Steriliser,
    cards: Sequence[LotCard],
    minutes: int,
    *,
    gauge_pa: int | None,
    temperature_milli_c: int | None,
) -> PlausibilityQuestion | None:
    """Ask about a run without pressure or too short for what was in it, by what the heat kills.

    150 minutes of steam at 15 psi and 2000 m do what 64 do at 121.1 °C. A steriliser whose own
    last runs did no more is not asked about: its farm has answered before.
    """
    if not cards:
        return None
    altitude_m = the_farm().altitude_m
    heat_c = _heat_c(gauge_pa, temperature_milli_c, altitude_m)
    killed = held(minutes, heat_c).minutes
    need, largest = max((_usual_minutes(card), card.lot.unit_mass_mg or 0) for card in cards)
    if killed * TIMES_SHORT >= need:
        return None
    usual = usual_run(steriliser, lambda said: _killed_seconds(said, altitude_m))
    if usual and round(killed * 60) >= usual.least:
        return None
    boils_c = steam_temperature_c(0, altitude_m)
    is_unpressurised = (
        gauge_pa < UNPRESSURISED_PA if gauge_pa is not None else heat_c <= boils_c + ABOVE_STEAM_C
    )
    without = "without pressure" if is_unpressurised else "at temperature"
    return PlausibilityQuestion(
        f"{minutes} minutes {without} in {steriliser.name}: at {_degrees(round(heat_c * 1000))} "
        f"they kill as much as {_few(killed)} minutes at {_degrees(121_100)}, where {need} are "
        f"usual for {both(largest)} in each.{' ' + LIVES_ON if is_unpressurised else ''} Is the "
        "run right as it stands, and is it to be inoculated?",
        sorted(card.lot.code for card in cards),
    )


def _within_the_plate(steriliser: Steriliser, gauge_pa: int) -> None:
    limit_kpa = steriliser.max_gauge_kpa
    # The plate is kept to the kPa, and so is the gauge held against it: 15 psi are 15 psi.
    gauge_kpa = (gauge_pa + 500) // 1000
    if not steriliser.pressurised and gauge_pa > UNPRESSURISED_PA:
        raise MendedInDetails(
            f"{steriliser.name} is not to be pressurised, and {_pressure(gauge_pa)} was read. "
            "Shut it down and have it looked at; if the gauge was misread, correct the number; if "
            "it is a pressure vessel, the owner says so under Farm details, Sterilisers.",
            of=steriliser,
        )
    if limit_kpa and gauge_kpa > limit_kpa:
        raise MendedInDetails(
            f"{steriliser.name}: {gauge_kpa} kPa is above the maker's limit of {limit_kpa} kPa. "
            "If the gauge is right, have the vessel inspected; if it was misread, correct the "
            "number; if the plate says another limit, the owner corrects it under Farm details, "
            "Sterilisers.",
            of=steriliser,
        )


def _heat_c(gauge_pa: int | None, milli_c: int | None, altitude_m: int) -> float:
    """The heat that a run had for certain: what was measured, but never more than its steam."""
    known: list[float] = [] if milli_c is None else [milli_c / 1000]
    if gauge_pa is not None:
        known.append(steam_temperature_c(gauge_pa / 1000, altitude_m))
    return min(known)


def _killed_seconds(said: Run, altitude_m: int) -> int:
    heat_c = _heat_c(said.gauge_pa, said.temperature_milli_c, altitude_m)
    return round(held(said.minutes_at_temperature, heat_c).minutes * 60)


def _usual_minutes(card: LotCard) -> int:
    each_mg = card.lot.unit_mass_mg or 0
    steps = USUAL_MINUTES[card.stage]
    heavier = HEAVIER_MINUTES[card.stage]
    return next((minutes for most_mg, minutes in steps if each_mg <= most_mg), heavier)


def _other_scale(milli_c: int) -> str:
    """Say what it would be had the figure been read on the other scale, where that can be."""
    fahrenheit = milli_c * 9 // 5 + 32_000
    as_fahrenheit = (milli_c - 32_000) * 5 // 9
    if COLDEST_MILLI_C <= as_fahrenheit <= HOTTEST_MILLI_C:
        return f" Was {milli_c / 1000:.4g} °F meant? That is {_degrees(as_fahrenheit)}."
    if COLDEST_MILLI_C <= fahrenheit <= HOTTEST_MILLI_C:
        return f" Was {fahrenheit / 1000:.4g} °C meant, and read as °F?"
    return (
        " Check the unit, °C or °F, and for a digit that was lost: steam is 100 °C (212 °F) "
        "without pressure and 121 °C (250 °F) at 15 psi by the sea."
    )


def _few(minutes: float) -> str:
    return f"{minutes:.0f}" if minutes >= 10 else f"{minutes:.1f}"


def _degrees(milli_c: int) -> str:
    return f"{show_temperature(milli_c, 'C')} ({show_temperature(milli_c, 'F')})"


def _pressure(gauge_pa: int) -> str:
    return f"{show_pressure(gauge_pa, 'kPa')} ({show_pressure(gauge_pa, 'psi')})"
