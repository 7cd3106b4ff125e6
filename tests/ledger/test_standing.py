"""What stands at a place: an entry's rows with those of all that amends it."""

import pytest
from django.db.models import OuterRef, QuerySet, Subquery, Sum

from ledger.drafts import ChargeDraft
from ledger.models import Charge, Entry, Line, Role
from ledger.standing import stands_at
from tests.ledger.shorthand import UNIT, amend, bought, line, loses, put, sold, undo

pytestmark = pytest.mark.django_db


def total(rows: QuerySet[Line]) -> int:
    return rows.aggregate(sum=Sum("quantity"))["sum"] or 0


def test_a_correction_stands_at_the_place_of_what_it_corrects() -> None:
    sack = bought(20, UNIT)
    amend(sack.made_by, line(sack, Role.BOUGHT, -3))
    sold(sack, 5)
    assert total(Line.objects.standing_at(sack.made_by_id)) == 20 - 3


def test_what_was_taken_back_adds_up_to_nothing() -> None:
    sack = bought(20, UNIT)
    sale = sold(sack, 5)
    undo(sale)
    rows = Line.objects.standing_at(sale.seq)
    assert [row.quantity for row in rows.order_by("pk")] == [-5, 5]
    assert not rows.standing().filter(entry=sale).exists()


def test_many_places_are_asked_for_at_once() -> None:
    sack = bought(20, UNIT)
    first, second, _ = sold(sack, 5), sold(sack, 4), sold(sack, 2)
    assert total(Line.objects.standing_at([first.seq, second.seq])) == -9
    sales = Entry.objects.filter(lines__role=Role.SOLD, seq__gt=first.seq)
    assert total(Line.objects.standing_at(sales.values("seq"))) == -6
    assert not Line.objects.standing_at([]).exists()


def test_it_is_asked_of_each_row_of_another_question() -> None:
    sack = bought(20, UNIT)
    sale = sold(sack, 5)
    amend(sale, line(sack, Role.SOLD, 2))
    now = Line.objects.standing_at(OuterRef("pk")).order_by().values("entry__place")
    asked = Entry.objects.annotate(now=Subquery(now.annotate(sum=Sum("quantity")).values("sum")))
    assert asked.get(pk=sale.seq).now == -3


def test_it_finds_charges_and_entries_too() -> None:
    sack = bought(20, UNIT)
    charges = (ChargeDraft("own", 3 * UNIT, lot=sack),)
    loss = put(loses(sack, 1), charges=charges).entry
    less = amend(loss, charges=(ChargeDraft("own", -UNIT, lot=sack),)).entry
    amounts = Charge.objects.standing_at(loss.seq).values_list("amount", flat=True)
    assert sum(amounts) == 2 * UNIT
    assert list(Entry.objects.standing_at(loss.seq)) == [loss, less]


def test_it_is_one_of_several_conditions() -> None:
    sack = bought(20, UNIT)
    sale = sold(sack, 5)
    other = bought(7, UNIT)
    rows = Line.objects.filter(stands_at(sale.seq)) | Line.objects.filter(lot=other)
    assert sorted(row.quantity for row in rows) == [-5, 7]
