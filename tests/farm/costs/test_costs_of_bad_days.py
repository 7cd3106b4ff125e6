"""What an ordinary season does to the cost of a lot, each figure worked by hand beside it."""

from dataclasses import replace
from datetime import timedelta

import pytest

from farm.actions.common import Draw
from farm.actions.growing.checks import check
from farm.actions.growing.harvesting import mark_spent, pick
from farm.actions.recording.correcting import undo
from farm.actions.starting.starting import add_strain
from farm.beliefs import planned
from ledger.errors import Malformed
from ledger.models import Lot
from tests.farm.costed import blocks_at, costless_farm, lost, whole
from tests.farm.world import GRAM, KG, UNIT, World, assert_book_is_sound, fresh

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> World:
    """500 g a block are planned of the first flush, 200 g of the second, none of a third."""
    world = costless_farm()
    world.strain.third_mg = 0
    world.strain.save()
    return world


def picked(world: World, blocks: Lot, kg: int, *, days_ago: int = 0) -> Lot:
    doing = world.doing(sure=True)
    doing = replace(doing, happened_at=doing.happened_at - timedelta(days_ago))
    return pick(doing, given=[Draw(fresh(blocks), 0)], flush=1, firsts_mg=kg * KG).lots[-1]


def test_two_strains_in_one_pick_each_give_their_part(world: World) -> None:
    """8 of 28 kg and 4 of 28 of 200.00 each; once both are spent, all 400.00."""
    one = blocks_at(world, 40, 200)
    world.strain = add_strain(planned("Oyster"), "Blue")
    for name, grams in (("first_mg", 500), ("second_mg", 200), ("third_mg", 0)):
        setattr(world.strain, name, grams * GRAM)
    world.strain.save()
    other = blocks_at(world, 40, 200)
    given = [Draw(one, 8 * KG), Draw(other, 4 * KG)]
    crate = pick(world.doing(sure=True), given=given, flush=1, firsts_mg=12 * KG).lots[-1]
    assert (whole(crate), crate.card.strain) == (57_1428 + 28_5714, None)

    mark_spent(world.doing(), lot=fresh(one))
    mark_spent(world.doing(), lot=fresh(other))
    assert whole(crate) == 400 * UNIT
    assert_book_is_sound()


def test_a_pick_dated_back_before_spent_counts_as_it_was_typed(world: World) -> None:
    blocks = blocks_at(world, 40, 200)
    crates = picked(world, blocks, 8), picked(world, blocks, 9, days_ago=1)

    assert [whole(lot) for lot in crates] == [57_1428, 64_2857]


def test_a_pick_dated_back_after_spent_needs_the_end_taken_back_first(world: World) -> None:
    blocks = blocks_at(world, 40, 200)
    first = picked(world, blocks, 8)
    spent = mark_spent(world.doing(), lot=fresh(blocks)).entry
    assert whole(first) == 200 * UNIT
    with pytest.raises(Malformed, match="take back the entry that emptied it"):
        picked(world, blocks, 9, days_ago=1)

    undo(world.doing(reason="not yet"), spent)
    second = picked(world, blocks, 9, days_ago=1)
    mark_spent(world.doing(), lot=fresh(blocks))
    # 200.00 over 17 kg.
    assert [whole(lot) for lot in (first, second)] == [94_1176, 105_8824]
    assert_book_is_sound()


def test_a_batch_lost_whole_and_one_spent_without_a_pick_are_all_loss(world: World) -> None:
    one, other = (blocks_at(world, 40, 200, planned_ppm=70_000) for _ in range(2))
    doing = world.doing(reason="green mould", sure=True)
    check(doing, lot=one, colonised_percent=100, lost=40)
    mark_spent(world.doing(), lot=other)

    assert [lost(lot) for lot in (one, other)] == [200 * UNIT] * 2
    assert [whole(lot) for lot in (one, other)] == [0, 0]
    assert_book_is_sound()


def test_nothing_but_trim_carries_all_where_by_products_share(world: World) -> None:
    blocks = blocks_at(world, 40, 200)
    trim = pick(
        world.doing(sure=True), given=[Draw(blocks, 0)], flush=1, firsts_mg=0, trim_mg=3 * KG
    ).lots[-1]
    mark_spent(world.doing(), lot=fresh(blocks))

    assert (whole(trim), lost(blocks)) == (200 * UNIT, 0)
