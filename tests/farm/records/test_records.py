"""Records beside the book: what each must say, who signs, what is late, what was corrected."""

from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import DatabaseError, transaction
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries

from farm.actions.growing.blocks import move
from farm.actions.records.records import erase_private, review
from farm.actions.signing import MOST_MISSES, Signed, set_pin, signed
from farm.models import Person, PrivateWords, Record, Role, Room
from farm.queries.records import records as query
from farm.queries.records.store_temperatures import excursions
from farm.readings import in_fahrenheit
from farm.records import ILLNESS, STORE
from farm.reports.records.record_rows import gap_words, signature, state_words
from ledger.errors import Conflict, Malformed
from tests.conftest import person_in_role
from tests.farm.goods import packs
from tests.farm.kept import PIN, cleaned, keep, out_of_limits, pinned, read_store
from tests.farm.world import World, picked

ILL: dict[str, Any] = {"who": "Ben", "symptoms": "stomach"}


# --- what each kind must say -----------------------------------------------------------------


def test_a_reading_on_its_limit_is_within_it(world: World) -> None:
    assert query.values_of(read_store(world, 5_000))["read_milli_c"] == 5_000


def test_a_reading_over_its_limit_needs_what_was_done(world: World) -> None:
    with pytest.raises(Malformed, match=r"5.1 °C is outside the limits. State what was done"):
        read_store(world, 5_100)


def test_an_excursion_needs_what_became_of_the_mushrooms(world: World) -> None:
    with pytest.raises(Malformed, match="what became of the mushrooms, by the farm's own plan"):
        read_store(world, 5_100, done="door shut")


def test_a_reading_under_its_lower_limit_is_an_excursion_too(world: World) -> None:
    with pytest.raises(Malformed, match=r"-1\.0 °C is outside the limits"):
        read_store(world, -1_000, low_milli_c=0)


def test_limits_are_copied_from_the_last_reading_of_the_room(world: World) -> None:
    read_store(world, 3_000, low_milli_c=0)
    after = keep(world, STORE, room=world.fridge_shelf.room, read_milli_c=2_000)

    assert query.values_of(after) == {
        "read_milli_c": 2_000,
        "high_milli_c": 5_000,
        "low_milli_c": 0,
    }


def test_the_first_reading_of_a_room_states_the_farms_own_limit(world: World) -> None:
    with pytest.raises(Malformed, match=r"has no reading before\. State the farm's own limit"):
        keep(world, STORE, room=world.fridge_shelf.room, read_milli_c=2_000)


def test_cleaning_needs_its_method(world: World) -> None:
    # 21 CFR 112.140(b): date and method of cleaning.
    with pytest.raises(Malformed, match="Cleaning: Method missing"):
        cleaned(world, method="")


ICE: dict[str, Any] = {"thermometer": "2", "allowed_milli_c": 1_000}


@pytest.mark.parametrize("read_milli_c", [1_000, -1_000])
def test_a_thermometer_near_the_ice_point_is_right(world: World, read_milli_c: int) -> None:
    assert keep(world, "thermometer", **ICE, read_milli_c=read_milli_c).pk


def test_a_thermometer_off_the_ice_point_needs_what_was_done(world: World) -> None:
    with pytest.raises(Malformed, match=r"1\.1 °C off the ice point"):
        keep(world, "thermometer", **ICE, read_milli_c=-1_100)

    assert keep(world, "thermometer", **ICE, read_milli_c=-1_100, done="replaced").pk


def test_a_scale_beyond_its_difference_needs_what_was_done(world: World) -> None:
    said: dict[str, Any] = {"scale": "packing", "test_mg": 500_000, "allowed_mg": 1_000}
    assert keep(world, "scale", **said, read_mg=501_000).pk
    with pytest.raises(Malformed, match=r"The scale is 1\.5 g off"):
        keep(world, "scale", **said, read_mg=498_500)


def test_water_over_its_limit_needs_what_was_done(world: World) -> None:
    said: dict[str, Any] = {
        "source": "well",
        "laboratory": "county",
        "analyte": "E. coli",
        "result": "3",
        "limit": "0",
    }
    assert keep(world, "water", **said, meets="yes").pk
    with pytest.raises(Malformed, match=r"does not meet its limit\. State what was done"):
        keep(world, "water", **said, meets="no")


# --- times, and one effect -------------------------------------------------------------------


@pytest.mark.parametrize(("hours", "late"), [(24, ""), (25, "recorded late")])
def test_a_record_made_more_than_a_day_after_looks_late(
    world: World, hours: int, late: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    at = datetime.fromisoformat("2026-09-08T07:00Z")
    monkeypatch.setattr(timezone, "now", lambda: at + timedelta(hours=hours))

    assert state_words(cleaned(world, at=at)) == late


def test_a_record_falls_on_the_farms_own_day(world: World) -> None:
    # 22:30 UTC on the 8th is half past midnight on the 9th in Madrid, in summer.
    record = cleaned(world, at=datetime.fromisoformat("2026-09-08T22:30Z"))

    assert str(record.happened_on) == "2026-09-09"


def test_a_form_sent_twice_keeps_one_record(world: World) -> None:
    uuid, at = uuid4(), world.now
    first = cleaned(world, uuid=uuid, at=at)

    assert cleaned(world, uuid=uuid, at=at) == first
    with pytest.raises(Conflict, match="sent before with other content"):
        cleaned(world, uuid=uuid, at=at, method="wiped")


# --- corrections and erasing -----------------------------------------------------------------


def test_a_correction_keeps_what_it_corrects(world: World) -> None:
    wrong = read_store(world, 4_800)
    right = read_store(world, 3_800, corrects=wrong, note="misread")
    states = [state_words(record) for record in query.records(kind=STORE).order_by("pk")]

    assert f"corrected by {right.pk}" in states[0]
    assert f"corrects {wrong.pk}" in states[1]


def test_a_correction_says_why(world: World) -> None:
    wrong = cleaned(world)
    with pytest.raises(Malformed, match="Say in the note why it was wrong"):
        cleaned(world, corrects=wrong)


def test_what_was_corrected_is_corrected_no_more(world: World) -> None:
    wrong = cleaned(world)
    right = cleaned(world, corrects=wrong, note="the other table")
    with pytest.raises(Malformed, match=f"was corrected by record {right.pk} already"):
        cleaned(world, corrects=wrong, note="again")


def test_the_database_refuses_to_change_a_record(world: World) -> None:
    record = cleaned(world)
    with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
        Record.objects.filter(pk=record.pk).update(initials="XX")


def test_illness_notes_can_be_erased_and_keep_their_number(world: World) -> None:
    record = keep(world, ILLNESS, **ILL)
    erase_private(record, world.owner)
    kept = query.records().get(pk=record.pk)

    assert (record.said, query.values_of(kept), kept.initials) == ("{}", {}, "OL")
    assert "erased on request" in state_words(kept)
    assert "Ben" not in str(list(PrivateWords.objects.values_list("said")))


def test_other_records_are_not_erased(world: World) -> None:
    with pytest.raises(Malformed, match="has no private words"):
        erase_private(cleaned(world), world.owner)


# --- the second signature --------------------------------------------------------------------


def test_an_owner_signs_a_helpers_cleaning_a_second_time(world: World) -> None:
    record = cleaned(world, by=world.helper)
    waiting = query.to_review().count()
    made = review(record, world.owner)

    assert (waiting, made.initials, query.to_review().count()) == (1, "OL", 0)


def test_the_doer_does_not_sign_a_second_time(world: World) -> None:
    with pytest.raises(Malformed, match=r"was done by OL\. Another owner must look it through"):
        review(cleaned(world), world.owner)


def test_a_helper_does_not_sign_a_second_time(world: World) -> None:
    with pytest.raises(Malformed, match="reviewed by an owner"):
        review(cleaned(world), world.helper)


def test_a_reading_needs_no_second_signature(world: World) -> None:
    with pytest.raises(Malformed, match="needs no second signature"):
        review(read_store(world, 3_000, by=world.helper), world.owner)


def test_what_was_corrected_is_not_signed(world: World) -> None:
    wrong = cleaned(world, by=world.helper)
    cleaned(world, by=world.helper, corrects=wrong, note="the other table")
    with pytest.raises(Malformed, match="was corrected"):
        review(wrong, world.owner)


# --- initials and PIN ------------------------------------------------------------------------


def test_a_helper_signs_with_a_pin_under_anothers_sign_in(world: World) -> None:
    pinned(world.helper)
    who = signed(world.owner, "hu", PIN)
    record = Record(by=who.by, initials=who.by.initials, typed_by=who.typed_by)

    assert who == Signed(world.helper, world.owner)
    assert signature(record) == "HU by PIN (OL)"


def test_blank_initials_are_ones_own_sign_in(world: World) -> None:
    assert signed(world.helper) == Signed(world.helper, world.helper)


def test_a_wrong_pin_is_refused_and_after_five_the_right_one_too(world: World) -> None:
    pinned(world.helper)
    for _ in range(MOST_MISSES):
        with pytest.raises(Malformed, match="do not belong together"):
            signed(world.owner, "HU", "0000")
    with pytest.raises(Malformed, match="Ask the owner to set another"):
        signed(world.owner, "HU", PIN)


def test_the_right_pin_forgets_wrong_ones(world: World) -> None:
    pinned(world.helper)
    with pytest.raises(Malformed):
        signed(world.owner, "HU", "0000")
    signed(world.owner, "HU", PIN)

    assert Person.objects.get(pk=world.helper.pk).pin_misses == 0


def test_somebody_without_a_pin_signs_only_by_their_own_sign_in(world: World) -> None:
    with pytest.raises(Malformed, match="do not belong together"):
        signed(world.owner, "HU", "")


def test_a_reader_signs_nothing(world: World) -> None:
    pinned(person_in_role(Role.BOOKKEEPER, "rita"))
    with pytest.raises(Malformed, match="RI reads and does not record"):
        signed(world.owner, "RI", PIN)


@pytest.mark.parametrize("pin", ["123", "123456789", "12a4", "1111", "１２３４"])
def test_a_pin_has_four_to_eight_digits(world: World, pin: str) -> None:
    with pytest.raises(Malformed, match="four to eight digits"):
        set_pin(world.helper, pin)


def test_a_pin_is_kept_as_a_hash(world: World) -> None:
    assert PIN not in pinned(world.helper).pin_hash


# --- gaps and excursions ---------------------------------------------------------------------


def test_days_without_a_reading_are_named(world: World) -> None:
    first = read_store(world, 3_000).happened_on
    world.wait(3)
    last = read_store(world, 3_000).happened_on
    gaps = query.missing_days(first - timedelta(days=9), last, today=last)

    # Nothing is due before the first reading: 8 and 9 September are missing, 7 and 10 are not.
    assert [gap_words(gap) for gap in gaps] == [
        "no store temperature in Fridge from 8 Sep 2026 to 9 Sep 2026"
    ]


def test_days_to_come_are_not_missing(world: World) -> None:
    today = read_store(world, 3_000).happened_on
    gaps = query.missing_days(today, today + timedelta(days=9), today=today)

    assert gaps == []


def test_a_corrected_reading_fills_no_day(world: World) -> None:
    wrong = read_store(world, 3_000)
    later = world.now + timedelta(days=1)
    read_store(world, 3_000, corrects=wrong, note="it was the next day", at=later)
    gaps = query.missing_days(wrong.happened_on, wrong.happened_on, today=later.date())

    assert gaps == []  # the fridge's first standing reading is of the day after


def test_an_excursion_names_the_lots_that_sat_through_it(world: World) -> None:
    crop = picked(world, firsts_mg=10_000_000)
    good = read_store(world, 3_000)
    out_of_limits(world)
    over = read_store(world, 4_000)
    room = world.fridge_shelf.room
    (found,) = excursions([room], good.happened_on, over.happened_on, now=world.now)[room]

    assert [(one.lot, one.quantity) for one in found.lots] == [(crop, 10_000_000)]
    assert (found.since, found.until) == (good.happened_at, over.happened_at)
    assert (found.worst_milli_c, found.limit_milli_c, found.is_over) == (8_000, 5_000, True)


def test_packs_in_the_store_sat_through_it_as_well(world: World) -> None:
    made = packs(world, 10)
    move(world.doing(), lot=made, shelf=world.fridge_shelf)
    bad = out_of_limits(world)
    room = world.fridge_shelf.room
    (found,) = excursions([room], bad.happened_on, bad.happened_on, now=world.now)[room]

    assert [(one.lot, one.quantity) for one in found.lots] == [(made, 10)]


def test_two_rooms_are_asked_for_like_one_and_keep_their_lots_apart(
    world: World, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    crop = picked(world)
    other = Room.objects.create(name="Fridge 2")
    bad, rooms = out_of_limits(world), [world.fridge_shelf.room, other]
    out_of_limits(world, room=other)

    with django_assert_num_queries(3):
        found = excursions(rooms, bad.happened_on, bad.happened_on, now=world.now)

    assert [[one.lot for one in found[room][0].lots] for room in rooms] == [[crop], []]


def test_a_lot_that_came_after_sat_through_nothing(world: World) -> None:
    read_store(world, 3_000)
    bad = out_of_limits(world)
    read_store(world, 4_000)
    picked(world)
    room = world.fridge_shelf.room
    (found,) = excursions([room], bad.happened_on, bad.happened_on, now=world.now)[room]

    assert found.lots == ()


def test_fahrenheit_is_for_readings_and_for_differences() -> None:
    assert (in_fahrenheit(5_000), in_fahrenheit(-18_000)) == (41_000, -400)
    assert in_fahrenheit(1_000, is_rise=True) == 1_800
