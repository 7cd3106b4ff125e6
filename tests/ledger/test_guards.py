"""What no entry can state, and what a hold allows and refuses."""

import pytest

from ledger import errors, working
from ledger.drafts import ChargeDraft, MarkDraft
from ledger.models import Role
from tests.ledger.shorthand import (
    DAY,
    KG,
    NOON,
    UNIT,
    amend,
    bought,
    bought_blocks,
    held,
    line,
    loses,
    made_of,
    makes,
    new,
    on_hand,
    pick,
    put,
    released,
    returned,
    sells,
    sold,
    undo,
    uses,
)

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("charge", [ChargeDraft("paid", -1), ChargeDraft("luck", 1)])
def test_it_refuses_a_charge_below_zero_or_of_no_kind(charge: ChargeDraft) -> None:
    with pytest.raises(errors.Malformed):
        put(makes(bought(KG, UNIT), 0), charges=(charge,))


def test_a_run_charges_lots_through_lines_of_quantity_zero() -> None:
    one, other = bought(KG, UNIT), bought(KG, UNIT)
    put(makes(one, 0, basis=3), makes(other, 0), charges=(ChargeDraft("energy", 4 * UNIT),))
    one.refresh_from_db()
    assert one.cost == (1 * UNIT, 0, 0, 3 * UNIT, 0)


def test_emptying_is_never_water() -> None:
    lot = bought(KG, UNIT)
    with pytest.raises(errors.NotEnough, match="to nothing: 1 kg on hand, 1 kg shrunk"):
        put(line(lot, Role.SHRUNK, -KG))
    put(line(lot, Role.SHRUNK, -KG + 1))


@pytest.mark.parametrize("role", [Role.SOLD, Role.USED])
def test_a_lot_on_hold_may_not_be_sold_or_used(role: Role) -> None:
    lot = bought(KG, UNIT)
    held(lot)
    makes_something = [makes(new(), 1)] if role == Role.USED else []
    with pytest.raises(errors.OnHold, match=f"Lot {lot.code} is on hold"):
        put(line(lot, role, -1), *makes_something)


def test_an_amendment_draws_no_more_from_a_lot_on_hold() -> None:
    lot = bought(KG, UNIT)
    sale = sold(lot, 5)
    held(lot)
    with pytest.raises(errors.OnHold):
        amend(sale, sells(lot, 1))
    amend(sale, line(lot, Role.SOLD, 1))
    undo(sale)
    assert on_hand(lot)[0] == KG


def test_a_lot_on_hold_may_be_weighed_counted_binned_and_taken_back() -> None:
    lot = bought(KG, UNIT)
    sale = sold(lot, 5)
    held(lot)
    put(line(lot, Role.SHRUNK, -1))
    put(line(lot, Role.COUNTED, 1))
    put(loses(lot, 1))
    put(makes(lot, 0), charges=(ChargeDraft("room", 1),))
    returned(sale, 5)
    assert on_hand(lot)[0] == KG - 1


def test_a_released_lot_may_be_sold_again() -> None:
    lot = bought(KG, UNIT)
    held(lot)
    released(lot)
    sold(lot, KG)
    assert on_hand(lot)[0] == 0


def test_picks_from_blocks_on_hold_are_born_on_hold() -> None:
    block = bought_blocks(2, UNIT)
    held(block)
    crop = pick(block, 500, 0)  # the lot in hand was read before the hold
    with pytest.raises(errors.OnHold):
        sold(crop, 1)


def test_a_pick_after_the_release_is_free() -> None:
    block = bought_blocks(2, UNIT)
    held(block)
    block.refresh_from_db()
    released(block)
    sold(pick(block, 500, 0), 500)


def test_a_hold_amended_onto_an_entry_goes_with_it() -> None:
    lot = bought(KG, UNIT)
    sale = sold(lot, 1)
    amend(sale, marks=(MarkDraft(lot, held=True),))
    lot.refresh_from_db()
    assert lot.held
    undo(sale)
    lot.refresh_from_db()
    assert not lot.held


def test_a_sale_that_happened_before_the_hold_is_accepted_with_a_reason() -> None:
    lot = bought(KG, UNIT)
    held(lot)
    with pytest.raises(errors.OnHold):
        put(sells(lot, 1), at=NOON - DAY)
    with pytest.raises(errors.OnHold):
        put(sells(lot, 1), at=NOON + DAY, reason="slip found later")
    put(sells(lot, 1), at=NOON - DAY, reason="slip found later")
    assert on_hand(lot)[0] == KG - 1


def test_a_second_hold_does_not_open_the_days_after_the_first() -> None:
    lot = bought(KG, UNIT)
    held(lot)
    held(lot, at=NOON + 2 * DAY)
    with pytest.raises(errors.OnHold):
        put(sells(lot, 1), at=NOON + DAY, reason="slip found later")


def test_what_was_made_before_the_hold_stays_free() -> None:
    sack = bought(KG, UNIT)
    mix = made_of(sack, KG // 2, new("mix"), KG)
    held(sack)
    sold(mix, KG)
    assert on_hand(mix)[0] == 0


def test_any_use_that_happened_before_the_hold_is_accepted_and_what_it_makes_is_born_held() -> None:
    sack = bought(KG, UNIT)
    held(sack)
    mix = put(uses(sack, 5), makes(new("mix"), 5), at=NOON - DAY, reason="told late").lots[-1]
    mix.refresh_from_db()
    assert mix.held
    with pytest.raises(errors.OnHold):
        put(uses(sack, 5), makes(new("mix"), 5), at=NOON - DAY)


def test_what_was_born_on_hold_is_held_since_what_it_was_made_of() -> None:
    sack = bought(KG, UNIT)
    held(sack)
    told = {"reason": "told late"}
    mix = put(uses(sack, 5), makes(new("mix"), 5), at=NOON - 3 * DAY, **told).lots[-1]
    crop = put(uses(mix, 5), makes(new("crop"), 5), at=NOON - 2 * DAY, **told).lots[-1]
    put(sells(crop, 1), at=NOON - DAY, **told)
    with pytest.raises(errors.OnHold) as refusal:
        put(sells(crop, 1), at=NOON, **told)
    assert refusal.value.since == NOON == working.held_since(crop.pk)
    assert on_hand(crop)[0] == 4


def test_a_lot_is_held_since_the_first_hold_after_its_last_release() -> None:
    lot = bought(KG, UNIT)
    held(lot)
    released(lot)
    assert working.held_since(lot.pk) is None
    held(lot, at=NOON + 2 * DAY)
    held(lot, at=NOON + DAY)
    assert working.held_since(lot.pk) == NOON + DAY


def test_a_correction_of_what_happened_before_the_hold_is_accepted_with_a_reason() -> None:
    lot = bought(KG, UNIT)
    sale = put(sells(lot, 5), at=NOON - DAY).entry
    held(lot)
    with pytest.raises(errors.OnHold):
        amend(sale, sells(lot, 1))
    amend(sale, sells(lot, 1), reason="misread")
    assert on_hand(lot)[0] == KG - 6


def test_a_correction_that_adds_a_lot_on_hold_holds_what_was_made_of_it() -> None:
    sack, bad = bought(KG, UNIT), bought(KG, UNIT)
    made = put(uses(sack, 5), makes(new("mix"), 9), at=NOON - DAY)
    mix = made.lots[-1]
    crop = made_of(mix, 4, new("crop"), 4)
    held(bad)
    amend(made.entry, uses(bad, 5), reason="the other sack went in too")
    for lot in (mix, crop):
        lot.refresh_from_db()
        assert lot.held


def test_a_correction_of_a_use_that_stood_before_brings_no_hold_back() -> None:
    sack = bought(KG, UNIT)
    made = put(uses(sack, 5), makes(new("mix"), 9), at=NOON - DAY)
    held(sack)
    amend(made.entry, uses(sack, 1), reason="misread")
    made.lots[-1].refresh_from_db()
    assert not made.lots[-1].held
