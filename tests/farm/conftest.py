"""The small farm as a fixture."""

import pytest

from tests.farm.world import World, small_farm


@pytest.fixture
def world(db: None) -> World:
    return small_farm()
