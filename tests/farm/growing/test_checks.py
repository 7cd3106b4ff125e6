"""A check finds how far a lot has grown and what is lost, and may split what passed off."""

import pytest

from farm.actions.common import post
from farm.actions.growing.blocks import move_to_fruiting
from farm.actions.growing.checks import CAUSES, check
from farm.actions.recording.correcting import undo, undo_with_dependants
from farm.kinds.tracing import HOLD
from farm.models import Stage
from ledger.balances import whole_book
from ledger.drafts import MarkDraft
from ledger.errors import Malformed, NotEnough, OnHold
from ledger.models import KINDS, Charge, Flow, Lot
from tests.farm.world import (
    GRAM,
    World,
    assert_book_is_sound,
    filled_bags,
    fresh,
    grow_blocks,
    grow_spawn,
)


def split_off(world: World, blocks: Lot, *, passed: int, lost: int) -> Lot:
    doing = world.doing(minutes=0, reason="green mould" if lost else "")
    made = check(doing, lot=blocks, colonised_percent=90, lost=lost, passed=passed)
    return fresh(made.lots[1])


def test_a_check_charges_its_labour_to_the_lot(world: World) -> None:
    blocks = grow_blocks(world, 40)

    recorded = check(world.doing(), lot=blocks, colonised_percent=50)

    # 5 minutes and 10 seconds a block, rounded up: 12 minutes at 18.00 an hour
    assert Charge.objects.get(entry=recorded.entry).amount == 36_000
    assert fresh(blocks).own == blocks.own + 36_000
    assert fresh(blocks).quantity == 40


@pytest.mark.parametrize("reason", ["green mould", "green mould: at the seal", CAUSES[-1]])
def test_a_loss_names_its_cause(world: World, reason: str) -> None:
    blocks = grow_blocks(world, 4)

    check(world.doing(reason=reason), lot=blocks, colonised_percent=50, lost=1)

    assert fresh(blocks).quantity == 3


@pytest.mark.parametrize("reason", ["", "bad luck"])
def test_it_refuses_a_loss_without_a_known_cause(world: World, reason: str) -> None:
    blocks = grow_blocks(world, 4)

    with pytest.raises(Malformed, match=f"Lot {blocks.code}: 1 lost to .* Name one of: green mou"):
        check(world.doing(reason=reason), lot=blocks, colonised_percent=50, lost=1)


@pytest.mark.parametrize("percent", [-1, 101])
def test_it_refuses_more_than_all_grown_through(world: World, percent: int) -> None:
    with pytest.raises(Malformed, match="State 0 to 100"):
        check(world.doing(), lot=grow_blocks(world, 4), colonised_percent=percent)


@pytest.mark.parametrize(("lost", "passed"), [(5, None), (-1, None), (2, 3), (0, -1)])
def test_it_refuses_counts_that_do_not_fit(world: World, lost: int, passed: int | None) -> None:
    blocks = grow_blocks(world, 4)

    with pytest.raises(Malformed, match=f"Lot {blocks.code} has 4 on hand; .* do not fit"):
        check(world.doing(reason="old"), lot=blocks, colonised_percent=9, lost=lost, passed=passed)


def test_it_refuses_what_does_not_grow(world: World) -> None:
    with pytest.raises(Malformed, match="is filled bags, not grain spawn or blocks"):
        check(world.doing(), lot=filled_bags(world, 4), colonised_percent=9)


def test_the_passed_part_becomes_a_lot_of_its_own(world: World) -> None:
    blocks = grow_blocks(world, 40)

    new = split_off(world, blocks, passed=18, lost=2)

    assert (new.quantity, fresh(blocks).quantity) == (18, 20)
    assert (new.card.stage, new.card.strain, new.card.generation) == (
        Stage.BLOCKS,
        world.strain,
        1,
    )
    assert new.placings.get().shelf == world.shelf
    assert_book_is_sound()


def test_planned_loss_falls_on_the_passed_only(world: World) -> None:
    blocks = grow_blocks(world, 40)

    new = split_off(world, blocks, passed=18, lost=2)

    # Half of the lot is checked. floor(7 % of 20) = 1 is planned; the other takes 1/20 out, at
    # the cost sunk so far, and the 18 passed carry the rest.
    half = tuple(cost * 20 // 40 for cost in blocks.cost)
    assert new.cost == tuple(cost - cost // 20 for cost in half)
    assert fresh(blocks).cost == tuple(
        all_of - part for all_of, part in zip(blocks.cost, half, strict=True)
    )


def test_all_passed_stay_the_same_lot(world: World) -> None:
    blocks = grow_blocks(world, 40)

    recorded = check(world.doing(), lot=blocks, colonised_percent=100, passed=40)

    assert recorded.lots == (blocks,)
    assert fresh(blocks).quantity == 40


def test_the_passed_part_still_owes_its_room_since_inoculation(world: World) -> None:
    blocks = grow_blocks(world, 40)
    world.wait(10)
    new = split_off(world, blocks, passed=20, lost=0)
    world.wait(6)

    move_to_fruiting(world.doing(), lot=new, shelf=world.fruiting_shelf)

    assert fresh(new).room == 16 * 20 * 200
    assert_book_is_sound()


def test_a_lot_wholly_lost_carries_all_its_cost_out(world: World) -> None:
    blocks = grow_blocks(world, 4)

    check(world.doing(reason="green mould", sure=True), lot=blocks, colonised_percent=5, lost=4)

    assert (fresh(blocks).quantity, sum(fresh(blocks).cost)) == (0, 0)
    assert_book_is_sound()


def test_spawn_is_lost_in_whole_bags(world: World) -> None:
    _, _, spawn = grow_spawn(world, 10)

    doing = world.doing(reason="wet spot / sour")
    check(doing, lot=spawn, colonised_percent=30, lost=2)

    assert fresh(spawn).quantity == 8 * 1_360 * GRAM
    assert_book_is_sound()


def test_all_bags_of_spawn_are_all_its_weight(world: World) -> None:
    _, _, spawn = grow_spawn(world, 3)

    check(world.doing(reason="old", sure=True), lot=spawn, colonised_percent=30, lost=3)

    assert fresh(spawn).quantity == 0


def test_spawn_that_passed_counts_its_bags(world: World) -> None:
    _, _, spawn = grow_spawn(world, 10)

    new = split_off(world, spawn, passed=5, lost=1)

    assert (new.quantity, new.card.bags, new.card.stage) == (5 * 1_360 * GRAM, 5, Stage.SPAWN)
    assert fresh(spawn).quantity == 4 * 1_360 * GRAM
    assert_book_is_sound()


def test_a_held_lot_may_be_looked_at_and_binned_but_not_split(world: World) -> None:
    blocks = grow_blocks(world, 4)
    post(world.doing(reason="sour"), HOLD, [], marks=[MarkDraft(blocks, held=True)])

    check(world.doing(reason="green mould"), lot=blocks, colonised_percent=50, lost=1)
    with pytest.raises(OnHold, match=f"Lot {blocks.code} is on hold"):
        split_off(world, blocks, passed=1, lost=0)

    assert fresh(blocks).quantity == 3


def test_the_rest_keeps_only_its_own_part_of_the_planned_loss(world: World) -> None:
    blocks = grow_blocks(world, 40)  # floor(7 % of 40) = 2 planned, 1 for each half
    split_off(world, blocks, passed=18, lost=2)
    before = fresh(blocks).cost

    check(world.doing(reason="green mould"), lot=fresh(blocks), colonised_percent=90, lost=2)

    # One of the two is free; the other takes 1/19 out, with what this check's labour added.
    lost = Flow.objects.filter(lot=blocks, role="lost").latest("entry_id")
    labour = lost.entry.charges.get().amount
    whole = [*before]
    whole[KINDS.index("own")] += labour
    assert lost.cost == tuple(-(cost // 19) for cost in whole)


def test_a_split_is_not_undone_under_a_later_check_of_what_it_made(world: World) -> None:
    blocks = grow_blocks(world, 40)
    part = split_off(world, blocks, passed=18, lost=2)
    later = check(world.doing(), lot=part, colonised_percent=100).entry

    with pytest.raises(NotEnough, match=f"entry {later.seq}") as refusal:
        undo(world.doing(), part.made_by)
    assert refusal.value.dependants == (later.seq,)

    # With the later check everything is as before: no labour is left on an empty lot.
    undo_with_dependants(world.doing(), part.made_by)
    assert fresh(blocks).quantity == 40
    assert whole_book().lost == (0, 0, 0, 0, 0)
    assert_book_is_sound()
