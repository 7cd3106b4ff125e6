"""The worked numbers of the book's arithmetic, each worked out by hand beside it."""

import pytest

from ledger.costing import Step, work
from ledger.drafts import ChargeDraft, NewLot
from ledger.models import Lot, Role
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
    on_hand,
    pick,
    pieces,
    put,
    returned,
    sold,
    spent,
    undo,
    uses,
)

pytestmark = pytest.mark.django_db


def test_draws_take_cumulative_shares_and_the_last_takes_all() -> None:
    # 100 over three thirds: 100*1//3 = 33, 100*2//3 - 33 = 33, 100 - 66 = 34.
    lot = bought(3, 100)
    assert [moved(sold(lot, 1), lot, Role.SOLD) for _ in range(3)] == [33, 33, 34]
    assert on_hand(lot) == (0, 0)


def test_pounds_typed_as_kilos_are_put_right_and_the_sale_follows() -> None:
    # 12.4 kg at 62.0000, 3 kg sold: 15.0000. 12.4 lb is 5.624 kg: 62 * 3 / 5.624 = 33.07254...
    lot = bought(12_400_000, 62 * UNIT)
    sale = sold(lot, 3 * KG)
    assert moved(sale, lot, Role.SOLD) == 15_0000
    amend(lot.made_by, line(lot, Role.BOUGHT, -6_776_000))
    assert moved(sale, lot, Role.SOLD) == 33_0725
    assert on_hand(lot) == (2_624_000, 28_9275)


def test_planned_losses_are_free_and_each_further_block_carries_its_share() -> None:
    # 7 % of 40 blocks is 2.8, so 2 whole blocks; 210.80 over the 38 left is 5.5473... each,
    # and three of them 210.80 * 3 / 38 = 16.64210...
    lot = made_of(bought(KG, 210_8000), KG, pieces(), 40, planned_loss_ppm=70_000)
    assert moved(put(loses(lot, 2)).entry, lot, Role.LOST) == 0
    assert moved(put(loses(lot, 3)).entry, lot, Role.LOST) == 16_6421


def test_a_loss_may_be_partly_planned() -> None:
    lot = made_of(bought(KG, 210_8000), KG, pieces(), 40, planned_loss_ppm=70_000)
    assert moved(put(loses(lot, 5)).entry, lot, Role.LOST) == 16_6421


def test_a_lot_wholly_lost_carries_all_its_cost() -> None:
    lot = made_of(bought(KG, 210_8000), KG, pieces(), 40, planned_loss_ppm=70_000)
    assert moved(put(loses(lot, 40)).entry, lot, Role.LOST) == 210_8000
    assert_book_is_sound()


def test_cost_left_by_a_free_loss_that_empties_the_lot_is_a_loss() -> None:
    # Both pieces are planned to be lost, so they leave free; what they cost is stranded.
    lot = made_of(bought(KG, 9_0000), KG, pieces(), 2, planned_loss_count=2)
    loss = put(loses(lot, 2)).entry
    assert moved(loss, lot, Role.LOST) == 0
    assert moved(loss, lot, Role.STRANDED) == 9_0000
    assert_book_is_sound()


def test_water_inside_the_band_is_free_and_the_rest_carries_its_share() -> None:
    # 10 kg at 50.0000 weighed 8.5: 0.6 is water; the other 0.9 of 9.4 kg is 50 * 0.9 / 9.4.
    lot = bought(10 * KG, 50 * UNIT)
    weighed = put(line(lot, Role.SHRUNK, -600_000), loses(lot, 900_000)).entry
    assert moved(weighed, lot, Role.LOST) == 4_7872
    assert moved(weighed, lot, Role.SHRUNK) == 0


def test_a_count_up_spreads_the_same_cost_over_more() -> None:
    # 10.0000 over 4, then over 5 counted: each of the five 2.0000.
    lot = bought(4, 10 * UNIT)
    put(line(lot, Role.COUNTED, 1))
    assert moved(sold(lot, 1), lot, Role.SOLD) == 2_0000


def test_picks_share_by_expected_weight_until_the_lot_is_spent() -> None:
    # 5.0000 on a block: 500 g picked, 200 g still expected: 5 * 500 / 700 = 3.5714.
    # The second pick, the last expected, takes the rest, 1.4286.
    block = bought_blocks(1, 5 * UNIT)
    first, second = pick(block, 500_000, 200_000), pick(block, 150_000, 0)
    assert (on_hand(first)[1], on_hand(second)[1]) == (3_5714, 1_4286)


def test_picks_of_a_spent_lot_share_by_picked_weight() -> None:
    # 5 * 500 / 650 = 3.8461 and the rest, 1.1539; also for what was sold in between.
    block = bought_blocks(1, 5 * UNIT)
    first = pick(block, 500_000, 200_000)
    sale = sold(first, 500_000)
    second = pick(block, 150_000, 0)
    spent(block, 1)
    assert (moved(sale, first, Role.SOLD), on_hand(second)[1]) == (3_8461, 1_1539)
    assert_book_is_sound()


def test_blocks_binned_after_the_first_pick_carry_no_cost() -> None:
    # Two blocks at 10.0000; one is binned between the picks; 10 * 300 / 400 and the rest.
    blocks = bought_blocks(2, 10 * UNIT)
    first = pick(blocks, 300_000, 300_000)
    assert moved(put(loses(blocks, 1)).entry, blocks, Role.LOST) == 0
    second = pick(blocks, 100_000, 0)
    spent(blocks, 1)
    assert (on_hand(first)[1], on_hand(second)[1]) == (7_5000, 2_5000)


def test_blocks_binned_before_the_first_pick_follow_the_loss_rule() -> None:
    blocks = bought_blocks(2, 10 * UNIT)
    assert moved(put(loses(blocks, 1)).entry, blocks, Role.LOST) == 5_0000


def test_a_lot_spent_without_a_pick_is_all_loss() -> None:
    # Planned losses do not make it cheaper: nothing is left to carry them.
    blocks = made_of(bought(KG, 50 * UNIT), KG, pieces(), 10, planned_loss_count=3)
    assert moved(spent(blocks, 10), blocks, Role.LOST) == 50_0000


def test_what_is_left_of_a_spent_lot_costs_nothing() -> None:
    blocks = bought_blocks(10, 50 * UNIT)
    assert moved(spent(blocks, 8), blocks, Role.LOST) == 50_0000
    assert moved(sold(blocks, 1), blocks, Role.SOLD) == 0
    assert_book_is_sound()


def test_cost_after_the_last_pick_is_shared_too() -> None:
    # 5.0000 and then shelf time of 1.0000: 6 * 500 / 650 = 4.6153, rest 1.3847.
    block = bought_blocks(1, 5 * UNIT)
    first, second = pick(block, 500_000, 200_000), pick(block, 150_000, 0)
    put(makes(block, 0, money=1 * UNIT))
    spent(block, 1)
    assert (on_hand(first)[1], on_hand(second)[1]) == (4_6153, 1_3847)


def test_a_return_brings_its_part_of_the_sale_back_even_to_an_emptied_lot() -> None:
    # 7.0000 for 3 pieces: one back is 7 * 1/3 = 2.3333, the next 2.3333, the last 2.3334.
    lot = bought(3, 7 * UNIT)
    sale = sold(lot, 3)
    assert [moved(returned(sale, 1), lot, Role.BACK) for _ in range(3)] == [2_3333, 2_3333, 2_3334]
    assert on_hand(lot) == (3, 7_0000)


def test_cost_that_lands_on_an_empty_lot_is_a_loss_of_the_period() -> None:
    lot = bought(KG, 5 * UNIT)
    sold(lot, KG)
    late = put(makes(lot, 0, money=2 * UNIT)).entry
    assert moved(late, lot, Role.STRANDED) == 2_0000
    assert on_hand(lot) == (0, 0)
    assert_book_is_sound()


def test_outputs_share_their_cost_by_basis() -> None:
    # 10.0000 by 3 to 1: 7.5000 and 2.5000.
    sack = bought(KG, 10 * UNIT)
    firsts, seconds = put(
        uses(sack, KG), makes(new("firsts"), KG, basis=3), makes(new("seconds"), KG, basis=1)
    ).lots[1:]
    assert (on_hand(firsts)[1], on_hand(seconds)[1]) == (7_5000, 2_5000)


@pytest.mark.parametrize(
    ("role", "quantity", "numbers", "place"),
    [
        pytest.param(Role.SOLD, -4, {}, 7, id="more sold than there is"),
        pytest.param(Role.BACK, 1, {"returns_place": 5}, 7, id="back without a sale"),
    ],
)
def test_a_life_names_the_first_place_where_it_falls_short(
    role: Role, quantity: int, numbers: dict[str, int], place: int
) -> None:
    steps = [Step(1, Role.BOUGHT.value, 3, money=9), Step(place, role.value, quantity, **numbers)]
    assert (place, 1) == work(steps, {}, 1).short


def test_fifo_issues_of_a_published_case() -> None:
    # 200 at 10, 300 at 12, 400 out, 400 at 15, 300 out; the oldest lot drawn first.
    # Source: worked example in open study notes (weighted average against FIFO), 11,600 in all.
    first, second = bought(200, 2_000), bought(300, 3_600)
    issue = moved(sold(first, 200), first, Role.SOLD) + moved(sold(second, 200), second, Role.SOLD)
    assert issue == 4_400
    third = bought(400, 6_000)
    issue = moved(sold(second, 100), second, Role.SOLD) + moved(sold(third, 200), third, Role.SOLD)
    assert issue == 4_200
    assert sum(on_hand(lot)[1] for lot in (first, second, third)) == 3_000


def test_moving_average_issues_of_a_published_case() -> None:
    # The same movements; a topped-up bin is a new lot made of the rest and the new sack.
    # 2,000 + 3,600 over 500 is 11.20: 4,480 for 400. Then 1,120 + 6,000 over 500 is 14.24.
    one, two = bought(200, 2_000), bought(300, 3_600)
    binned = put(uses(one, 200), uses(two, 300), makes(new(), 500)).lots[2]
    assert moved(sold(binned, 400), binned, Role.SOLD) == 4_480
    more = bought(400, 6_000)
    topped_up = put(uses(binned, 100), uses(more, 400), makes(new(), 500)).lots[2]
    assert moved(sold(topped_up, 300), topped_up, Role.SOLD) == 4_272
    assert on_hand(topped_up)[1] == 2_848


def test_spoilage_of_a_published_case() -> None:
    # 550 units cost 2,200, so 4 each; 30 spoil as planned, 20 beyond: 20 * 4 = 80 is lost and
    # 2,120 goes on. Source: published examination answer on normal and abnormal spoilage.
    started = bought(550, 2_200)
    passed = new("passed")
    checked = put(uses(started, 550), makes(passed, 550, planned_loss_count=30), loses(passed, 50))
    assert moved(checked.entry, checked.lots[1], Role.LOST) == 80
    assert on_hand(checked.lots[1]) == (500, 2_120)


def test_normal_spoilage_as_a_rate_of_a_published_case() -> None:
    # 22,500 + 2,500 - 18,500 - 4,000 = 2,500 spoiled; normal is 10 % of the 18,500 good ones,
    # 1,850, and 650 are abnormal. Source: textbook case on spoilage (Horngren's cost accounting).
    # At a cost of 1 a unit, the loss is the number of abnormal units.
    started = bought(21_000, 21_000)
    planned = 18_500 * 100_000 // 1_000_000
    assert planned == 1_850
    passed = new("passed")
    checked = put(
        uses(started, 21_000),
        makes(passed, 21_000, planned_loss_count=planned),
        loses(passed, 2_500),
    )
    assert moved(checked.entry, checked.lots[1], Role.LOST) == 650


def test_abnormal_spoilage_at_an_inspection_point_of_a_published_case() -> None:
    # 150 units spoil at the inspection, 100 of them normal. A unit then holds 0.46 transferred in
    # and 80 % of 0.30 conversion: 0.46 + 0.24 = 0.70, so 50 abnormal ones carry 35 out.
    # Source: university managerial accounting text, two-department case, second department.
    # 7,500 units reach the inspection, at 0.70 each 5,250; the 100 normal ones leave 70 behind.
    reached = bought(7_500, 5_250 * UNIT)
    passed = new("passed")
    checked = put(
        uses(reached, 7_500), makes(passed, 7_500, planned_loss_count=100), loses(passed, 150)
    )
    assert moved(checked.entry, checked.lots[1], Role.LOST) == 35 * UNIT
    assert on_hand(checked.lots[1]) == (7_350, 5_215 * UNIT)


def test_money_stated_from_outside_comes_in_as_materials() -> None:
    lot = put(buys(new(), KG, 3 * UNIT)).lots[0]
    lot.refresh_from_db()
    assert lot.cost == (3_0000, 0, 0, 0, 0)


# --- a lot that gives in turns, each picked over days ----------------------------------------


def forty(money: int = 200 * UNIT) -> Lot:
    return bought_blocks(40, money)


def first_turn(blocks: Lot, given_mg: int, pieces: int = 40) -> Lot:
    """Pick of the first turn: 0.5 kg a piece planned of it, 0.2 kg of the second."""
    planned = {"turn_mg": pieces * KG // 2, "later_mg": pieces * KG // 5}
    return pick(blocks, given_mg, turn=1, pieces=pieces, **planned)


def second_turn(blocks: Lot, given_mg: int) -> Lot:
    return pick(blocks, given_mg, 0, turn=2, pieces=40, turn_mg=8 * KG)


def cost_of(*lots: Lot) -> list[int]:
    return [on_hand(lot)[1] for lot in lots]


def test_picks_of_one_turn_share_by_what_is_still_expected_of_it_and_of_later_ones() -> None:
    # 8 / 28 of 200.0000 is 57.1428; 9 of the 20 still expected of 142.8572 is 64.2857. Of the
    # second turn 8 kg are expected: 5 / 8 of 78.5715 is 49.1071, 2 / 3 of 29.4644 is 19.6429.
    blocks = forty()
    firsts = first_turn(blocks, 8 * KG), first_turn(blocks, 9 * KG)
    seconds = second_turn(blocks, 5 * KG), second_turn(blocks, 2 * KG)
    assert cost_of(*firsts, *seconds) == [57_1428, 64_2857, 49_1071, 19_6429]
    spent(blocks, 40)
    # 200.0000 over 24 kg is 8.3333 a kilo, for every one of them.
    assert cost_of(*firsts, *seconds) == [66_6666, 75_0000, 41_6667, 16_6667]
    assert_book_is_sound()


def test_a_corrected_pick_moves_the_later_ones_of_its_turn() -> None:
    # 8 kg corrected to 4: 4 / 28 of 200 is 28.5714, and 9 of the 24 then expected of 171.4286
    # is 64.2857, as before.
    blocks = forty()
    first, second = first_turn(blocks, 8 * KG), first_turn(blocks, 9 * KG)
    amend(
        first.made_by, line(blocks, Role.USED, 0, given_mg=-4 * KG), line(first, Role.MADE, -4 * KG)
    )
    assert cost_of(first, second) == [28_5714, 64_2857]
    assert_book_is_sound()


def test_a_pick_counts_by_the_pieces_that_are_left_of_it() -> None:
    # 8 kg of 40, then 20 are binned: 4 of the 8 kg were theirs. 10 - 4 - 4.5 and 4 kg more are
    # still expected of 20: 4.5 / 10 of 142.8572 is 64.2857.
    blocks = forty()
    first_turn(blocks, 8 * KG)
    put(loses(blocks, 20))
    assert cost_of(first_turn(blocks, 4_500_000, pieces=20)) == [64_2857]


def split_off(blocks: Lot, count: int) -> Lot:
    part = NewLot(blocks.item, unit_mass_mg=blocks.unit_mass_mg, part_of=blocks)
    return put(uses(blocks, count), makes(part, count)).lots[1]


def test_a_part_that_is_split_off_takes_its_earlier_picks_along_by_pieces() -> None:
    # 8 kg of 40, then 20 are split off with 71.4286 of the 142.8572: each half expects 10 - 4 and
    # 4 kg more, so 4.5 kg take 4.5 / 10 of its 71.4286: 32.1428.
    blocks = forty()
    first = first_turn(blocks, 8 * KG)
    part = split_off(blocks, 20)
    picked = first_turn(blocks, 4_500_000, pieces=20), first_turn(part, 4_500_000, pieces=20)
    assert cost_of(*picked) == [32_1428, 32_1428]
    # With the 8 kg corrected to 4 (28.5714), 85.7143 are left on each half, which expects
    # 10 - 2 and 4 kg more: 4.5 / 12 of it is 32.1428 again.
    amend(first.made_by, line(blocks, Role.USED, 0, given_mg=-4 * KG))
    assert cost_of(first, *picked) == [28_5714, 32_1428, 32_1428]
    assert_book_is_sound()


def test_a_part_is_worked_anew_even_where_the_cost_that_it_took_along_stays() -> None:
    # What the whole cost came after the split, so the corrected pick moves nothing but the share.
    blocks = forty(money=0)
    first = first_turn(blocks, 8 * KG)
    part = split_off(split_off(blocks, 20), 10)
    put(makes(part, 0, money=100 * UNIT))
    # 5 - 2 - 2.25 and 2 kg more: 2.25 / 5 of 100.0000.
    picked = first_turn(part, 2_250_000, pieces=10)
    assert cost_of(picked) == [45_0000]
    # With 4 kg picked of the whole: 5 - 1 - 2.25 and 2 kg more: 2.25 / 6.
    amend(first.made_by, line(blocks, Role.USED, 0, given_mg=-4 * KG))
    assert cost_of(picked) == [37_5000]
    assert_book_is_sound()


def test_more_than_was_planned_of_a_turn_leaves_later_turns_as_planned() -> None:
    # 25 kg where 20 were planned: 8 kg are still to come, so 25 / 33; then 5 / 13 of the rest.
    blocks = forty()
    over = first_turn(blocks, 25 * KG), first_turn(blocks, 5 * KG)
    assert cost_of(*over) == [151_5151, 18_6480]


def test_what_falls_on_a_lot_is_shared_by_every_pick_of_it_and_not_by_the_day_alone() -> None:
    # 14.0000 of room fall on 200.0000 before the pick: 8 / 28 of 214.0000 is 61.1428, and the
    # hour of 5.0000 is the crate's own.
    blocks = forty()
    takes = line(
        blocks, Role.USED, 0, given_mg=8 * KG, turn=1, pieces=40, turn_mg=20 * KG, later_mg=8 * KG
    )
    charges = (ChargeDraft("room", 14 * UNIT, lot=blocks), ChargeDraft("own", 5 * UNIT))
    picked = put(takes, makes(new("oyster"), 8 * KG), charges=charges)
    crate = picked.lots[1]
    crate.refresh_from_db()
    assert (sum(crate.cost), crate.own) == (61_1428 + 5_0000, 5_0000)
    undo(picked.entry)
    assert on_hand(blocks) == (40, 200_0000)
    assert_book_is_sound()


def test_blocks_of_a_part_binned_after_the_whole_was_picked_carry_no_cost() -> None:
    blocks = forty()
    first_turn(blocks, 8 * KG)
    part = split_off(blocks, 20)
    assert moved(put(loses(part, 5)).entry, part, Role.LOST) == 0
    # Spent without a pick of its own: what it took along, 71.4286, is a loss.
    assert moved(spent(part, 15), part, Role.LOST) == 71_4286
    assert_book_is_sound()
