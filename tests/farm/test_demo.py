"""The demo farm: some weeks of it, played through the actions, and what guards it."""

from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction
from pytest_django import DjangoDbBlocker

from farm.demo.clock import Year, played_clock
from farm.demo.scenery import build
from farm.demo.year import ZONE, play
from farm.models import Farm, Record, Review, Sale, SaleLine, Stage
from farm.queries.closings import closings, closings_add_up, late_entries, since_closing
from ledger.models import Entry, Lot
from tests.farm.world import assert_book_is_sound

# Long enough for oyster to be picked twice, sold, brought back, dried and spent.
WEEKS = 9

Lots = list[tuple[str, int, int]]  # code, quantity, own cost


def play_some() -> Lots:
    first_day = date(2026, 1, 5)
    year = Year(build(first_day), datetime.combine(first_day, time(7), tzinfo=ZONE))
    with played_clock(year):
        play(year, lambda week: None, WEEKS)
    return list(Lot.objects.order_by("pk").values_list("code", "quantity", "own"))


@pytest.fixture(scope="module")
def played(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[list[Lots]]:
    """Play twice, each time from nothing, and leave nothing behind; the second is there to read."""
    with django_db_blocker.unblock():
        with transaction.atomic():
            first = play_some()
            transaction.set_rollback(True)
        with transaction.atomic():
            yield [first, play_some()]
            transaction.set_rollback(True)


def test_it_goes_the_whole_way_and_the_book_is_sound(played: list[Lots]) -> None:
    stages = set(Lot.objects.values_list("card__stage", flat=True))

    assert stages >= {stage.value for stage in Stage} - {Stage.DRIED.value, Stage.SPENT.value}
    assert Sale.objects.filter(customer=None).exists()
    assert Sale.objects.exclude(customer=None).exists()
    assert_book_is_sound()


def test_it_keeps_records_beside_the_book(played: list[Lots]) -> None:
    kinds = set(Record.objects.values_list("kind", flat=True))

    assert kinds >= {"store-temperature", "cleaning", "training", "water"}
    assert Review.objects.exists()


def test_it_closes_its_months_and_puts_a_number_right_afterwards(played: list[Lots]) -> None:
    known = closings()
    changed = {(row.month, row.table) for row in since_closing()}

    assert [f"{closed.month:%Y-%m}" for closed in known.closed] == ["2026-01", "2026-02"]
    assert {file.name[-4:] for file in known.closed[-1].files.all()} >= {".pdf", "xlsx"}
    assert "correct" in {entry.kind for entry in late_entries(known)}
    assert {("2026-02", "sales"), ("2026-02", "tax")} <= changed
    assert closings_add_up().broken == ""


def test_no_entry_of_the_played_year_looks_late(played: list[Lots]) -> None:
    waits = [entry.recorded_at - entry.happened_at for entry in Entry.objects.all()]

    assert max(waits) < timedelta(hours=1)


def test_it_shows_the_three_answers_of_a_demo_that_is_there(played: list[Lots]) -> None:
    out = StringIO()

    call_command("demo", "--no-serve", stdout=out)

    said = out.getvalue()
    assert "stays as it is" in said
    for words in ("What a block and a kilo cost", "What is behind a sold punnet", "The month"):
        assert words in said
    assert "two-alders-owner" in said


def test_it_is_the_same_each_time_it_is_played(played: list[Lots]) -> None:
    first, second = ([row[:2] for row in lots] for lots in played)

    assert first == second


@pytest.mark.django_db
def test_it_never_touches_a_real_farm(farm: Farm) -> None:
    with pytest.raises(CommandError, match=f"holds a real farm .{farm.name}.*leaves it alone"):
        call_command("demo", "--no-serve", stdout=StringIO())

    assert Farm.objects.get().name == farm.name
    assert not Entry.objects.exists()


def test_what_is_dried_carries_tax_loose_and_in_packs_and_what_is_fresh_none(
    played: list[Lots],
) -> None:
    rows = SaleLine.objects.values_list("line__lot__card__stage", "tax_ppm").distinct()

    assert set(rows) >= {(Stage.CROP, 0), (Stage.DRIED, 90_000), (Stage.PACKS, 0)}
    assert not set(rows) & {(Stage.CROP, 90_000), (Stage.DRIED, 0)}
