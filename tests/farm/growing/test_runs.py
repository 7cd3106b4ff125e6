"""A steriliser run is shared by mass over what was in it, and is within the maker's limit."""

from typing import Any

import pytest

from farm.actions.common import draft
from farm.actions.growing.runs import run_of, sterilise, unsterilised_doubt
from farm.kinds.recording import UNDO
from ledger import book
from ledger.book import Recorded
from ledger.errors import Malformed
from ledger.models import Lot
from tests.farm.world import (
    World,
    assert_book_is_sound,
    filled_bags,
    fresh,
    grow_spawn,
    prepared_grain,
)


def run(world: World, *lots: Lot, **readings: Any) -> Recorded:
    stated = {"minutes_at_temperature": 150, "gauge_pa": 103_000} | readings
    return sterilise(world.doing(), steriliser=world.steriliser, lots=lots, **stated)


def test_energy_and_labour_are_shared_by_mass(world: World) -> None:
    grain, bags = prepared_grain(world, 5), filled_bags(world, 10, sterilised=False)

    run(world, grain, bags)

    # 20 kWh at 0.30 are 6.0000; 6.8 kg of grain stand beside 22.68 kg of bags:
    # 60,000 * 6.8 / 29.48 = 13,839.9, rounded down; the bags take the rest.
    assert (fresh(grain).energy, fresh(bags).energy) == (13_839, 46_161)
    # 45 minutes at 18.00 an hour are 13.5000, in the same parts
    assert fresh(grain).own - grain.own == 31_139
    assert fresh(bags).own - bags.own == 103_861
    assert_book_is_sound()


def test_a_run_takes_nothing_away(world: World) -> None:
    bags = filled_bags(world, 10, sterilised=False)

    entry = run(world, bags).entry

    assert fresh(bags).quantity == 10
    assert run_of(bags) == entry
    assert unsterilised_doubt(bags.card) is None


def test_a_run_taken_back_has_sterilised_nothing(world: World) -> None:
    bags = filled_bags(world, 10, sterilised=False)
    entry = run(world, bags).entry

    book.take_back(entry, draft(world.doing(), UNDO, []))

    assert run_of(bags) is None
    asked = unsterilised_doubt(bags.card)
    assert asked and f"Lot {bags.code} was in no steriliser run" in str(asked)


def test_a_measured_temperature_is_enough(world: World) -> None:
    bags = filled_bags(world, 10, sterilised=False)

    assert run(world, bags, gauge_pa=None, temperature_milli_c=121_000).fresh


def test_it_refuses_a_run_without_a_reading(world: World) -> None:
    with pytest.raises(Malformed, match="state the pressure or the temperature"):
        run(world, filled_bags(world, 4, sterilised=False), gauge_pa=None)


def test_it_refuses_a_pressure_above_the_makers_limit(world: World) -> None:
    with pytest.raises(Malformed, match="124 kPa is above the maker's limit of 110 kPa"):
        run(world, filled_bags(world, 4, sterilised=False), gauge_pa=124_000)


def test_fifteen_psi_are_within_a_limit_of_fifteen_psi(world: World) -> None:
    """The plate is kept as 103 kPa; 15 psi are 103.42."""
    world.steriliser.max_gauge_kpa = 103
    run(world, filled_bags(world, 4, sterilised=False), gauge_pa=103_421)

    with pytest.raises(Malformed, match="104 kPa is above the maker's limit of 103 kPa"):
        run(world, filled_bags(world, 4, sterilised=False), gauge_pa=103_500)


def test_it_refuses_a_run_of_no_time(world: World) -> None:
    with pytest.raises(Malformed, match="0 minutes at temperature cannot be"):
        run(world, filled_bags(world, 4, sterilised=False), minutes_at_temperature=0)


def test_it_refuses_a_lot_that_is_used_up(world: World) -> None:
    _, grain, _ = grow_spawn(world)

    with pytest.raises(Malformed, match=f"Lot {grain.code} has no bags left"):
        run(world, grain)


def test_it_refuses_what_does_not_go_into_a_steriliser(world: World) -> None:
    culture, _, _ = grow_spawn(world)

    with pytest.raises(Malformed, match="is culture, not prepared grain or filled bags"):
        run(world, culture)


def test_it_refuses_an_empty_steriliser(world: World) -> None:
    with pytest.raises(Malformed, match="Name at least one lot"):
        run(world)
