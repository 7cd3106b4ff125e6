"""The book's truths on the command line."""

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from ledger import append_only
from tests.farm.world import World, picked


def test_it_prints_each_truth_with_what_it_looked_at(
    world: World, capsys: pytest.CaptureFixture[str]
) -> None:
    picked(world)
    call_command("audit_book")
    said = capsys.readouterr().out

    assert "holds: cost in = in stock + sold + losses" in said
    assert said.count("holds: ") == 9  # six of the ledger, closings, two of accounts


def test_it_stops_at_the_first_broken_truth(world: World) -> None:
    crop = picked(world)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE ledger_lot SET quantity = quantity + 1 WHERE id = %s", [crop.pk])

    with pytest.raises(CommandError, match=f"BROKEN: .*lot {crop.code}"):
        call_command("audit_book")


def test_the_triggers_are_there_to_be_found(db: None) -> None:
    assert append_only.missing(connection) == []
