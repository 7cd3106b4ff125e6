"""Recording, amending and taking back: what is accepted, what is refused, what stays."""

from uuid import uuid4

import pytest
from django.core import serializers

from ledger import book, errors
from ledger.drafts import ChargeDraft
from ledger.models import Charge, Edge, Entry, Flow, Head, Line, Lot, Role, Seal
from tests.ledger.shorthand import (
    KG,
    UNIT,
    amend,
    assert_book_is_sound,
    bought,
    bought_blocks,
    buys,
    draft,
    held,
    line,
    loses,
    made_of,
    makes,
    moved,
    new,
    on_hand,
    pick,
    pieces,
    put,
    returned,
    sells,
    sold,
    spent,
    undo,
    uses,
)

pytestmark = pytest.mark.django_db


def facts() -> list[str]:
    """Every fact in the book, one a row."""
    models = (Entry, Line, Charge, Seal)
    return [serializers.serialize("json", [row]) for m in models for row in m.objects.all()]


def figures() -> tuple[list[object], ...]:
    """Everything worked: what no undone entry may leave changed (but zero rows of its own)."""
    lots = Lot.objects.filter(quantity__gt=0).order_by("pk")
    flows = Flow.objects.exclude(quantity=0, materials=0).order_by("entry", "lot", "role")
    return (
        list(lots.values_list("code", "quantity", "materials", "held", "shares_open")),
        list(flows.values_list("entry", "lot", "role", "quantity", "materials")),
        list(Edge.objects.order_by("src", "dst").values_list("src", "dst", "quantity", "part")),
    )


def test_entries_are_numbered_in_the_order_of_acceptance() -> None:
    bought(KG, 1)
    bought(KG, 1)
    assert list(Entry.objects.values_list("seq", flat=True)) == [1, 2]
    assert Head.objects.get().seq == 2


def test_the_same_form_sent_twice_has_one_effect() -> None:
    form = draft(buys(new(), KG, 1 * UNIT))
    first, second = book.record(form), book.record(form)
    assert (first.fresh, second.fresh) == (True, False)
    assert (first.entry, first.lots) == (second.entry, second.lots)
    assert Entry.objects.count() == 1


def test_the_same_form_with_other_content_is_a_conflict() -> None:
    uuid = uuid4()
    put(buys(new(), KG, 1 * UNIT), uuid=uuid)
    with pytest.raises(errors.Conflict, match="entry 1"):
        put(buys(new(), KG, 2 * UNIT), uuid=uuid)


def test_an_amendment_and_a_reversal_sent_twice_have_one_effect() -> None:
    lot = bought(KG, 1 * UNIT)
    change, reversal = draft(line(lot, Role.BOUGHT, -1)), draft()
    assert not [book.amend(lot.made_by, change) for _ in range(2)][1].fresh
    assert not [book.take_back(lot.made_by, reversal) for _ in range(2)][1].fresh
    assert Entry.objects.count() == 3


def test_one_form_cannot_be_both_a_record_and_a_reversal() -> None:
    lot = bought(KG, 1 * UNIT)
    form = draft(sells(lot, 1))
    book.record(form)
    with pytest.raises(errors.Conflict):
        book.take_back(lot.made_by, form)


def test_what_is_refused_leaves_nothing_behind() -> None:
    lot = bought(KG, 1 * UNIT)
    before = facts()
    with pytest.raises(errors.NotEnough):
        put(uses(lot, 2 * KG), makes(new(), KG))
    assert before == facts()
    assert Head.objects.values_list("seq", "lots").get() == (1, 1)
    assert Lot.objects.count() == 1


def test_it_refuses_to_sell_more_than_is_in_the_lot() -> None:
    lot = bought(KG, 1 * UNIT)
    with pytest.raises(errors.NotEnough, match=f"Lot {lot.code}.*falls 0.000001 kg short\\. C"):
        sold(lot, KG + 1)


def test_an_amendment_never_changes_a_fact() -> None:
    lot = bought(KG, 1 * UNIT)
    sold(lot, 10)
    before = facts()
    amend(lot.made_by, line(lot, Role.BOUGHT, -5, money=-10))
    after = facts()
    assert set(before) < set(after)
    assert len(before) + 3 == len(after)  # the entry, its line, its seal


def test_an_amendment_names_the_first_entry_that_would_fail() -> None:
    lot = bought(10, 1 * UNIT)
    sold(lot, 4)
    first_to_fail = sold(lot, 4)
    sold(lot, 2)
    with pytest.raises(errors.NotEnough, match=f"entry {first_to_fail.seq}") as refusal:
        amend(lot.made_by, line(lot, Role.BOUGHT, -3))
    assert first_to_fail.seq == refusal.value.entry_seq
    assert [lot.code] == list(refusal.value.lots)
    assert_book_is_sound()


def test_a_lot_may_not_be_below_zero_at_any_place_even_if_it_ends_above() -> None:
    lot = bought(10, 1 * UNIT)
    sale = sold(lot, 10)
    returned(sale, 10)
    with pytest.raises(errors.NotEnough):
        amend(lot.made_by, line(lot, Role.BOUGHT, -1))


def test_an_amended_sale_shrinks_but_never_turns_round() -> None:
    lot = bought(10, 1 * UNIT)
    sale = sold(lot, 4)
    amend(sale, line(lot, Role.SOLD, 4))
    assert on_hand(lot)[0] == 10
    with pytest.raises(errors.Malformed, match=lot.code):
        amend(sale, line(lot, Role.SOLD, 1))


def test_an_amendment_of_an_amendment_stands_at_the_first_entry() -> None:
    lot = bought(10, 10 * UNIT)
    change = amend(lot.made_by, line(lot, Role.BOUGHT, 5)).entry
    again = amend(change, line(lot, Role.BOUGHT, 5)).entry
    assert (lot.made_by_id, lot.made_by) == (again.place, again.amends)
    assert on_hand(lot)[0] == 20


def test_an_amended_charge_reaches_what_was_made_of_it() -> None:
    # 10.0000 and an hour of 6.0000; half is used: 8.0000. The hour was 8.0000: 9.0000.
    sack = bought(KG, 10 * UNIT)
    filled = put(uses(sack, KG), makes(new(), KG), charges=(ChargeDraft("paid", 6 * UNIT),))
    last = made_of(made_of(filled.lots[1], KG // 2, new(), KG), KG, new(), KG)
    assert Lot.objects.values_list("materials", "paid").get(pk=last.pk) == (5_0000, 3_0000)
    amend(filled.entry, charges=(ChargeDraft("paid", 2 * UNIT),))
    assert Lot.objects.values_list("materials", "paid").get(pk=last.pk) == (5_0000, 4_0000)


def test_an_amendment_may_add_an_input_that_was_forgotten() -> None:
    sack, gypsum = bought(KG, 10 * UNIT), bought(KG, 2 * UNIT, "gypsum")
    filled = put(uses(sack, KG), makes(new("mix"), KG))
    amend(filled.entry, uses(gypsum, KG))
    assert on_hand(filled.lots[1])[1] == 12_0000
    assert Edge.objects.count() == 2
    assert_book_is_sound()


@pytest.mark.parametrize("later", [False, True])
def test_an_amendment_cannot_use_what_was_made_at_or_after_its_place(later: bool) -> None:
    sack = bought(2 * KG, 10 * UNIT)
    filled = put(uses(sack, KG), makes(new("mix"), KG))
    lot = bought(KG, 1) if later else filled.lots[1]
    with pytest.raises(errors.Malformed, match="cannot be used"):
        amend(filled.entry, line(lot, Role.USED, 0, given_mg=5))


def test_an_amendment_cannot_top_up_another_lot() -> None:
    sack, other = bought(2 * KG, 10 * UNIT), bought(KG, 1)
    filled = put(uses(sack, KG), makes(new("mix"), KG)).entry
    with pytest.raises(errors.Malformed, match="never topped up"):
        amend(filled, makes(other, KG))


def test_an_amendment_cannot_leave_cost_without_a_lot_to_carry_it() -> None:
    sack = bought(2 * KG, 10 * UNIT)
    filled = put(uses(sack, KG), makes(new("mix"), KG))
    with pytest.raises(errors.Malformed, match="nowhere to go"):
        amend(filled.entry, makes(filled.lots[1], 0, basis=-1))


def test_an_amendment_cannot_take_off_more_than_was_charged() -> None:
    sack = bought(2 * KG, 10 * UNIT)
    filled = put(uses(sack, KG), makes(new(), KG), charges=(ChargeDraft("paid", 6 * UNIT),)).entry
    with pytest.raises(errors.Malformed, match="no more than was charged"):
        amend(filled, charges=(ChargeDraft("paid", -7 * UNIT),))


def test_a_charge_below_nothing_is_refused_before_a_by_product_takes_its_worth_of_it() -> None:
    sack = bought(2 * KG, 10 * UNIT)
    made = put(
        uses(sack, KG),
        makes(new("mix"), KG),
        makes(new("trim"), KG, 0, worth=UNIT),
        charges=(ChargeDraft("paid", 6 * UNIT),),
    ).entry
    with pytest.raises(errors.Malformed, match="no more than was charged"):
        amend(made, charges=(ChargeDraft("paid", -7 * UNIT),))


def test_a_lot_that_falls_short_is_refused_before_a_by_product_takes_its_worth_of_it() -> None:
    """9 of 5 pieces would take 9 / 5 of the materials, more than there are."""
    blocks = put(buys(pieces(), 10, 10 * UNIT)).lots[0]
    put(line(blocks, Role.USED, 0, given_mg=KG, later_mg=KG), makes(new("crop"), KG))
    put(uses(blocks, 9), makes(new("mix"), KG))
    put(makes(blocks, 0), charges=(ChargeDraft("own", 30 * UNIT),))
    put(line(blocks, Role.USED, 0, given_mg=KG, worth=UNIT), makes(new("trim"), KG))
    with pytest.raises(errors.NotEnough, match="falls 4 pieces short at entry 3"):
        amend(blocks.made_by, line(blocks, Role.BOUGHT, -5))


def test_an_amendment_cannot_make_a_price_negative() -> None:
    lot = bought(KG, 1 * UNIT)
    with pytest.raises(errors.Malformed, match="money -1"):
        amend(lot.made_by, line(lot, Role.BOUGHT, 0, money=-1 * UNIT - 1))


def test_taking_back_restores_every_figure() -> None:
    sack = bought(KG, 10 * UNIT)
    block = put(uses(sack, KG), makes(new("mix"), KG), charges=(ChargeDraft("own", 5),)).lots[1]
    before = figures()
    used = put(uses(block, KG // 3), makes(new(), KG), charges=(ChargeDraft("room", 7),))
    amend(used.entry, uses(block, 5))
    undo(used.entry)
    assert before == figures()
    assert_book_is_sound()


def test_taking_back_what_was_used_names_the_dependants_newest_first() -> None:
    sack = bought(KG, 10 * UNIT)
    mix = made_of(sack, KG, new("mix"), KG)
    sale, other = sold(mix, 1), sold(mix, 2)
    bought(5, 5)
    with pytest.raises(errors.NotEnough) as refusal:
        undo(sack.made_by)
    assert (other.seq, sale.seq, mix.made_by_id) == refusal.value.dependants
    for seq in refusal.value.dependants:
        undo(Entry.objects.get(seq=seq))
    undo(sack.made_by)
    assert not any(on_hand(lot)[0] for lot in (sack, mix))
    assert_book_is_sound()


def test_what_made_a_lot_is_not_taken_back_under_a_later_check_of_it() -> None:
    part = made_of(bought_blocks(40, 400 * UNIT), 18, pieces(), 18)
    # A check moves nothing; its labour of 5 would be left on an empty lot.
    check = put(makes(part, 0), charges=(ChargeDraft("own", 5),)).entry
    with pytest.raises(errors.NotEnough, match=f"entry {check.seq}") as refusal:
        undo(part.made_by)
    assert (check.seq,) == refusal.value.dependants
    undo(check)
    undo(part.made_by)
    assert on_hand(part) == (0, 0)
    assert_book_is_sound()


def test_what_was_taken_back_is_no_dependant() -> None:
    sack = bought(KG, 10 * UNIT)
    sale, gone = sold(sack, 1), sold(sack, 2)
    undo(gone)
    assert [sale.seq] == book.dependants(sack.made_by)


def test_what_was_taken_back_can_be_neither_amended_nor_taken_back_again() -> None:
    lot = bought(KG, 10 * UNIT)
    undo(lot.made_by)
    with pytest.raises(errors.NotStanding, match="Record it anew"):
        amend(lot.made_by, line(lot, Role.BOUGHT, 5))
    with pytest.raises(errors.NotStanding):
        undo(lot.made_by)


def test_taking_a_pick_back_gives_its_share_to_the_others() -> None:
    block = bought_blocks(1, 5 * UNIT)
    first, second = pick(block, 500_000, 200_000), pick(block, 150_000, 0)
    undo(first.made_by)
    spent(block, 1)
    assert (on_hand(first)[1], on_hand(second)[1]) == (0, 5_0000)
    assert_book_is_sound()


def test_taking_spent_back_opens_the_shares_again() -> None:
    block = bought_blocks(1, 5 * UNIT)
    first = pick(block, 500_000, 200_000)
    undo(spent(block, 1))
    block.refresh_from_db()
    assert block.shares_open
    assert on_hand(first)[1] == 3_5714


def test_a_new_lot_may_be_named_on_two_lines() -> None:
    passed = new()
    recorded = put(uses(bought(KG, 1), KG), makes(passed, KG), loses(passed, KG // 4))
    assert recorded.lots[1] == recorded.lots[2]
    assert on_hand(recorded.lots[1])[0] == KG - KG // 4


def test_a_return_never_brings_back_more_than_was_sold() -> None:
    lot = bought(10, 1 * UNIT)
    sale = sold(lot, 4)
    returned(sale, 3)
    with pytest.raises(errors.NotEnough):
        returned(sale, 2)


def test_a_return_takes_back_a_sale_of_its_own_lot_only() -> None:
    lot, other = bought(10, 1 * UNIT), bought(10, 1 * UNIT)
    sale = sold(other, 4).lines.get()
    with pytest.raises(errors.NotEnough):
        put(line(lot, Role.BACK, 1, returns=sale))


def test_taking_a_hold_back_releases_the_lot() -> None:
    lot = bought(10, 1 * UNIT)
    undo(held(lot))
    assert moved(sold(lot, 1), lot, Role.SOLD) // 1_000 == 1


def test_a_client_may_send_the_same_lot_object_twice_without_stale_figures() -> None:
    lot = bought(10, 10 * UNIT)
    for _ in range(10):
        sold(lot, 1)
    with pytest.raises(errors.NotEnough):
        sold(lot, 1)
