"""What the book is asked: what stands at a place, and queries whose SQL is written once."""

from collections.abc import Callable

import pytest
from django.db import connection
from django.db.models import OuterRef, Q, QuerySet, Subquery, Sum
from django.test.utils import CaptureQueriesContext

from ledger.asked_often import AskedOften, Row
from ledger.drafts import ChargeDraft
from ledger.models import Charge, Entry, Line, Lot, Role
from ledger.standing import stands_at
from tests.farm.season import season
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


# --- asked often -------------------------------------------------------------------------------

COUNTS = (1, 2, 3, 4, 5, 8, 9, 2_000)


def held(lots: list[int]) -> "QuerySet[Lot, Row]":
    """Ask for yes or no, which SQLite keeps as a number."""
    return Lot.objects.filter(pk__in=lots).order_by("pk").values_list("pk", "held", "part_of_id")


def sums(places: list[int]) -> "QuerySet[Line, Row]":
    """Ask for sums, which PostgreSQL gives as decimals, with a number of our own beside."""
    rows = Line.objects.standing_at(places).filter(role=Role.MADE, quantity__gt=0)
    return rows.values_list("entry__place").annotate(Sum("quantity")).order_by("entry__place")


def falls(lots: list[int]) -> "QuerySet[Lot, Row]":
    """Ask twice about the same keys."""
    return Lot.objects.filter(Q(pk__in=lots) | Q(part_of__in=lots)).values_list("pk").order_by("pk")


@pytest.mark.parametrize("ask", [held, sums, falls])
def test_it_gives_what_django_gives(ask: "Callable[[list[int]], QuerySet[Lot, Row]]") -> None:
    season()
    often = AskedOften(ask)
    first = Lot.objects.earliest("pk").pk

    for count in COUNTS:
        for begin in (first, first + 3):
            keys = list(range(begin, begin + count))
            rows = often(keys)
            assert [(row, [type(part) for part in row]) for row in rows] == [
                (row, [type(part) for part in row]) for row in ask(keys)
            ]
    assert len(rows) > 5


def test_of_two_lists_either_may_be_empty() -> None:
    season()

    def ask(places: list[int], lots: list[int]) -> "QuerySet[Charge, Row]":
        said = Charge.objects.filter(Q(entry__in=places) | Q(entry__lots_made__in=lots))
        return said.values_list("pk").order_by("pk").distinct()

    often = AskedOften(ask)
    places = list(Charge.objects.values_list("entry_id", flat=True)[:3])
    lots = list(Lot.objects.filter(made_by__charges__isnull=False).values_list("pk", flat=True))

    for keys in ((places, lots[-2:]), (places, []), ([], lots[-2:])):
        assert often(*keys) == list(ask(*keys)) != []
    assert len(often(places, lots[-2:])) > len(often([], lots[-2:]))


def test_nothing_is_not_asked_about() -> None:
    with CaptureQueriesContext(connection) as asked:
        assert AskedOften(held)([]) == []

    assert len(asked) == 0


def test_the_sql_is_written_once_for_one_to_eight_keys_of_each_length() -> None:
    written: list[int] = []

    def ask(lots: list[int]) -> "QuerySet[Lot, Row]":
        written.append(len(lots))
        return held(lots)

    often = AskedOften(ask)
    for count in (3, 4, 1, 3, 8, 5, 1, 7):
        often(range(1, count + 1))

    assert written == [4, 1, 8]
