"""Planted damage: each kind is found, and by exactly the checks that look at it."""

import pytest
from django.db import connection

from ledger import append_only, checks
from ledger.drafts import ChargeDraft, MarkDraft
from ledger.models import Lot
from tests.ledger.shorthand import (
    KG,
    UNIT,
    assert_book_is_sound,
    bought,
    makes,
    new,
    put,
    sells,
    uses,
)

pytestmark = pytest.mark.django_db

# A book of four entries: sacks 1 and 2 bought, mixed into lot 3, some of it sold, sack 2 held.
DAMAGE: dict[str, tuple[str, set[str]]] = {
    "a changed quantity": (
        "UPDATE ledger_line SET quantity = -99 WHERE entry_id = 4",
        {"seals_hold", "figures_equal_the_full_pass"},
    ),
    "a changed price": (
        "UPDATE ledger_line SET money = money + 1 WHERE entry_id = 1",
        {"seals_hold", "figures_equal_the_full_pass", "cost_is_conserved"},
    ),
    "a changed charge": (
        "UPDATE ledger_charge SET amount = amount + 1",
        {"seals_hold", "figures_equal_the_full_pass", "cost_is_conserved"},
    ),
    "a changed hold": ("UPDATE ledger_mark SET held = NOT held", {"seals_hold"}),
    "changed particulars": (
        "UPDATE ledger_entry SET particulars = '[]' WHERE seq = 4",
        {"seals_hold"},
    ),
    "a changed seal": ("UPDATE ledger_seal SET digest = '' WHERE entry_id = 2", {"seals_hold"}),
    "a changed label": ("UPDATE ledger_lot SET code = 'X' WHERE {lot3}", {"seals_hold"}),
    "an end cut off": (
        "DELETE FROM ledger_mark; DELETE FROM ledger_seal WHERE entry_id = 5; "
        "DELETE FROM ledger_entry WHERE seq = 5",
        {"seals_hold"},
    ),
    "a changed cost of a draw": (
        "UPDATE ledger_flow SET materials = materials - 1 WHERE entry_id = 3 AND {at1}",
        {"lots_add_up", "figures_equal_the_full_pass"},
    ),
    "a changed figure on a lot": (
        "UPDATE ledger_lot SET quantity = quantity + 1 WHERE {lot1}",
        {"lots_add_up", "figures_equal_the_full_pass"},
    ),
    "an open share that is closed": (
        "UPDATE ledger_lot SET shares_open = NOT shares_open WHERE {lot1}",
        {"figures_equal_the_full_pass"},
    ),
    "cost made from nothing": (
        "UPDATE ledger_lot SET materials = materials + 1 WHERE {lot1}; "
        "UPDATE ledger_flow SET materials = materials + 1 WHERE entry_id = 1",
        {"figures_equal_the_full_pass", "cost_is_conserved"},
    ),
    "cost moved from stock to sold": (
        "UPDATE ledger_lot SET materials = materials - 1 WHERE {lot3}; "
        "UPDATE ledger_flow SET materials = materials - 1 WHERE entry_id = 4",
        {"figures_equal_the_full_pass"},
    ),
    "one kind of cost below zero": (
        "UPDATE ledger_lot SET energy = energy - 1 WHERE {lot1}; "
        "UPDATE ledger_flow SET energy = energy - 1 WHERE entry_id = 1",
        {"lots_add_up", "figures_equal_the_full_pass", "cost_is_conserved"},
    ),
    "an empty lot that holds one kind of cost": (
        "UPDATE ledger_lot SET quantity = 0 WHERE {lot1}; "
        "UPDATE ledger_flow SET quantity = -1000000 WHERE entry_id = 3 AND {at1}",
        {"lots_add_up", "figures_equal_the_full_pass"},
    ),
    "a source that was made with what was made of it": (
        "UPDATE ledger_lot SET made_by_id = 3 WHERE {lot1}",
        {"seals_hold", "edges_follow_from_facts"},
    ),
    "a missing edge": ("DELETE FROM ledger_edge WHERE {from1}", {"edges_follow_from_facts"}),
    "a changed edge": (
        "UPDATE ledger_edge SET part = part + 1 WHERE {from1}",
        {"edges_follow_from_facts"},
    ),
    "an edge too many": (
        "INSERT INTO ledger_edge (src_id, dst_id, entry_id, quantity, part) "
        "SELECT src_id, dst_id, 4, 1, 1 FROM ledger_edge WHERE {from1}",
        {"edges_follow_from_facts"},
    ),
    "an edge turned round": (
        "UPDATE ledger_edge SET src_id = dst_id, dst_id = src_id WHERE {from1}",
        {"edges_follow_from_facts"},
    ),
}


def plant(statements: str) -> None:
    """Damage the book behind its back, and put the triggers back."""
    append_only.remove(connection)
    ids = list(Lot.objects.order_by("pk").values_list("pk", flat=True))
    places = {f"lot{k}": f"id = {pk}" for k, pk in enumerate(ids, 1)}
    places |= {f"at{k}": f"lot_id = {pk}" for k, pk in enumerate(ids, 1)}
    places |= {f"from{k}": f"src_id = {pk}" for k, pk in enumerate(ids, 1)}
    with connection.cursor() as cursor:
        for statement in statements.format(**places).split("; "):
            cursor.execute(statement)
            assert cursor.rowcount > 0, statement
        if connection.vendor == "postgresql":  # foreign keys are looked at before the triggers
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
    append_only.install(connection)


def broken() -> set[str]:
    return {check.__name__ for check in checks.CHECKS if check().broken}


@pytest.fixture
def book() -> None:
    one, two = bought(KG, 10 * UNIT), bought(KG, 20 * UNIT)
    hour = (ChargeDraft("paid", 3 * UNIT),)
    mix = put(uses(one, KG // 2), uses(two, KG // 2), makes(new("mix"), KG), charges=hour).lots[2]
    put(sells(mix, 100), price="2.50")
    put(marks=(MarkDraft(two, held=True),))


@pytest.mark.parametrize("damage", DAMAGE)
def test_damage_is_found_by_exactly_the_fitting_checks(book: None, damage: str) -> None:
    assert_book_is_sound()
    statements, finders = DAMAGE[damage]
    plant(statements)
    assert finders == broken()


def test_of_several_broken_lots_the_first_is_named(book: None) -> None:
    plant("UPDATE ledger_lot SET quantity = quantity + 1")
    code = Lot.objects.earliest("pk").code
    assert checks.lots_add_up().broken.startswith(f"lot {code} holds 500001,")
    assert checks.figures_equal_the_full_pass().broken.startswith(f"lot {code}: kept 500001,")


def test_a_lot_without_lines_comes_to_nothing(book: None) -> None:
    plant("DELETE FROM ledger_flow WHERE {at1}")
    broken = checks.lots_add_up().broken
    assert broken.endswith("holds 500000, (50000, 0, 0, 0, 0); its lines 0, (0, 0, 0, 0, 0)")


def test_a_dropped_trigger_is_found(book: None) -> None:
    append_only.remove(connection)
    assert {"triggers_are_there"} == broken()
    assert "ledger_seal_no_delete" in checks.triggers_are_there().broken


def test_each_check_says_what_it_looked_at(book: None) -> None:
    looked_at = [check().looked_at for check in checks.CHECKS]
    expected = [
        "its triggers",
        "5 entries",
        "2 edges",
        "3 lots",
        "6 flows",
        "330000 ten-thousandths that came in, in 5 kinds",
    ]
    assert expected == looked_at


def test_an_empty_book_is_sound() -> None:
    assert_book_is_sound()
