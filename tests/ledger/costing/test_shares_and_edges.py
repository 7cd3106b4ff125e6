"""Who shares the cost of an entry, and what went into what, without a database and by hand."""

from collections.abc import Sequence

import pytest

from ledger.costing import Step
from ledger.edges import alike_of, edges_at
from ledger.models import Dimension, Role
from ledger.story import Story, expected_now, picks_before_now
from ledger.working import life_of, shares_of

MASS, COUNT, VOLUME = Dimension.MASS, Dimension.COUNT, Dimension.VOLUME
Made = tuple[int, int, int]  # lot, basis, worth


# --- who shares the cost of an entry ---------------------------------------------------------


@pytest.mark.parametrize(
    ("made", "pool", "shares"),
    [
        ([(10, 1, 0)], 700, {10: 700}),
        ([(10, 1, 0), (11, 1, 0), (12, 1, 0)], 100, {10: 33, 11: 33, 12: 34}),
        ([(10, 3, 0), (11, 1, 0)], 100, {10: 75, 11: 25}),
        ([(10, 0, 0), (11, 3, 0)], 100, {11: 100}),  # no share, no cost
        ([(10, 0, 1), (11, 5, 0)], 100, {10: 1, 11: 99}),
        # Worths go first, in the order of making, and never more than is left.
        ([(10, 0, 60), (11, 0, 60), (12, 1, 0)], 100, {10: 60, 11: 40, 12: 0}),
        ([(10, 0, 0)], 100, {}),
    ],
)
def test_the_cost_of_an_entry_is_shared_by_worth_then_by_basis(
    made: Sequence[Made], pool: int, shares: dict[int, int]
) -> None:
    found = shares_of(Story(made_at={1: list(made)}), 1, (pool,))

    assert {lot: cost[0] for lot, cost in found.items()} == shares


def test_an_entry_that_made_nothing_shares_nothing() -> None:
    assert shares_of(Story(), 1, (100,)) == {}


def test_a_life_takes_its_share_of_inputs_and_charges_and_what_falls_on_it() -> None:
    # 100 of inputs and 20 charged over 3 : 1 are 90, and 5 fall on the lot alone.
    story = Story(
        born_at={10: 1},
        steps={10: [Step(1, Role.MADE, 4)]},
        made_at={1: [(10, 3, 0), (11, 1, 0)]},
        charged={1: (0, 20, 0, 0, 0)},
        falls={(10, 1): (0, 0, 5, 0, 0)},
    )
    life = life_of(story, 10, {1: (100, 0, 0, 0, 0)})

    assert (life.quantity, life.cost) == (4, (75, 15, 5, 0, 0))


# --- what a lot still gives ------------------------------------------------------------------


def told(*steps: Step, earlier: Sequence[Step] = ()) -> Story:
    return Story(born_at={10: 1}, steps={10: list(steps)}, earlier={10: list(earlier)})


PICK = Step(2, Role.USED, given_mg=100, turn=1, pieces=40, turn_mg=500, later_mg=201)


def test_what_a_lot_still_gives_goes_by_the_pieces_that_are_left_rounded_down() -> None:
    # Of 40 pieces 27 stay: 337 now and 135 later, less 67 given.
    story = told(Step(1, Role.MADE, 40), PICK, Step(3, Role.LOST, -13))
    assert expected_now(story) == {10: 405}


def test_a_spent_lot_gives_nothing_more() -> None:
    assert expected_now(told(Step(1, Role.MADE, 40), PICK, Step(3, Role.LOST, -40, closes=1))) == {
        10: 0
    }


def test_a_spent_lot_gives_nothing_more_also_where_its_pick_stated_no_pieces() -> None:
    plain = Step(2, Role.USED, given_mg=100, later_mg=200)
    closing = Step(3, Role.LOST, -40, closes=1)
    assert expected_now(told(Step(1, Role.MADE, 40), plain, closing)) == {10: 0}


def test_a_lot_that_was_never_picked_is_left_out() -> None:
    assert expected_now(told(Step(1, Role.MADE, 40), Step(2, Role.SOLD, -1))) == {}


def test_what_was_picked_of_the_whole_counts_first() -> None:
    part = told(Step(3, Role.MADE, 20), earlier=[PICK])
    assert picks_before_now(part, 10) == [PICK]
    assert expected_now(part) == {10: 300}  # 250 and 100, less 50


def test_a_pick_without_pieces_is_taken_as_it_is() -> None:
    plain = Step(2, Role.USED, given_mg=100, turn_mg=500, later_mg=200)
    assert expected_now(told(Step(1, Role.MADE, 40), plain)) == {10: 700}


# --- what went into what ---------------------------------------------------------------------


def used(
    lot: int,
    quantity: int,
    *,
    alike: str = "",
    dimension: str = MASS,
    piece_mg: int | None = None,
    given_mg: int = 0,
    basis: int = 0,
) -> tuple[object, ...]:
    """Take so much of a lot; its item has the lot's own number."""
    return (lot, lot, alike, dimension, piece_mg, Role.USED, -quantity, given_mg, basis)


def made(lot: int, quantity: int) -> tuple[object, ...]:
    return (lot, lot, "", MASS, None, Role.MADE, quantity, 0, 0)


def edges(*rows: tuple[object, ...]) -> list[tuple[int, int, int, int]]:
    """Lot taken, lot made, how much was taken for it, how much of it is credited."""
    return [(one.src_id, one.dst_id, one.quantity, one.part) for one in edges_at(5, rows)]


def test_each_ingredient_is_in_all_that_was_made() -> None:
    # 30 of lot 1 and 9 of lot 2 over 2 : 1, each credited with all of both.
    assert edges(used(1, 30), used(2, 9), made(8, 2), made(9, 1)) == [
        (1, 8, 20, 2),
        (1, 9, 10, 1),
        (2, 8, 6, 2),
        (2, 9, 3, 1),
    ]


def test_what_can_stand_in_for_one_another_shares_what_was_made() -> None:
    # 1 : 2 of 100 is 33.3 and 66.7: the larger remainder takes what is over.
    rows = (used(1, 1, alike="crop"), used(2, 2, alike="crop"), made(9, 100))
    assert edges(*rows) == [(1, 9, 1, 33), (2, 9, 2, 67)]


def test_in_different_units_the_part_goes_by_weight() -> None:
    # 3 pieces of 100 mg and 700 mg loose: 30 and 70 of 100.
    rows = (
        used(1, 3, alike="crop", dimension=COUNT, piece_mg=100),
        used(2, 700, alike="crop"),
        made(9, 100),
    )
    assert edges(*rows) == [(1, 9, 3, 30), (2, 9, 700, 70)]


def test_in_one_unit_the_part_goes_by_that_unit() -> None:
    rows = (
        used(1, 3, alike="crop", dimension=COUNT, piece_mg=100),
        used(2, 1, alike="crop", dimension=COUNT, piece_mg=900),
        made(9, 100),
    )
    assert edges(*rows) == [(1, 9, 3, 75), (2, 9, 1, 25)]


def test_a_pick_counts_by_what_it_gave_also_beside_what_is_weighed() -> None:
    rows = (
        used(1, 0, alike="blocks", dimension=COUNT, piece_mg=9, given_mg=300),
        used(2, 700, alike="blocks"),
        made(9, 100),
    )
    assert edges(*rows) == [(1, 9, 300, 30), (2, 9, 700, 70)]


def test_what_is_only_worth_something_counts_by_it() -> None:
    rows = (
        used(1, 0, alike="blocks", dimension=COUNT, piece_mg=9, basis=300),
        used(2, 700, alike="blocks"),
        made(9, 100),
    )
    assert edges(*rows) == [(1, 9, 300, 30), (2, 9, 700, 70)]


def test_a_piece_that_states_no_weight_weighs_one() -> None:
    rows = (
        used(1, 30, alike="x", dimension=COUNT),
        used(2, 70, alike="x", dimension=VOLUME),
        made(9, 100),
    )
    assert edges(*rows) == [(1, 9, 30, 30), (2, 9, 70, 70)]


def test_corrections_add_up_before_anything_is_shared() -> None:
    rows = (used(1, 30), used(1, -10), made(9, 5), made(9, 2))
    assert edges(*rows) == [(1, 9, 20, 7)]


def test_what_was_taken_back_makes_no_edge() -> None:
    assert edges(used(1, 30), used(1, -30), made(9, 5)) == []
    assert edges(used(1, 30), made(9, 5), made(9, -5)) == []
    assert edges(used(1, 30)) == []


def test_one_milligram_makes_an_edge() -> None:
    assert edges(used(1, 1), made(9, 1)) == [(1, 9, 1, 1)]


def test_items_of_one_word_are_alike_and_one_without_a_word_only_itself() -> None:
    assert alike_of("crop", 7) == alike_of("crop", 8) == ("crop", 0)
    assert alike_of("", 7) != alike_of("", 8)
