"""Grades share a pick's cost by weight, or by what they are worth where that is stated."""

import pytest
from django.test import Client

from farm.actions.common import Draw
from farm.actions.growing.harvesting import Valued, mark_spent, pick, pick_by_value
from farm.actions.recording.correcting import correct_quantity
from farm.models import Grade
from ledger.errors import Malformed
from ledger.models import Charge, Flow, Lot, Role
from tests.farm.filled import send, text
from tests.farm.world import (
    KG,
    UNIT,
    World,
    assert_book_is_sound,
    fresh,
    fruiting,
    grow_blocks,
    small_farm,
)

pytestmark = pytest.mark.django_db

FIRSTS_DEARER = {
    Grade.FIRSTS: Valued(8 * KG, 20 * UNIT),
    Grade.SECONDS: Valued(2 * KG, 5 * UNIT),
    Grade.TRIM: Valued(KG, 0),
}


def picked_by_value(world: World) -> tuple[Lot, Lot, Lot]:
    blocks = fruiting(world)
    recorded = pick_by_value(world.doing(), given=[Draw(blocks, 0)], flush=1, grades=FIRSTS_DEARER)
    firsts, seconds, trim = (fresh(lot) for lot in recorded.lots[1:])
    return firsts, seconds, trim


def test_grades_share_the_cost_by_what_they_are_worth() -> None:
    firsts, seconds, trim = picked_by_value(small_farm())
    whole = sum(firsts.cost) + sum(seconds.cost)

    # 8 kg at 20.00 and 2 kg at 5.00: 160 to 10, so a seventeenth, rounded kind by kind.
    assert sum(seconds.cost) == pytest.approx(whole / 17, abs=5)
    assert sum(trim.cost) == 0
    assert_book_is_sound()


def test_a_corrected_weight_goes_on_sharing_by_worth() -> None:
    world = small_farm()
    firsts, seconds, _ = picked_by_value(world)
    correct_quantity(
        world.doing(), firsts.made_by, lot=seconds, role=Role.MADE, right_quantity=4 * KG
    )
    firsts, seconds = fresh(firsts), fresh(seconds)

    # 160 to 20: a ninth.
    assert sum(seconds.cost) == pytest.approx((sum(firsts.cost) + sum(seconds.cost)) / 9, abs=5)
    assert_book_is_sound()


def test_it_refuses_grades_that_are_worth_nothing() -> None:
    world = small_farm()
    blocks = fruiting(world)

    with pytest.raises(Malformed, match="worth nothing together"):
        pick_by_value(
            world.doing(), given=[Draw(blocks, 0)], flush=1, grades={Grade.FIRSTS: Valued(KG, 0)}
        )


def test_the_form_shares_by_worth_where_it_is_stated(owner: Client) -> None:
    world = small_farm()
    blocks = fruiting(world)
    sent = send(
        owner,
        "/record/pick/",
        blocks=[blocks.code],
        flush="1",
        firsts_mg="8 kg",
        seconds_mg="2 kg",
        firsts_kg_money="20",
        seconds_kg_money="5",
    )

    assert sent.status_code == 302, text(sent)
    seconds = Lot.objects.get(card__grade=Grade.SECONDS)
    made = Flow.objects.filter(lot__card__stage=7, role=Role.MADE)
    assert sum(seconds.cost) == pytest.approx(sum(sum(f.cost) for f in made) / 17, abs=5)


def test_blocks_that_stood_after_the_last_pick_pay_for_their_room() -> None:
    world = small_farm()
    blocks = fruiting(world, 40)
    firsts = pick(world.doing(), given=[Draw(blocks, 0)], flush=1, firsts_mg=10 * KG).lots[-1]
    world.wait(12)
    spent = mark_spent(world.doing(), lot=fresh(blocks)).entry
    room = Charge.objects.get(entry=spent)

    days = (spent.happened_on - fresh(firsts).made_by.happened_on).days

    # 40 blocks for 12 days or, past midnight, 13 at 0.02; it is in the only pick there was.
    assert room.amount == 40 * days * 200
    assert days in (12, 13)
    assert fresh(firsts).room == sum(
        Charge.objects.filter(kind="room").values_list("amount", flat=True)
    )
    assert_book_is_sound()


def test_blocks_spent_without_a_pick_lose_their_room_as_well() -> None:
    world = small_farm()
    blocks = grow_blocks(world, 40)
    world.wait(30)
    spent = mark_spent(world.doing(), lot=blocks).entry
    lost = Flow.objects.get(entry=spent, role=Role.LOST)

    assert -lost.room == 40 * 30 * 200
    assert_book_is_sound()
