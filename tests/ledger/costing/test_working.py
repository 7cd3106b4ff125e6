"""Only what a new fact touches is worked again."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from ledger.drafts import ChargeDraft, NewLot
from ledger.errors import Malformed, NotEnough
from ledger.models import Edge, Flow, Lot, Role
from ledger.story import read_steps, read_story
from tests.ledger.shorthand import (
    KG,
    UNIT,
    amend,
    assert_book_is_sound,
    bought,
    bought_blocks,
    buys,
    line,
    loses,
    made_of,
    makes,
    moved,
    new,
    pick,
    pieces,
    put,
    sells,
    sold,
    undo,
    uses,
)

pytestmark = pytest.mark.django_db


def queries(lot: Lot) -> int:
    with CaptureQueriesContext(
        connection,
    ) as caught:
        sold(lot, 1)
    return len(caught)


def test_a_sale_takes_as_many_queries_in_a_long_book_as_in_a_short_one() -> None:
    lot = bought(KG, 10 * UNIT)
    first = queries(lot)
    for _ in range(20):
        made_of(lot, 10, new("mix"), 10)
    assert first == queries(lot)


def test_a_change_stops_where_nothing_changes() -> None:
    # The hour is shared by basis 0 to 1: the first jar's descendants are not worked.
    sack = bought(KG, 10 * UNIT)
    one, other = put(
        uses(sack, KG),
        makes(new("one"), 5, basis=0),
        makes(new("other"), 5),
        charges=(ChargeDraft("paid", UNIT),),
    ).lots[1:]
    below = made_of(one, 5, new("below"), 5)
    last = made_of(other, 5, new("last"), 5)
    before = set(Flow.objects.filter(lot=below).values_list("pk", flat=True))
    with CaptureQueriesContext(connection) as caught:
        amend(one.made_by, charges=(ChargeDraft("paid", UNIT),))
    updates = [
        q["sql"] for q in caught if q["sql"].startswith("UPDATE") and "ledger_lot" in q["sql"]
    ]
    assert len(updates) == 1  # only the last lot holds another cost than before
    assert before == set(Flow.objects.filter(lot=below).values_list("pk", flat=True))
    last.refresh_from_db()
    assert last.paid == 2 * UNIT
    assert_book_is_sound()


def test_a_lot_with_no_share_of_the_cost_costs_nothing() -> None:
    sack = bought(KG, 10 * UNIT)
    free = put(uses(sack, KG), makes(new("trim"), 5, basis=0), makes(new(), 5)).lots[1]
    free.refresh_from_db()
    assert free.cost == (0, 0, 0, 0, 0)


def test_each_kind_of_cost_is_carried_alone() -> None:
    sack = bought(4, 8 * UNIT)
    kinds = ("paid", "own", "energy", "room")
    charges = tuple(ChargeDraft(kind, 4 * k) for k, kind in enumerate(kinds, 1))
    mix = put(uses(sack, 4), makes(new(), 4), charges=charges).lots[1]
    put(sells(mix, 1))
    mix.refresh_from_db()
    assert mix.cost == (6_0000, 3, 6, 9, 12)


def test_an_input_of_nothing_makes_no_edge() -> None:
    sack, other = bought(4, 8 * UNIT), bought(4, 8 * UNIT)
    put(uses(sack, 4), uses(other, 0), makes(new(), 4))
    assert [sack.pk] == list(Edge.objects.values_list("src_id", flat=True))


def test_of_two_lots_that_fall_short_the_first_entry_that_fails_is_named() -> None:
    both = put(buys(new(), 10, UNIT), buys(new("bran"), 10, UNIT))
    one, other = both.lots
    first = sold(other, 10)
    sold(one, 10)
    with pytest.raises(NotEnough) as refused:
        amend(both.entry, line(one, Role.BOUGHT, -4), line(other, Role.BOUGHT, -4))

    assert refused.value.entry_seq == first.seq
    assert other.code in str(refused.value)


def test_what_was_stranded_moves_no_pieces_and_goes_with_the_loss_that_is_taken_back() -> None:
    lot = made_of(bought(KG, UNIT), KG, pieces(), 2, planned_loss_count=2)
    loss = put(loses(lot, 2)).entry
    stranded = Flow.objects.get(lot=lot, role=Role.STRANDED)
    assert (stranded.quantity, stranded.materials) == (0, -UNIT)

    undo(loss)
    assert not Flow.objects.filter(lot=lot, role=Role.STRANDED).exists()
    assert_book_is_sound()


def test_what_falls_on_a_lot_alone_is_worked_at_once() -> None:
    lot = made_of(bought(KG, UNIT), KG, pieces(), 2)
    put(line(lot, Role.MADE, 0), charges=(ChargeDraft("room", 7, lot=lot),))
    assert Lot.objects.get(pk=lot.pk).room == 7
    assert_book_is_sound()


def test_a_correction_may_bring_a_number_to_nothing_and_not_turn_it_round() -> None:
    lot = bought(10, UNIT)
    sale = sold(lot, 3)
    with pytest.raises(Malformed) as refused:
        amend(sale, line(lot, Role.SOLD, 4))
    assert str(refused.value) == (
        f"Lot {lot.code}: the correction would make sold at entry {sale.seq} quantity 1. "
        "Take the whole entry back instead."
    )
    with pytest.raises(Malformed, match=r"bought at entry \d+ money -1, quantity -1"):
        amend(lot.made_by, line(lot, Role.BOUGHT, -11, money=-UNIT - 1))

    amend(sale, line(lot, Role.SOLD, 3))
    assert Lot.objects.get(pk=lot.pk).quantity == 10


def test_the_story_of_one_lot_says_nothing_of_what_others_were_made_at() -> None:
    sack = bought(10, UNIT)
    hour = (ChargeDraft("paid", 7),)
    mix, _ = (put(uses(sack, 4), makes(new("mix"), 4), charges=hour).lots[1] for _ in range(2))
    story = read_story([mix.pk])
    assert (story.made_at, story.charged) == ({2: [(mix.pk, 1, 0)]}, {2: (0, 7, 0, 0, 0)})


def half_of(lot: Lot, count: int) -> Lot:
    part = NewLot(lot.item, unit_mass_mg=lot.unit_mass_mg, part_of=lot)
    return put(uses(lot, count), makes(part, count)).lots[1]


def test_a_part_of_a_part_was_picked_when_the_whole_was() -> None:
    # Pieces that are binned after the first pick carry nothing, also two splits later.
    whole = bought_blocks(40, 700 * UNIT)
    pick(whole, 100, 200, turn=1, pieces=40, turn_mg=500)
    quarter = half_of(half_of(whole, 20), 10)
    loss = put(loses(quarter, 5)).entry

    assert moved(loss, quarter, Role.LOST) == 0
    assert_book_is_sound()


def test_what_is_picked_of_a_whole_as_a_part_is_split_off_was_not_picked_before() -> None:
    whole = bought_blocks(40, UNIT)
    pick(whole, 100, 200)
    takes = line(whole, Role.USED, 0, given_mg=50, later_mg=20)
    part = makes(NewLot(whole.item, unit_mass_mg=whole.unit_mass_mg, part_of=whole), 5)
    lot = put(takes, part).lots[1]
    assert [step.given_mg for step in read_steps([lot.pk]).earlier[lot.pk]] == [100]
