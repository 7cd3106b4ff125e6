"""The farm's day: what was done belongs to the date on the clock where it was done.

Clock rules: the IANA time zone database, by the standard library's zoneinfo. In 2026 California is
at -7 h until 1 November; Britain is at +1 h until 25 October, 01:00 UTC, when 01:00 to 02:00 comes
a second time; on 29 March its clocks jumped from 01:00 to 02:00.
"""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from unittest.mock import patch
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from farm.actions.common import Draw
from farm.actions.growing.harvesting import pick
from farm.models import Farm, the_farm
from farm.pages.clock import ClockField
from farm.queries.months.closings import closings
from farm.queries.months.months import month_of
from farm.reports.months.closing_rows import open_report
from farm.reports.report_heading import made_for
from ledger.models import Entry
from tests.conftest import signed_in
from tests.farm.closed import OCTOBER, close, sold
from tests.farm.goods import crop
from tests.farm.recording.test_pages_lists import sheet_of
from tests.farm.world import KG, World, fruiting

BRITAIN = ZoneInfo("Europe/London")


@pytest.fixture
def in_britain() -> Iterator[None]:
    with timezone.override(BRITAIN):
        yield


def _moved_to(world: World, zone: str) -> None:
    Farm.objects.update(time_zone=zone)


def _picked_at(world: World, when: datetime) -> Entry:
    blocks = fruiting(world)
    doing = replace(world.doing(sure=True), happened_at=when)  # where they stood, before the move
    return pick(doing, given=[Draw(blocks, 0)], flush=1, firsts_mg=KG).entry


def test_an_evening_pick_in_california_is_today(world: World) -> None:
    _moved_to(world, "America/Los_Angeles")
    # 18:30 there is 01:30 UTC of the next day.
    entry = _picked_at(world, datetime(2026, 9, 30, 1, 30, tzinfo=UTC))

    assert entry.happened_on == date(2026, 9, 29)


def test_a_pick_past_midnight_in_british_summer_is_not_yesterday(world: World) -> None:
    _moved_to(world, "Europe/London")
    # 00:30 there is 23:30 UTC of the day before, and of the month before.
    entry = _picked_at(world, datetime(2026, 9, 30, 23, 30, tzinfo=UTC))

    assert entry.happened_on == date(2026, 10, 1)
    october = month_of("2026-10")
    assert october.first <= entry.happened_on <= october.last


def test_moving_the_farms_zone_moves_no_past(world: World) -> None:
    _moved_to(world, "America/Los_Angeles")
    entry = _picked_at(world, datetime(2026, 9, 30, 1, 30, tzinfo=UTC))
    _moved_to(world, "Europe/London")
    entry.refresh_from_db()

    assert (entry.happened_on, entry.utc_offset_min) == (date(2026, 9, 29), -7 * 60)


def test_when_something_was_recorded_is_told_by_the_farms_day(world: World) -> None:
    """At 22:30 UTC on 5 October it is the 6th in Auckland."""
    _moved_to(world, "Pacific/Auckland")
    late = datetime(2026, 10, 5, 22, 30, tzinfo=UTC)
    lot = crop(world)
    close(world)
    with patch.object(timezone, "now", lambda: late):
        entry = sold(world, lot, KG).entry
    entries = sheet_of(signed_in(world.owner), "/entries/?take=xlsx")
    (heads,) = (row for row in entries if "Recorded on" in row)
    told = {row[0]: row[heads.index("Recorded on")] for row in entries}[entry.seq]
    october = open_report(OCTOBER, made_for(the_farm(), "O", late), closings())
    listed = next(one for one in october.tables if one.title.startswith("Recorded late"))
    at = [column.name for column in listed.columns].index("Recorded on")

    assert f"{told:%Y-%m-%d}" == "2026-10-06"
    assert [row[at] for row in listed.rows] == [date(2026, 10, 6)]


@pytest.mark.usefixtures("in_britain")
def test_a_time_that_comes_twice_is_the_later_one_that_has_been() -> None:
    when = ClockField().clean("2025-10-26T01:30")

    assert when.astimezone(UTC) == datetime(2025, 10, 26, 1, 30, tzinfo=UTC)


@pytest.mark.usefixtures("in_britain")
def test_a_time_that_the_clocks_jumped_over_is_refused() -> None:
    with pytest.raises(ValidationError, match="There was no 01:30 on Sun 29 Mar 2026"):
        ClockField().clean("2026-03-29T01:30")


@pytest.mark.usefixtures("in_britain")
def test_the_day_of_the_autumn_change_is_twenty_five_hours_long() -> None:
    midnight = ClockField().clean("2025-10-26 00:00")
    next_midnight = ClockField().clean("2025-10-27 00:00")

    assert next_midnight.astimezone(UTC) - midnight.astimezone(UTC) == timedelta(hours=25)
