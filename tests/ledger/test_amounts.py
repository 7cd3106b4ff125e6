"""Parts add up to the whole, whatever the weights."""

from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.amounts import in_turn, in_words, largest_remainder, part_worth, rate_of, split

totals = st.integers(-(10**15), 10**15)
weights = st.lists(st.integers(0, 10**9), min_size=1, max_size=12).filter(any)


@given(totals, weights)
def test_the_parts_of_a_split_add_up(total: int, by: list[int]) -> None:
    assert total == sum(split(total, by))


@given(totals, weights)
def test_the_largest_remainders_add_up(total: int, by: list[int]) -> None:
    assert total == sum(largest_remainder(total, by))


@given(totals, weights)
def test_no_part_is_a_whole_unit_off_its_share(total: int, by: list[int]) -> None:
    whole = sum(by)
    for share in (split, largest_remainder):
        for part, weight in zip(share(total, by), by, strict=True):
            assert abs(part * whole - total * weight) < whole


@given(st.integers(0, 10**15), weights)
def test_a_weight_of_zero_gets_nothing(total: int, by: list[int]) -> None:
    for share in (split, largest_remainder):
        assert not any(p for p, weight in zip(share(total, by), by, strict=True) if not weight)


def test_a_split_gives_the_remainder_where_the_running_sum_crosses() -> None:
    assert split(100, [1, 1, 1]) == [33, 33, 34]


def test_the_largest_remainder_gives_ties_to_the_earlier() -> None:
    assert largest_remainder(100, [1, 1, 1]) == [34, 33, 33]


@pytest.mark.parametrize("by", [[], [0, 0], [2, -1]])
def test_weights_that_cannot_share_are_refused(by: list[int]) -> None:
    for share in (split, largest_remainder):
        with pytest.raises(ValueError, match="Cannot share"):
            share(100, by)


@pytest.mark.parametrize(
    ("total", "rooms", "parts", "left"),
    [
        (7, [4, 2, 5], [4, 2, 1], 0),
        (11, [4, 2, 5], [4, 2, 5], 0),
        (12, [4, 2, 5], [4, 2, 5], 1),
        (3, [2, 2, 2], [2, 1, 0], 0),  # of equals, the earlier first
        (5, [0, -3, 4], [0, 0, 4], 1),
        (0, [4], [0], 0),
        (-6, [4, 2], [0, 0], -6),
        (6, [], [], 6),
    ],
)
def test_a_whole_is_handed_out_in_turn(
    total: int, rooms: list[int], parts: list[int], left: int
) -> None:
    assert in_turn(total, rooms) == (parts, left)


@given(st.integers(-20, 200), st.lists(st.integers(-5, 40), max_size=8))
def test_handing_out_in_turn_is_as_giving_one_unit_at_a_time(total: int, rooms: list[int]) -> None:
    given_out, left = Counter[int](), total
    while left > 0 and (free := [at for at, room in enumerate(rooms) if given_out[at] < room]):
        given_out[free[0]] += 1
        left -= 1
    assert in_turn(total, rooms) == ([given_out[at] for at in range(len(rooms))], left)


@given(totals, st.lists(st.integers(-(10**9), 10**9), max_size=12))
def test_what_is_handed_out_and_what_is_left_add_up(total: int, rooms: list[int]) -> None:
    parts, left = in_turn(total, rooms)
    assert sum(parts) + left == total
    assert all(0 <= part <= max(0, room) for part, room in zip(parts, rooms, strict=True))


def test_a_rate_is_rounded_down_to_whole_pieces() -> None:
    assert rate_of(40, 70_000) == 2  # 7 % of 40 is 2.8
    assert rate_of(10**9, 10**6) == 10**9  # all of it


@pytest.mark.parametrize(
    ("worth", "cost", "taken"),
    [
        (50, [60, 30, 10], (30, 15, 5)),
        (200, [60, 30, 10], (60, 30, 10)),  # never more than there is
        (1, [1], (1,)),
        (50, [0, 0], (0, 0)),
    ],
)
def test_a_worth_takes_its_part_of_each_kind_of_cost(
    worth: int, cost: list[int], taken: tuple[int, ...]
) -> None:
    assert part_worth(worth, cost) == taken


def test_one_part_alone_takes_all() -> None:
    for share in (split, largest_remainder):
        assert share(7, [1]) == [7]


@pytest.mark.parametrize(
    ("quantity", "dimension", "words"),
    [
        (2_500_000, "mass", "2.5 kg"),
        (300_000, "volume", "0.3 litres"),
        (181_433, "mass", "0.1814 kg"),
        (12_345_678, "mass", "12.3457 kg"),
        (1, "mass", "0.000001 kg"),
        (30_149, "mass", "0.03015 kg"),
        (0, "mass", "0 kg"),
        (20_000_000, "mass", "20 kg"),
        (40, "count", "40 pieces"),
        (1, "count", "1 piece"),
        (2, "count", "2 pieces"),
    ],
)
def test_a_quantity_is_said_in_the_unit_people_use(
    quantity: int, dimension: str, words: str
) -> None:
    assert in_words(quantity, dimension) == words
