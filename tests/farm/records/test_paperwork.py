"""The day's paperwork: what is due so often a day is counted, and never filled in."""

from datetime import date, timedelta

from farm.queries.records.paperwork import DailyPaper, daily_papers
from farm.records import STORE
from tests.conftest import signed_in
from tests.farm.filled import text
from tests.farm.kept import keep, read_store
from tests.farm.world import World


def paper(world: World, days_later: int = 0) -> DailyPaper:
    """The paper of the one room that has readings, so many days after the world's last doing."""
    (found,) = daily_papers(today(world) + timedelta(days=days_later))
    return found


def today(world: World) -> date:
    return world.now.astimezone(world.farm.zone).date()


def test_a_room_that_was_never_read_owes_nothing(world: World) -> None:
    assert daily_papers(today(world)) == []


def test_a_store_is_read_twice_a_day(world: World) -> None:
    """Common practice, no source: morning and evening."""
    read_store(world, 3_000)

    assert (paper(world).today.there, paper(world).today.due, paper(world).to_come) == (1, 2, 1)


def test_nothing_is_to_come_once_both_are_there(world: World) -> None:
    read_store(world, 3_000)
    read_store(world, 3_100)

    assert paper(world).to_come == 0


def test_a_corrected_reading_counts_once(world: World) -> None:
    room = world.fridge_shelf.room
    misread = read_store(world, 3_000)
    keep(world, STORE, corrects=misread, room=room, read_milli_c=2_000, note="misread")

    assert paper(world).today.there == 1


def test_days_before_today_that_fell_short_are_named(world: World) -> None:
    """Read once on day 0, twice on day 1, never on day 2; asked on day 3."""
    first = today(world)
    read_store(world, 3_000)
    world.wait(1)
    read_store(world, 3_000)
    read_store(world, 3_000)

    short = paper(world, days_later=2).short

    assert [(count.day, count.there) for count in short] == [
        (first + timedelta(days=2), 0),
        (first, 1),
    ]


def test_the_days_before_the_first_reading_are_not_missing(world: World) -> None:
    read_store(world, 3_000)

    assert paper(world).short == ()


def test_a_week_back_is_looked_through(world: World) -> None:
    read_store(world, 3_000)

    assert len(paper(world, days_later=7).short) == 7
    assert len(paper(world, days_later=8).short) == 7


def test_the_home_page_asks_for_the_reading_of_its_room(world: World) -> None:
    room = world.fridge_shelf.room
    read_store(world, 3_000)

    page = text(signed_in(world.owner).get("/"))

    assert f"Store temperature, {room}" in page
    assert f"/records/{STORE}/add/?room={room.pk}" in page
