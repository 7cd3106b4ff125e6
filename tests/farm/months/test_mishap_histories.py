"""The same mishaps in any order, some of them twice, in countries ahead of and behind Greenwich.

What was worked by hand holds in each.
"""

import pytest
from django.db import transaction
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from farm.habits import HABITS
from ledger.models import Flow
from tests.farm.world import assert_book_is_sound
from tests.mishaps.must import Country, Mishap, bad_farm
from tests.mishaps.year import MISHAPS, clock_of
from tests.repeated import seeds
from tests.second_costs import differences, second_costs

HISTORIES = len(seeds(usual=4))
STEPS = st.lists(
    st.tuples(st.sampled_from(MISHAPS), st.integers(min_value=0, max_value=40)),
    min_size=3,
    max_size=6,
)
ZONES = ("Europe/Madrid", "Pacific/Auckland", "America/Los_Angeles", "Asia/Kolkata")
COUNTRIES = st.builds(
    Country,
    time_zone=st.sampled_from(ZONES),
    weight_unit=st.sampled_from(("kg", "lb")),
    currency=st.sampled_from(("EUR", "NZD", "USD", "INR")),
    habit=st.sampled_from(sorted(HABITS)),
)


@pytest.mark.django_db(transaction=True)
@given(COUNTRIES, STEPS)
@settings(max_examples=HISTORIES, phases=[Phase.explicit, Phase.reuse, Phase.generate])
def test_mishaps_in_any_order(country: Country, steps: list[tuple[Mishap, int]]) -> None:
    with transaction.atomic():
        play(country, steps)
        transaction.set_rollback(True)


def play(country: Country, steps: list[tuple[Mishap, int]]) -> None:
    world, musts = bad_farm(country=country), []
    with clock_of(world):
        for mishap, days in steps:
            musts.append((mishap.__name__, mishap(world)))
            world.wait(days)
    for name, each in musts:
        assert {must.what: must.comes_to() for must in each} == {
            must.what: must.by_hand for must in each
        }, name
    assert_book_is_sound()
    flows = [
        ((one.entry_id, one.lot_id, str(one.role)), sum(one.cost)) for one in Flow.objects.all()
    ]
    assert differences(second_costs(), flows) == {}
