"""A copied world is the played one: row by row, in what it returns, and in what comes next."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import fields, is_dataclass, replace
from datetime import timedelta
from uuid import UUID

import pytest
from django.contrib.sessions.models import Session
from django.db import connection, transaction
from django.db.models import Model
from django.test import Client
from django.utils import timezone

from farm.actions.store.storing import throw_away
from farm.models import Farm, Person, Supplier
from ledger.models import Entry, Lot, Seal
from tests.conftest import signed_in
from tests.copied import copied
from tests.farm.season import Season, season
from tests.farm.world import World, assert_book_is_sound, fresh, grow_blocks, small_farm
from tests.table_rows import Rows, read_rows, tables

pytestmark = pytest.mark.django_db

played: list[str] = []


@copied
def a_season(why: str) -> Season:
    """Count how often it is played, for one reason each test."""
    played.append(why)
    return season()


@copied
def supplier(world: World, name: str) -> Supplier:
    played.append(name)
    world.wait(1)
    return Supplier.objects.create(name=f"{name} of {world.farm.name}")


@contextmanager
def undone() -> Iterator[None]:
    """Another test, in the same process: what is done in it is rolled back."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def plain(value: object) -> object:
    """What a builder returned, as values that can be compared, with all that rows have read."""
    if isinstance(value, Model):
        said = {k: v for k, v in vars(value).items() if not k.startswith("_")}
        return type(value), said, {k: v and v.pk for k, v in value._state.fields_cache.items()}
    if is_dataclass(value) and not isinstance(value, type):
        return {each.name: plain(getattr(value, each.name)) for each in fields(value)}
    if isinstance(value, dict):
        return {key: plain(each) for key, each in value.items()}
    return [plain(each) for each in value] if isinstance(value, tuple | list) else value


def test_a_copied_season_is_the_played_one_row_by_row() -> None:
    with undone():
        first = plain(a_season("rows"))
        rows = read_rows()
    with undone():
        again = a_season("rows")
        assert played.count("rows") == 1
        assert read_rows() == rows
        assert plain(again) == first
        assert [lot.code for lot in Lot.objects.order_by("pk")] == [
            row[tables()["ledger_lot"].columns.index("code")] for row in rows["ledger_lot"].values()
        ]
        assert Seal.objects.count() == Entry.objects.count() > 20
        assert_book_is_sound()


def test_what_comes_after_a_copy_is_what_comes_after_the_play(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The next numbers, codes and seals are the same, to the digest."""
    now = timezone.now()
    after = []
    for _ in range(2):
        with undone():
            one = a_season("after")
            doing = replace(one.world.doing(reason="unsold"), uuid=UUID(int=7))
            with monkeypatch.context() as patch:
                patch.setattr(timezone, "now", lambda: now)
                throw_away(doing, lot=fresh(one.packs), quantity=1)
            after.append(numbered_alike(read_rows()))
            assert_book_is_sound()

    assert after[0] == after[1]
    assert played.count("after") == 1


def numbered_alike(rows: Rows) -> object:
    """The rows; on PostgreSQL without their numbers, of which it gives none twice."""
    if connection.vendor == "sqlite":
        return rows
    return {name: [row[1:] for row in found.values()] for name, found in rows.items()}


def test_a_test_may_change_its_copy() -> None:
    with undone():
        one = a_season("changes")
        one.world.farm.name = "Another"
        one.world.farm.save()
        one.world.supplies.clear()
        one.packs.code = "X"
    with undone():
        again = a_season("changes")
        assert again.world.farm.name == Farm.objects.get().name == "Alder Lane"
        assert "rye" in again.world.supplies
        assert again.packs.code == fresh(again.packs).code
    assert played.count("changes") == 1


def test_the_world_that_was_given_moves_on_as_if_played() -> None:
    for _ in range(2):
        with undone():
            world = small_farm()
            farm, began = world.farm, world.now
            found = supplier(world, "Moves")
            assert world.now == began + timedelta(days=1)
            assert world.farm is farm
            assert Supplier.objects.get(pk=found.pk).name == found.name == "Moves of Alder Lane"
    assert played.count("Moves") == 1


@pytest.mark.parametrize("what", ["another row", "another argument", "a world moved on"])
def test_what_would_play_otherwise_is_played(what: str) -> None:
    with undone():
        supplier(small_farm(), what)
    with undone():
        world = small_farm()
        if what == "another row":
            Supplier.objects.create(name="First")
        if what == "a world moved on":
            world.wait(1)
        name = "Mill" if what == "another argument" else what
        assert supplier(world, name).name == f"{name} of Alder Lane"
    assert played[-2:] == [what, name]


def test_a_moved_clock_is_not_copied(monkeypatch: pytest.MonkeyPatch) -> None:
    late = timezone.now() + timedelta(days=40)
    with undone():
        grow_blocks(small_farm())
    monkeypatch.setattr(timezone, "now", lambda: late)
    grow_blocks(small_farm())

    assert set(Entry.objects.values_list("recorded_at", flat=True)) == {late}


def test_whoever_signs_in_sees_a_copied_farm(owner_person: Person) -> None:
    assert Session.objects.count() == 0
    world = small_farm()
    assert world.owner == owner_person
    assert signed_in(world.owner).get("/").status_code == 200
    assert signed_in(owner_person).get("/").status_code == 200


def test_a_visit_cannot_be_copied() -> None:
    @copied
    def visited() -> Client:
        return signed_in(small_farm().owner)

    with pytest.raises(AssertionError, match="signed in"):
        visited()
