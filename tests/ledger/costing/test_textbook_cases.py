"""Cases of textbooks, worked through one lot's life, and what the book counts another way.

Each names its kind of source; figures from memory where no page can be named. Whole units of money.
"""

import pytest

from ledger.amounts import split
from ledger.costing import Life, Step, work
from ledger.models import Role

MADE, USED, SOLD, LOST, BACK = Role.MADE, Role.USED, Role.SOLD, Role.LOST, Role.BACK


def lived(*steps: Step, **at: int) -> Life:
    """Work a life; ``at_1=700``: 700 come in at place 1."""
    return work(steps, {int(k.removeprefix("at_")): (m,) for k, m in at.items()}, 1, kinds=1)


def out(life: Life, place: int, role: Role) -> int:
    return -life.moved[place, role][0]


def left(life: Life) -> tuple[int, int]:
    return life.quantity, life.cost[0]


# --- process costing: a cost accounting text's chapter on spoilage, from memory ---------------
# 1,500 begun at 12,000 of materials and 9,000 of conversion, 60 % done; 8,500 started; 7,000 good;
# 2,000 stay, half done; 1,000 spoiled at the inspection at the end, 700 (10 % of the good) normal.
# Materials of 76,500 at the start, conversion of 89,100.


def test_weighted_average_with_spoilage_found_at_the_end() -> None:
    """All in one lot: 88,500 / 10,000 = 8.85 and 98,100 / 9,000 = 10.90, so 19.75 a unit."""
    all_of_it = lived(
        Step(1, MADE, 10_000),
        Step(2, USED, -2_000),
        Step(3, MADE),
        at_1=88_500,
        at_3=8_000 * 109 // 10,
    )
    assert out(all_of_it, 2, USED) + 10_900 == 28_600  # what stays, with half its conversion
    assert left(all_of_it) == (8_000, 158_000)
    passed = lived(
        Step(1, MADE, 8_000, planned_loss_count=700), Step(1, LOST, -1_000), at_1=158_000
    )
    assert out(passed, 1, LOST) == 5_925  # 300 x 19.75
    assert left(passed) == (7_000, 152_075)  # 7,700 x 19.75
    assert 28_600 + 5_925 + 152_075 == 12_000 + 9_000 + 76_500 + 89_100


def test_first_in_first_out_with_spoilage_found_at_the_end() -> None:
    """Each in a lot of its own: 76,500 / 8,500 = 9 and 89,100 / 8,100 = 11, so 20 a unit."""
    begun = lived(Step(1, MADE, 1_500), Step(2, MADE), at_1=21_000, at_2=600 * 11)
    started = lived(
        Step(1, MADE, 8_500), Step(2, USED, -2_000), Step(3, MADE), at_1=76_500, at_3=6_500 * 11
    )
    assert out(started, 2, USED) + 1_000 * 11 == 29_000
    assert left(started) == (6_500, 130_000)
    passed = lived(
        Step(1, MADE, 6_500, planned_loss_count=700), Step(1, LOST, -1_000), at_1=130_000
    )
    assert out(passed, 1, LOST) == 6_000
    assert begun.cost[0] + passed.cost[0] == 151_600


def test_fewer_lost_than_planned_make_the_good_cheaper_and_no_gain() -> None:
    """Own rule. Texts that know an abnormal gain carry 920 at 10 and credit 200 for 20 units."""
    life = lived(Step(1, MADE, 1_000, planned_loss_ppm=100_000), Step(2, LOST, -80), at_1=9_000)
    assert left(life) == (920, 9_000)


def test_a_loss_by_evaporation_within_and_beyond_the_norm() -> None:
    """10,000 litres at 28,500, 5 % normal, 9,400 come out: 28,500 / 9,500 = 3 (exam, memory)."""
    life = lived(
        Step(1, MADE, 10_000), Step(2, Role.SHRUNK, -500), Step(2, LOST, -100), at_1=28_500
    )
    assert (out(life, 2, Role.SHRUNK), out(life, 2, LOST)) == (0, 300)
    assert left(life) == (9_400, 28_200)


# --- a job with spoilage and rework: the same chapter, from memory ----------------------------
# 50 parts at 2,000 each; 5 are spoiled and bring 600 each; or 5 are reworked for 3,800.


@pytest.mark.parametrize(
    ("planned", "loss", "good"),
    # Normal: the 45 carry 100,000 less 3,000. Abnormal: 5 x (2,000 - 600) is a loss.
    [(5, 0, 97_000), (0, 7_000, 90_000)],
)
def test_spoilage_of_a_job_with_disposal_value(planned: int, loss: int, good: int) -> None:
    life = lived(
        Step(1, MADE, 50, planned_loss_count=planned), Step(2, LOST, -5, worth=3_000), at_1=100_000
    )
    assert (out(life, 2, USED), out(life, 2, LOST), left(life)) == (3_000, loss, (45, good))


def test_rework_makes_the_whole_lot_dearer() -> None:
    """103,800 over 50. Own rule: rework that nobody planned stays in the lot too."""
    life = lived(Step(1, MADE, 50), Step(2, MADE), Step(3, SOLD, -25), at_1=100_000, at_2=3_800)
    assert (out(life, 3, SOLD), left(life)) == (51_900, (25, 51_900))


# --- moving average: exam answers, from memory ------------------------------------------------


def test_moving_average_with_a_return_and_a_count_that_found_less() -> None:
    """100 at 10 and 200 at 13 are 12 each: 150 out, 30 back, 10 missing, 100 out."""
    life = lived(
        Step(1, MADE, 300),
        Step(2, SOLD, -150),
        Step(3, BACK, 30, returns_place=2),
        Step(4, LOST, -10),
        Step(5, SOLD, -100),
        at_1=3_600,
    )
    assert [out(life, 2, SOLD), -out(life, 3, BACK), out(life, 4, LOST)] == [1_800, 360, 120]
    assert (out(life, 5, SOLD), left(life)) == (1_200, (70, 840))


def test_a_purchase_put_right_later_moves_what_was_issued_before() -> None:
    """Own rule: 20 of the 200 at 13 go back. 3,340 over 280, so 150 out are 1,789 of it.

    A card kept by hand leaves the issue at 1,800, and 1,900 over the 160 that stay.
    """
    life = lived(
        Step(1, MADE, 280),
        Step(2, SOLD, -150),
        Step(3, BACK, 30, returns_place=2),
        at_1=3_600 - 260,
    )
    assert out(life, 2, SOLD) == 3_340 * 150 // 280 == 1_789
    assert left(life) == (160, 3_340 - 1_789 + 1_789 * 30 // 150)


# --- joint products: a cost accounting text's dairy, from memory ------------------------------
# 400,000 of joint cost give 25,000 of cream and 75,000 of skim milk.


@pytest.mark.parametrize(
    ("basis", "shares"),
    [
        ((25_000, 75_000), [100_000, 300_000]),  # by quantity
        ((25_000 * 8, 75_000 * 4), [160_000, 240_000]),  # by what they sell for at once
        # By what they bring once worked on: 20,000 at 25 less 280,000, 50,000 at 22 less 520,000.
        ((220_000, 580_000), [110_000, 290_000]),
    ],
)
def test_joint_products_by_three_bases(basis: tuple[int, int], shares: list[int]) -> None:
    assert split(400_000, basis) == shares


def test_a_by_product_counted_when_it_is_made() -> None:
    """250,000 less 100 at 40 (IAS 2.14); without a worth the main product carries all of it."""
    made = Step(1, MADE, 1_000)
    for worth, main in ((4_000, 246_000), (0, 250_000)):
        life = lived(made, Step(2, USED, worth=worth), at_1=250_000)
        assert left(life) == (1_000, main)
