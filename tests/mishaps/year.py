"""All mishaps in one year, one after the other, each on the days that it takes."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from unittest.mock import patch

from django.utils import timezone

from tests.mishaps import closed, growing, recalled, selling
from tests.mishaps.must import MADRID, Country, Mishap, Must, World, bad_farm

MISHAPS: tuple[Mishap, ...] = (
    growing.flush_on_two_days,
    growing.flush_on_four_days,
    growing.two_strains_in_one_pick,
    growing.batch_lost_to_mould,
    growing.spent_without_a_pick,
    growing.clone_from_a_pick,
    growing.blocks_in_two_rooms,
    growing.grain_to_grain_three_times,
    growing.pick_typed_late,
    growing.rate_that_changes_in_mid_month,
    selling.washed_out_market,
    selling.trim_sold_with_firsts,
    selling.trim_sold_alone,
    selling.last_hour_of_a_month,
    selling.weight_corrected_after_all,
    selling.return_after_its_invoice,
    selling.customer_who_leaves,
    closed.payment_into_a_closed_month,
    selling.last_hour_of_a_year,
    selling.stock_counted_up_and_found,
    recalled.sample_and_gift_of_what_is_recalled,
    selling.leap_day,
    closed.late_bill,
    closed.sale_typed_before_its_pick,
)


@contextmanager
def clock_of(world: World) -> Iterator[None]:
    """Let everything be recorded at the world's time: a year told in a minute is not a late one."""
    with patch.object(timezone, "now", lambda: world.now + timedelta(minutes=1)):
        yield


def play_bad_year(country: Country = MADRID) -> tuple[World, dict[str, list[Must]]]:
    """Play every mishap in turn, and say what must be true of each."""
    world = bad_farm(country=country)
    musts = {}
    with clock_of(world):
        for mishap in MISHAPS:
            musts[mishap.__name__] = mishap(world)
            world.wait(9)
    return world, musts
