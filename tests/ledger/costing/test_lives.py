"""One lot's whole life without a database: every line of it beside what it moves, by hand.

Cost is of one kind, in whole units; what comes in is positive, what goes out negative.
"""

from collections.abc import Sequence

import pytest

from ledger.costing import Life, Step, still_expected, work
from ledger.models import Role

MADE, USED, SOLD, LOST, BACK = Role.MADE, Role.USED, Role.SOLD, Role.LOST, Role.BACK
STRANDED, SHRUNK = Role.STRANDED, Role.SHRUNK


def made(quantity: int = 40, **planned: int) -> Step:
    return Step(1, MADE, quantity, **planned)


def pick(place: int, given_mg: int, turn: int = 1, **of: int) -> Step:
    """Take a weight of turn 1 (500 planned now, 200 later) or 2 (200, 0), of 40 pieces."""
    planned = {"pieces": 40, "turn_mg": 500 if turn == 1 else 200, "later_mg": 200 * (turn == 1)}
    return Step(place, USED, given_mg=given_mg, turn=turn, **(planned | of))


def lived(*steps: Step, cost: int = 700, earlier: Sequence[Step] = (), **inflow: int) -> Life:
    """Work a life into which ``cost`` came at place 1; ``at_3=90``: 90 more at place 3."""
    later = {int(at.removeprefix("at_")): (more,) for at, more in inflow.items()}
    return work(steps, {1: (cost,), **later}, 1, earlier=earlier, kinds=1)


def moves(life: Life) -> dict[tuple[int, str], int]:
    return {(place, str(role)): cost[0] for (place, role), cost in life.moved.items()}


def rest(life: Life) -> tuple[int, int]:
    return life.quantity, life.cost[0]


# --- what is a pick --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("step", "weight", "picked"),
    [
        (Step(2, USED, given_mg=80), 80, 80),
        (Step(2, USED, given_mg=80, worth=5), 80, 0),  # takes its worth, and shares nothing
        (Step(2, USED, basis=30), 30, 30),  # kept spent blocks: worth as much as 30 of crop
        (Step(2, USED, -1, basis=30), 0, 0),  # a piece for a clone, drawn by its worth
        (Step(2, MADE, basis=30), 0, 0),  # a share of what was made
        (Step(2, LOST, -1, basis=30), 0, 0),
        (Step(2, USED, worth=5), 0, 0),
    ],
)
def test_a_pick_weighs_what_it_took_or_is_worth(step: Step, weight: int, picked: int) -> None:
    assert (step.weight_mg, step.picked_mg) == (weight, picked)


def test_what_is_still_expected_counts_each_pick_by_the_pieces_left_rounded_down() -> None:
    # 100 of 40 pieces are 67.5 of 27: 67. 500 - 67 - 50 = 383, and 200 of later turns.
    first = pick(2, 100)
    now = pick(3, 50, pieces=27)
    assert still_expected(now, [first, now]) == 583


def test_more_than_was_planned_of_a_turn_takes_nothing_of_later_ones() -> None:
    assert still_expected(pick(2, 900), [pick(2, 900)]) == 200
    assert still_expected(pick(2, 500), [pick(2, 500)]) == 200


def test_only_picks_of_the_same_turn_and_of_pieces_count() -> None:
    other, unknown = pick(2, 400), pick(3, 400, turn=2, pieces=0)
    now = pick(4, 60, turn=2)
    assert still_expected(now, [other, unknown, now]) == 140


# --- open, spent, emptied --------------------------------------------------------------------


def test_a_lot_without_a_pick_is_never_open() -> None:
    assert not lived(made()).shares_open
    assert rest(lived(made())) == (40, 700)


def test_a_picked_lot_is_open_until_it_is_spent() -> None:
    # 100 / (100 + 400 + 200) of 700.
    life = lived(made(), pick(2, 100))
    assert (life.shares_open, rest(life), moves(life)[2, USED]) == (True, (40, 600), -100)


@pytest.mark.parametrize("closes", [0, 1])
def test_spent_or_emptied_its_cost_is_shared_by_weight(closes: int) -> None:
    # 700 over 100 and 250, whatever was planned: 200 and 500.
    end = Step(4, LOST, -40, closes=closes)
    life = lived(made(), pick(2, 100), pick(3, 250, turn=2), end)
    assert not life.shares_open
    assert rest(life) == (0, 0)
    assert moves(life) == {(1, MADE): 700, (2, USED): -200, (3, USED): -500, (4, LOST): 0}


def test_spent_with_pieces_left_it_is_settled_all_the_same() -> None:
    # What spent itself does not take away stays on hand, and holds no cost.
    life = lived(made(), pick(2, 100), Step(3, LOST, 0, closes=1))
    assert (life.shares_open, rest(life), moves(life)[2, USED]) == (False, (40, 0), -700)


def test_cost_after_the_last_pick_is_the_picks() -> None:
    life = lived(made(), pick(2, 100), Step(3, MADE), Step(4, LOST, -40, closes=1), at_3=90)
    assert moves(life)[2, USED] == -790


def test_spent_without_a_pick_all_is_lost() -> None:
    life = lived(made(), Step(2, LOST, -40, closes=1))
    assert (rest(life), moves(life)[2, LOST], life.shares_open) == ((0, 0), -700, False)


def test_a_pick_of_an_empty_lot_is_short() -> None:
    assert lived(made(), Step(2, SOLD, -40), pick(3, 10)).short == (3, 0)
    assert lived(made(), Step(2, SOLD, -39), pick(3, 10)).short is None


# --- draws -----------------------------------------------------------------------------------


def test_draws_take_cumulative_shares() -> None:
    # 100 of 3: 33, then 66 - 33, then the rest.
    life = lived(made(3), Step(2, SOLD, -1), Step(3, USED, -1), Step(4, SOLD, -1), cost=100)
    assert [moves(life)[key] for key in ((2, SOLD), (3, USED), (4, SOLD))] == [-33, -33, -34]
    assert rest(life) == (0, 0)


def test_what_came_between_begins_a_new_stretch() -> None:
    # 33 of 100 go; 67 and 50 more over 2: 58 and 59.
    life = lived(
        made(3),
        Step(2, SOLD, -1),
        Step(3, MADE),
        Step(4, SOLD, -1),
        Step(5, SOLD, -1),
        cost=100,
        at_3=50,
    )
    assert [moves(life)[at, SOLD] for at in (2, 4, 5)] == [-33, -58, -59]


def test_more_than_there_is_is_short_by_so_much() -> None:
    assert lived(made(3), Step(2, SOLD, -5)).short == (2, 2)
    assert lived(made(3), Step(2, SOLD, -5), Step(3, SOLD, -1)).short == (2, 2)  # the first
    assert lived(made(3), Step(2, SOLD, -3)).short is None


def test_nothing_is_drawn_of_a_lot_that_never_held_any() -> None:
    life = lived(made(0), Step(2, SOLD, -1), cost=0)
    assert (moves(life)[2, SOLD], life.short) == (0, (2, 1))


def test_a_worth_is_drawn_against_what_stays() -> None:
    # 1 of 40 goes, worth 13 where 39 stay: 13 / 52 of 700 = 175; then 39 share 525.
    life = lived(made(), Step(2, USED, -1, basis=13), Step(3, SOLD, -13))
    assert (moves(life)[2, USED], moves(life)[3, SOLD]) == (-175, -175)


def test_water_takes_no_cost_and_begins_a_new_stretch() -> None:
    life = lived(made(), Step(2, SHRUNK, -4), Step(3, SOLD, -9))
    assert (moves(life)[2, SHRUNK], moves(life)[3, SOLD]) == (0, -175)  # 700 * 9 / 36


# --- losses ----------------------------------------------------------------------------------


def test_planned_losses_leave_free_and_each_further_one_carries_its_share() -> None:
    # 7 % of 40 is 2; 3 more of 38: 700 * 1 / 38 = 18, * 2 = 36, * 3 = 55.
    life = lived(made(planned_loss_ppm=70_000), Step(2, LOST, -3), Step(3, LOST, -2))
    assert (moves(life)[2, LOST], moves(life)[3, LOST]) == (-18, -37)


def test_a_part_that_is_split_off_takes_its_planned_loss_along() -> None:
    # 2 are planned; one goes along with the part, so 1 is free and the second costs 700 / 40.
    part = Step(2, USED, -20, planned_loss_count=1)
    life = lived(made(planned_loss_count=2), part, Step(3, LOST, -2))
    assert moves(life)[3, LOST] == -18  # 350 over 19


def test_more_planned_loss_than_there_was_leaves_none() -> None:
    part = Step(2, USED, -20, planned_loss_count=9)
    life = lived(made(planned_loss_count=2), part, Step(3, LOST, -2))
    assert moves(life)[3, LOST] == -35


def test_what_a_check_loses_as_it_makes_the_lot_leaves_beyond_plan_first() -> None:
    # 5 of 40 lost where the lot is made, 2 planned: 3 at 17.5 each (52), the rest over 35.
    life = lived(made(planned_loss_count=2), Step(1, LOST, -5), Step(2, SOLD, -35))
    assert (moves(life)[1, LOST], moves(life)[2, SOLD]) == (-52, -648)


def test_after_the_first_pick_a_loss_carries_nothing() -> None:
    life = lived(made(), pick(2, 100), Step(3, LOST, -20))
    assert (moves(life)[3, LOST], rest(life), life.shares_open) == (0, (20, 600), True)


def test_a_part_of_picked_blocks_loses_nothing_but_pieces_either() -> None:
    assert moves(lived(made(), Step(2, LOST, -20), earlier=[pick(0, 100)]))[2, LOST] == 0


def test_a_part_of_blocks_that_only_gave_a_by_product_loses_cost() -> None:
    trim = pick(0, 100, worth=5)
    assert moves(lived(made(), Step(2, LOST, -20), earlier=[trim]))[2, LOST] == -350


def test_a_part_that_is_spent_without_a_pick_of_its_own_loses_all() -> None:
    life = lived(made(), Step(2, LOST, -40, closes=1), earlier=[pick(0, 100)])
    assert moves(life)[2, LOST] == -700


def test_cost_on_a_lot_that_is_empty_is_a_loss_of_the_period() -> None:
    life = lived(made(2, planned_loss_count=2), Step(2, LOST, -2))
    assert (moves(life)[2, LOST], moves(life)[2, STRANDED], rest(life)) == (0, -700, (0, 0))


# --- by-products -----------------------------------------------------------------------------


def test_a_by_product_takes_its_worth_and_no_more_than_there_is() -> None:
    trim = pick(2, 30, worth=50)
    assert moves(lived(made(), trim))[2, USED] == -50
    assert not lived(made(), trim).shares_open
    assert moves(lived(made(), pick(2, 30, worth=900)))[2, USED] == -700


def test_what_is_expected_is_less_by_what_a_by_product_weighed() -> None:
    # 650 left; 100 of 100 + (500 - 30 - 100) + 200 = 670: 97.
    life = lived(made(), pick(2, 30, worth=50), pick(3, 100))
    assert moves(life)[3, USED] == -97


def test_a_by_product_after_the_first_pick_keeps_its_worth_when_all_is_settled() -> None:
    # 700 less 50, over 100 and 300.
    life = lived(
        made(), pick(2, 100), pick(3, 30, worth=50), pick(4, 300), Step(5, LOST, -40, closes=1)
    )
    assert [moves(life)[at, USED] for at in (2, 3, 4)] == [-162, -50, -488]


def test_a_by_product_of_an_empty_lot_is_short() -> None:
    empty = (made(), Step(2, SOLD, -40))
    assert lived(*empty, pick(3, 30, worth=1)).short == (3, 0)
    assert lived(*empty, Step(3, USED, worth=1)).short is None  # what is kept of it, not picked
    assert lived(made(), pick(2, 30, worth=1)).short is None


def test_scrap_of_a_planned_loss_lowers_what_stays() -> None:
    # 2 of 40 leave free, worth 5 together: 695 over 38.
    life = lived(made(planned_loss_count=2), Step(2, LOST, -2, worth=5), Step(3, SOLD, -38))
    assert (moves(life)[2, LOST], moves(life)[2, USED], moves(life)[3, SOLD]) == (0, -5, -695)


def test_scrap_beyond_plan_lowers_the_loss_not_what_stays() -> None:
    # 2 of 4 are planned: half of the worth of 10 each way. 695 over 38: 2 cost 36, less 5.
    life = lived(made(planned_loss_count=2), Step(2, LOST, -4, worth=10))
    assert (moves(life)[2, USED], moves(life)[2, LOST]) == (-10, -31)
    assert rest(life) == (36, 659)


def test_scrap_of_a_loss_that_was_planned_not_at_all() -> None:
    life = lived(made(), Step(2, LOST, -4, worth=10))
    assert (moves(life)[2, USED], moves(life)[2, LOST], rest(life)) == (-10, -60, (36, 630))


def test_scrap_after_the_first_pick_takes_its_worth() -> None:
    life = lived(made(), pick(2, 100), Step(3, LOST, -20, worth=30))
    assert (moves(life)[3, USED], rest(life)) == (-30, (20, 570))


def test_what_was_lost_and_kept_in_one_entry_takes_its_worth_once() -> None:
    life = lived(made(), Step(2, LOST, -4, worth=10), Step(2, USED, worth=10))
    assert moves(life)[2, USED] == -10
    again = lived(made(), Step(2, LOST, -4, worth=10), Step(3, USED, worth=10))
    assert moves(again)[3, USED] == -10


# --- returns ---------------------------------------------------------------------------------


def test_a_return_brings_its_part_of_the_sale_back() -> None:
    # 7 of 40 sold for 122; 3 back: 122 * 3 // 7 = 52, then 2 more: 87 - 52.
    back = [Step(at, BACK, quantity, returns_place=2) for at, quantity in ((3, 3), (4, 2))]
    life = lived(made(), Step(2, SOLD, -7), *back)
    assert [moves(life)[key] for key in ((2, SOLD), (3, BACK), (4, BACK))] == [-122, 52, 35]
    assert (rest(life), life.short) == ((38, 665), None)


def test_more_back_than_was_sold_is_short_by_so_much() -> None:
    sold = Step(2, SOLD, -7)
    assert lived(made(), sold, Step(3, BACK, 9, returns_place=2)).short == (3, 2)
    assert lived(made(), sold, Step(3, BACK, 7, returns_place=2)).short is None
    assert lived(made(), Step(3, BACK, 1, returns_place=2)).short == (3, 1)


def test_what_was_bought_brings_its_money() -> None:
    life = work([Step(1, Role.BOUGHT, 4, money=80)], {1: (20,)}, 1, kinds=1)
    assert (life.quantity, life.cost) == (4, (100,))
    five = work([Step(1, Role.BOUGHT, 4, money=80)], {}, 1)
    assert five.cost == (80, 0, 0, 0, 0)


# --- one piece, one milligram, one unit: the last of each ------------------------------------


def test_the_last_piece_takes_what_it_cost() -> None:
    assert moves(lived(made(1), Step(2, SOLD, -1)))[2, SOLD] == -700
    assert moves(lived(made(1), Step(2, LOST, -1)))[2, LOST] == -700


def test_a_lot_with_one_piece_left_is_open_still() -> None:
    life = lived(made(), pick(2, 100), Step(3, LOST, -39))
    assert (life.shares_open, rest(life)) == (True, (1, 600))
    assert lived(made(1), pick(2, 100)).short is None
    assert lived(made(1), pick(2, 30, worth=1)).short is None


def test_a_pick_of_one_milligram_is_a_pick() -> None:
    life = lived(made(), pick(2, 1, turn_mg=0, later_mg=0))
    assert (moves(life)[2, USED], life.shares_open) == (-700, True)


def test_a_worth_of_one_is_a_worth_and_all_goes_where_nothing_stays() -> None:
    # Of 39, two pieces gone; drawn by pieces they would take 35.
    assert moves(lived(made(), Step(2, USED, -2, basis=1)))[2, USED] == -17
    assert moves(lived(made(), Step(2, USED, -40, basis=5)))[2, USED] == -700


def test_scrap_that_shares_takes_its_part_beside_the_worth_of_the_rest() -> None:
    # 5 beside 38 worth 3 each: 700 * 5 / 119 = 29.4.
    life = lived(made(planned_loss_count=2), Step(2, LOST, -2, worth=5, basis=3))
    assert (moves(life)[2, USED], moves(life)[2, LOST], rest(life)) == (-29, 0, (38, 671))


def test_scrap_takes_its_worth_where_nothing_stays_to_share_with() -> None:
    life = lived(made(2, planned_loss_count=2), Step(2, LOST, -2, worth=5, basis=3))
    assert (moves(life)[2, USED], moves(life)[2, STRANDED]) == (-5, -695)


def test_the_worth_of_what_is_lost_is_parted_by_pieces_rounded_down_for_the_plan() -> None:
    # 2 of 3 were planned: 6 of 10. 694 over 38 is 18 for the third, less 4.
    life = lived(made(planned_loss_count=2), Step(2, LOST, -3, worth=10))
    assert (moves(life)[2, USED], moves(life)[2, LOST], rest(life)) == (-10, -14, (37, 676))


def test_a_plain_loss_moves_nothing_beside_itself() -> None:
    assert moves(lived(made(), Step(2, LOST, -4))) == {(1, MADE): 700, (2, LOST): -70}


def test_scrap_beyond_plan_takes_no_more_than_the_loss() -> None:
    life = lived(made(), Step(2, LOST, -4, worth=900))
    assert (moves(life)[2, USED], moves(life)[2, LOST], rest(life)) == (-70, 0, (36, 630))


def test_scrap_of_a_lot_that_is_lost_whole_shares_with_nothing() -> None:
    # 2 of 4 were planned: 5 of 10 leave 695, which is lost, less the other 5.
    life = lived(made(4, planned_loss_count=2), Step(2, LOST, -4, worth=10, basis=3))
    assert (moves(life)[2, USED], moves(life)[2, LOST], rest(life)) == (-10, -690, (0, 0))
