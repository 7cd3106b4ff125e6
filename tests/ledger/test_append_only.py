"""The database itself refuses to change facts, on both engines."""

import pytest
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction

from ledger import append_only
from ledger.drafts import ChargeDraft, MarkDraft
from ledger.models import Edge, Flow, Lot
from tests.ledger.shorthand import KG, bought, makes, new, put, uses

pytestmark = pytest.mark.django_db


@pytest.fixture
def lot() -> Lot:
    """A book with a row in every table of facts."""
    sack = bought(KG, 10)
    charges = (ChargeDraft("paid", 5),)
    put(uses(sack, 5), makes(new(), 5), charges=charges, marks=(MarkDraft(sack, held=True),))
    return sack


CHANGES = {
    "ledger_entry": "particulars = '[]'",
    "ledger_line": "quantity = 1",
    "ledger_charge": "amount = 1",
    "ledger_mark": "held = NOT held",
    "ledger_seal": "digest = ''",
    "ledger_item": "alike = 'X'",
    "ledger_lot": "code = 'X'",
}


def run(statement: str) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement)


def test_every_table_of_facts_is_tried() -> None:
    assert set(append_only.BOOK) == set(CHANGES)


@pytest.mark.parametrize("table", CHANGES)
@pytest.mark.parametrize("statement", ["UPDATE {table} SET {change}", "DELETE FROM {table}"])
def test_facts_can_be_neither_changed_nor_deleted(lot: Lot, table: str, statement: str) -> None:
    text = statement.format(table=table, change=CHANGES[table])
    with pytest.raises(DatabaseError, match=f"facts in {table} are never changed"):
        run(text)


@pytest.mark.skipif(connection.vendor != "postgresql", reason="only PostgreSQL has TRUNCATE")
@pytest.mark.parametrize("table", CHANGES)
def test_facts_cannot_be_truncated(lot: Lot, table: str) -> None:
    run("SET CONSTRAINTS ALL IMMEDIATE")  # nothing pending may stand in the way
    with pytest.raises(DatabaseError, match="never changed"):
        run(f"TRUNCATE {table} CASCADE")


def test_what_is_worked_can_be_changed(lot: Lot) -> None:
    assert Lot.objects.filter(pk=lot.pk).update(quantity=5, held=False, materials=1)
    assert Flow.objects.all().delete()[0]
    assert Edge.objects.all().delete()[0]


def test_the_triggers_are_there_after_migrating() -> None:
    assert append_only.missing(connection) == []


def test_removed_triggers_are_missed_and_put_back() -> None:
    append_only.remove(connection)
    assert "ledger_line_no_update" in append_only.missing(connection)
    append_only.install(connection)
    assert append_only.missing(connection) == []


def test_installing_twice_changes_nothing() -> None:
    append_only.install(connection)
    assert append_only.missing(connection) == []


def test_a_migrate_puts_the_triggers_back() -> None:
    append_only.remove(connection)
    call_command("migrate", verbosity=0)
    assert append_only.missing(connection) == []
