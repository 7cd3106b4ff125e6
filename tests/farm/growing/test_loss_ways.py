"""Which of the two published ways counted what a check found lost, and what the other gives."""

from fractions import Fraction

import pytest

from farm.actions.common import Draw
from farm.actions.growing.checks import check
from farm.actions.growing.harvesting import pick
from farm.actions.recording.correcting import undo
from farm.queries.growing.loss_ways import loss_way_of
from ledger.models import Entry, Lot
from tests.conftest import signed_in
from tests.farm.costed import blocks_at, costless_farm, whole
from tests.farm.filled import text
from tests.farm.world import KG, World, fresh

pytestmark = pytest.mark.django_db

PAID = Fraction(21_080, 100)


@pytest.fixture
def world() -> World:
    return costless_farm()


def forty(world: World) -> Lot:
    """40 blocks at 210.80, of which 7 % are planned to be lost: two."""
    return blocks_at(world, 40, PAID, planned_ppm=70_000)


def lose(world: World, lot: Lot, lost: int, passed: int | None = None) -> Entry:
    doing = world.doing(reason="green mould", sure=True)
    return check(doing, lot=lot, colonised_percent=90, lost=lost, passed=passed).entry


def test_noticed_on_the_way_the_planned_loss_leaves_first(world: World) -> None:
    """210.80 / 38 is 5.5474; by the other way 210.80 x 37 / 40 / 35 is 5.5711."""
    blocks = forty(world)
    found = loss_way_of(lose(world, blocks, 5))

    assert found and (found.inspected, found.lost, found.beyond) == (False, 5, 3)
    assert (found.good, found.other) == (5_5474, 5_5711)
    assert whole(blocks) // 35 == 5_5473  # 5.54736, as the book holds it


def test_found_by_a_check_that_passes_the_rest_what_is_beyond_plan_leaves_first(
    world: World,
) -> None:
    blocks = forty(world)
    entry = lose(world, blocks, 5, passed=35)
    found = loss_way_of(entry)

    assert found and (found.inspected, found.good, found.other) == (True, 5_5711, 5_5474)
    assert whole(found.lot) // 35 == 5_5711


def test_a_later_loss_counts_with_what_is_left_of_the_plan(world: World) -> None:
    """One of the two planned is gone: 39 at 210.80; one more free, 210.80 / 38 each."""
    blocks = forty(world)
    lose(world, blocks, 1)
    found = loss_way_of(lose(world, fresh(blocks), 3))

    assert found and (found.lost, found.beyond, found.good) == (3, 2, 5_5474)
    assert found.other == round(Fraction(210_8000 * 37, 39 * 36))


def test_within_the_plan_both_ways_give_the_same(world: World) -> None:
    found = loss_way_of(lose(world, forty(world), 2))

    assert found and found.good == found.other == 5_5474


def test_nothing_is_said_of_what_has_no_good_block_or_no_cost(world: World) -> None:
    blocks = forty(world)
    looked = check(world.doing(), lot=blocks, colonised_percent=50).entry
    pick(world.doing(sure=True), given=[Draw(fresh(blocks), 0)], flush=1, firsts_mg=KG)
    after = lose(world, fresh(blocks), 5)
    part = check(world.doing(), lot=fresh(blocks), colonised_percent=100, passed=10).lots[1]
    of_part = lose(world, fresh(part), 2)
    other = forty(world)
    all_lost = lose(world, other, 40)

    assert [loss_way_of(one) for one in (looked, after, of_part, all_lost)] == [None] * 4
    undone = lose(world, forty(world), 5)
    undo(world.doing(reason="not so"), undone)
    assert loss_way_of(undone) is None


def test_the_page_of_the_entry_says_both(world: World) -> None:
    entry = lose(world, forty(world), 5)
    owner, helper = signed_in(world.owner), signed_in(world.helper)
    page = text(owner.get(f"/entries/{entry.seq}/"))

    assert "5 lost, 2 of them as planned: noticed on the way" in page
    assert "a good block carries €5.5474." in page
    assert "it would carry €5.5711." in page
    assert "5.5474" not in text(helper.get(f"/entries/{entry.seq}/"))
