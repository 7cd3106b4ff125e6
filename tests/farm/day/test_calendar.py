"""What is due, and the feed of it: read by the icalendar library, opened by its secret alone."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone
from icalendar import Calendar

from farm.actions.common import Draw
from farm.actions.day.calendar import renew_calendar
from farm.actions.growing.blocks import move_to_fruiting
from farm.actions.growing.checks import check
from farm.actions.growing.harvesting import pick
from farm.actions.selling.stalls import load_stall
from farm.actions.tracing.drilling import start_drill
from farm.actions.tracing.holding import hold
from farm.exchange.icalendar import calendar, escaped, folded
from farm.models import CalendarAddress, Person, Strain
from farm.queries.day.calendar import Due, due_from
from ledger.models import Entry, Lot
from tests.farm.goods import packs
from tests.farm.season import season
from tests.farm.world import KG, World, fresh, fruiting, grow_blocks, grow_spawn

STAMP = datetime(2026, 9, 7, 8, 30, tzinfo=UTC)


def on(today: date, lot: Lot) -> list[tuple[str, date, date]]:
    """What is due of one lot: the verb, the first day, the last."""
    return [
        (one.title.split()[0], one.day, one.last)
        for one in due_from(today)
        if lot.code in one.title
    ]


# --- what is due -----------------------------------------------------------------------------


def test_spawn_is_shaken_five_days_after_it_was_made_until_it_was_checked(world: World) -> None:
    _, _, spawn = grow_spawn(world)
    made = spawn.made_by.happened_on

    assert on(made, spawn) == [("Check", made + timedelta(days=5), made + timedelta(days=5))]
    check(world.doing(), lot=spawn, colonised_percent=40)
    assert on(made, spawn) == []


def test_blocks_are_moved_when_the_strain_is_planned_to_be_grown_through(world: World) -> None:
    blocks = grow_blocks(world)
    day = blocks.made_by.happened_on + timedelta(days=world.strain.spawn_run_days)

    assert on(blocks.made_by.happened_on, blocks) == [("Move", day, day)]


def test_moved_blocks_have_a_pick_window_and_then_the_next_flush(world: World) -> None:
    blocks = grow_blocks(world)
    made, strain = blocks.made_by.happened_on, world.strain
    move_to_fruiting(world.doing(), lot=blocks, shelf=world.fruiting_shelf)
    first = made + timedelta(days=strain.first_pick_days)
    assert on(made, blocks) == [("Pick", first - timedelta(days=3), first)]

    doing = world.doing()
    pick(doing, given=[Draw(blocks, 0)], flush=1, firsts_mg=10 * KG)
    following = doing.day + timedelta(days=strain.flush_gap_days)
    assert on(doing.day, blocks) == [("Pick", following - timedelta(days=3), following)]


def test_a_strain_that_is_soaked_is_soaked_before_its_next_flush(world: World) -> None:
    blocks = fruiting(world)
    gap = world.strain.flush_gap_days
    Strain.objects.filter(pk=world.strain.pk).update(soak_days=gap - 2)
    assert "Soak" not in [verb for verb, *_ in on(world.now.date(), blocks)]

    doing = world.doing()
    pick(doing, given=[Draw(blocks, 0)], flush=1, firsts_mg=10 * KG)
    soak = doing.day + timedelta(days=2)
    assert ("Soak", soak, soak) in on(doing.day, blocks)


@pytest.mark.django_db
def test_a_trace_is_practised_a_year_after_the_first_sale_and_after_each_drill() -> None:
    lots = season()
    today = lots.world.now.date()
    sold = Entry.objects.filter(kind="sell").order_by("happened_on")[0].happened_on
    a_year = timedelta(days=365)
    assert practised(sold + a_year) == [sold + a_year]

    start_drill(lots.world.doing(), lots.packs, by_chance=False)
    assert practised(sold + a_year) == [today + a_year]


def practised(today: date) -> list[date]:
    return [one.day for one in due_from(today) if one.title == "Practise a trace"]


def test_what_is_late_is_due_today_and_says_since_when(world: World) -> None:
    blocks = grow_blocks(world)
    planned = blocks.made_by.happened_on + timedelta(days=world.strain.spawn_run_days)
    today = planned + timedelta(days=4)

    late = next(one for one in due_from(today) if blocks.code in one.title)

    assert (late.day, late.last) == (today, today)
    assert late.about.endswith(f"was due {planned:%-d %b}")


def test_a_lot_on_hold_is_not_due(world: World) -> None:
    blocks = fruiting(world)
    hold(world.doing(reason="mould"), [blocks])

    assert on(world.now.date(), blocks) == []


def test_a_load_waits_for_cash_up_and_a_crop_for_the_last_day_in_the_fridge(world: World) -> None:
    lot = packs(world)
    day = world.now.date()
    load_stall(world.doing(), place=world.stall, day=day, lines=[Draw(lot, 10)])

    titles = [one.title for one in due_from(day)]

    assert "Cash up Saturday market" in titles
    assert f"Sell or dry {fresh(lot).code} by today" in titles


# --- the format ------------------------------------------------------------------------------


def test_the_icalendar_library_reads_every_event_back(world: World) -> None:
    """Outside check: the icalendar library, an independent reader of RFC 5545."""
    fruiting(world)
    grow_spawn(world)
    due = due_from(world.now.date())

    read = Calendar.from_ical(calendar("The old mill", due, STAMP))
    events: list[Any] = read.walk("VEVENT")

    assert str(read["X-WR-CALNAME"]) == "The old mill"
    assert [
        (str(e["SUMMARY"]), str(e["DESCRIPTION"]), e["DTSTART"].dt, e["DTEND"].dt) for e in events
    ] == [(d.title, d.about, d.day, d.last + timedelta(days=1)) for d in due]
    assert {e["DTSTAMP"].dt for e in events} == {STAMP}
    assert len({str(e["UID"]) for e in events}) == len(due) > 2
    assert not any(event.errors for event in events)


def test_a_uid_stays_the_same_while_the_thing_waits(world: World) -> None:
    blocks = grow_blocks(world)
    day = blocks.made_by.happened_on

    keys = {
        next(one.key for one in due_from(day + timedelta(days=days)) if blocks.code in one.title)
        for days in (0, 10, 40)
    }

    assert keys == {f"move-{blocks.code}"}


def test_lines_end_in_cr_lf_and_have_at_most_75_octets() -> None:
    """RFC 5545 3.1. ä has two octets, 🍄 four; no letter is cut in two."""
    about = "Käse, Pilze; und \\ 🍄 " * 20
    written = calendar("x", [Due("k", date(2026, 9, 7), "t", about)], STAMP)

    lines = written.split(b"\r\n")
    assert max(map(len, lines)) == 75 and b"\n" not in b"".join(lines)
    assert all(line.decode() is not None for line in lines)
    assert str(Calendar.from_ical(written).walk("VEVENT")[0]["DESCRIPTION"]) == about


def test_folding_breaks_after_75_octets_with_a_blank_in_front() -> None:
    """75 a's fit on a line; the 76th begins the next after its blank, which holds 74 more."""
    assert folded("a" * 75) == "a" * 75
    assert folded("a" * 150) == "a" * 75 + "\r\n " + "a" * 74 + "\r\n a"


def test_escaping_of_the_four_marks() -> None:
    """RFC 5545 3.3.11: backslash, semicolon, comma, line break."""
    assert escaped("a\\b;c,d\ne") == "a\\\\b\\;c\\,d\\ne"


# --- the address -----------------------------------------------------------------------------


@pytest.fixture
def secret(owner_person: Person) -> str:
    return renew_calendar(owner_person)


def test_the_secret_opens_the_feed_without_signing_in(stranger: Client, secret: str) -> None:
    answer = stranger.get(f"/calendar/{secret}.ics")

    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    assert Calendar.from_ical(answer.content)["VERSION"] == "2.0"


def test_without_the_secret_nothing_opens(stranger: Client, secret: str) -> None:
    address = CalendarAddress.objects.get()

    for guess in ("x", secret[:-1], secret + "a", address.digest, str(address.pk)):
        assert stranger.get(f"/calendar/{guess}.ics").status_code == 404
    assert stranger.get("/calendar/").status_code == 302
    assert stranger.post("/calendar/").status_code == 302


def test_the_feed_opens_nothing_else_and_takes_nothing(stranger: Client, secret: str) -> None:
    answer = stranger.get(f"/calendar/{secret}.ics")

    assert not answer.cookies
    assert stranger.post(f"/calendar/{secret}.ics").status_code == 405
    assert stranger.get("/").status_code == 302


def test_renewing_makes_the_old_address_lead_nowhere(
    owner: Client, stranger: Client, secret: str
) -> None:
    page = owner.post("/calendar/").content.decode()
    renewed = _address_in(page)

    assert stranger.get(f"/calendar/{secret}.ics").status_code == 404
    assert stranger.get(renewed).status_code == 200


def test_the_secret_is_shown_once_and_kept_nowhere(owner: Client) -> None:
    shown = _address_in(owner.post("/calendar/").content.decode())

    assert ".ics" not in owner.get("/calendar/").content.decode()
    kept = CalendarAddress.objects.get().digest
    assert len(kept) == 64 and kept not in shown


def test_an_address_that_was_given_up_or_whose_person_left_leads_nowhere(
    owner: Client, stranger: Client, owner_person: Person, secret: str
) -> None:
    owner_person.user.is_active = False
    owner_person.user.save()
    assert stranger.get(f"/calendar/{secret}.ics").status_code == 404

    owner_person.user.is_active = True
    owner_person.user.save()
    owner.post("/calendar/", {"give_up": "yes"})
    assert stranger.get(f"/calendar/{secret}.ics").status_code == 404


def test_the_page_shows_the_days(reader: Client, world: World) -> None:
    world.now = timezone.now() - timedelta(days=2)
    blocks = grow_blocks(world)

    assert f"Move {blocks.code} to fruiting" in reader.get("/calendar/").content.decode()


def _address_in(page: str) -> str:
    found = page.split("http://testserver")[1].split("<")[0]
    assert found.startswith("/calendar/") and found.endswith(".ics")
    return found
