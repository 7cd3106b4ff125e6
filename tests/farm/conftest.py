"""The small farm as a fixture, and the one that sells."""

import pytest

from tests.farm.sold import selling_farm
from tests.farm.world import World, small_farm, yesterday_morning


@pytest.fixture
def world(db: None) -> World:
    return small_farm()


@pytest.fixture
def trade(db: None) -> World:
    return selling_farm()


@pytest.fixture
def trade_now(trade: World) -> World:
    """The selling farm on the morning before today, so that what it sells is due these days."""
    trade.now = yesterday_morning()
    return trade
