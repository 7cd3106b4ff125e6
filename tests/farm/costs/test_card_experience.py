"""What the farm's own records say, when the card may believe them, and whether it was right."""

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from pytest_django import DjangoAssertNumQueries

from farm.actions.common import Draw
from farm.actions.growing.checks import check
from farm.actions.growing.harvesting import mark_spent, pick
from farm.actions.recording.correcting import undo
from farm.actions.selling.stalls import load_stall, settle_stall
from farm.actions.store.storing import throw_away, weigh_again
from farm.models import Price, SavedCard, SellingPlace
from farm.planning.grown import Grown, Records
from farm.planning.inputs import Known
from farm.queries.costs.card_choice import Choice, Offered, newest_batches, usual_choice
from farm.queries.costs.card_inputs import CardInputs, card_inputs, newest_spawn_price
from farm.queries.costs.card_outcomes import outcomes
from farm.queries.costs.decisions import flush_inputs
from farm.queries.costs.kilos import kilos_from
from farm.queries.growing.experience import Share, experience_of, usual_days_mg
from ledger.models import Lot
from tests.farm.goods import packs
from tests.farm.world import GRAM, KG, UNIT, World, fresh, fruiting, grow_spawn, small_farm

DAY = date(2026, 12, 31)


@pytest.fixture
def world(db: None) -> World:
    return small_farm()


def grown_out(world: World, count: int, *, lost: int = 0) -> Lot:
    """Blocks that lose some, give 10 kg and 3 kg with 1 kg of trim, and are spent."""
    blocks = fruiting(world, count)
    if lost:
        check(world.doing(reason="green mould"), lot=blocks, colonised_percent=100, lost=lost)
    world.wait(9)
    given = [Draw(fresh(blocks), 0)]
    pick(world.doing(), given=given, flush=1, firsts_mg=9 * KG, trim_mg=KG)
    world.wait(10)
    pick(world.doing(), given=[Draw(fresh(blocks), 0)], flush=2, firsts_mg=3 * KG)
    mark_spent(world.doing(), lot=fresh(blocks))
    return fresh(blocks)


def found(world: World) -> CardInputs:
    return inputs_of(usual())


def usual() -> Choice:
    choice = usual_choice(newest_batches(), Offered())
    assert isinstance(choice, Choice)
    return choice


def inputs_of(choice: Choice) -> CardInputs:
    own = experience_of(choice.strain)
    places = list(SellingPlace.objects.all())
    return card_inputs(choice, DAY, own=own, batches=newest_batches(), places=places)


def saved(world: World, **ranged: Any) -> SavedCard:
    return SavedCard.objects.create(
        **{
            "name": "Oyster",
            "version": 1,
            "made_at": world.now,
            "by": world.owner,
            "strain": world.strain,
            "stated": "{}",
            "placed_money": 1,
            **ranged,
        }
    )


def test_blocks_still_growing_say_nothing(world: World) -> None:
    fruiting(world, 40)

    assert experience_of(world.strain).blocks == 0


def test_finished_blocks_give_their_flushes_by_block_fruited(world: World) -> None:
    grown_out(world, 40, lost=4)
    own = experience_of(world.strain)

    # 10 kg and 3 kg from 36 blocks that fruited: 277.778 g and 83.333 g
    assert own.flushes_mg == (277_778, 83_333, 0)
    assert own.loss == Share(4, 40, (0.1,))


def test_what_a_check_split_off_is_one_batch_with_what_stayed_behind(world: World) -> None:
    blocks = fruiting(world, 40)
    passed = check(
        world.doing(reason="green mould", sure=True),
        lot=blocks,
        colonised_percent=100,
        passed=32,
        lost=3,
    ).lots[1]
    world.wait(9)
    pick(world.doing(), given=[Draw(fresh(passed), 0)], flush=1, firsts_mg=16 * KG)
    mark_spent(world.doing(), lot=fresh(passed))
    assert experience_of(world.strain).batches == ()

    # The five that stayed behind are lost whole: no batch of their own that gave nothing.
    check(
        world.doing(reason="green mould", sure=True),
        lot=fresh(blocks),
        colonised_percent=100,
        lost=5,
    )
    assert experience_of(world.strain).batches == (Grown(40, 32, 0.2, 0.5, 0.0),)


def test_a_batch_lost_whole_is_a_record_like_others(world: World) -> None:
    grown_out(world, 40)
    blocks = fruiting(world, 20)
    check(world.doing(reason="green mould", sure=True), lot=blocks, colonised_percent=100, lost=20)
    records = found(world).records

    # 13 kg of 40 blocks, 1 kg of it trim; 20 of 20 lost.
    assert records.batches == (Grown(40, 40, 0.0, 0.325, 1 / 13), Grown(20, 0, 1.0, 0.0, 0.0))
    assert records.nothing == 0.5


def test_where_all_was_lost_the_look_ups_say_what_a_block_gives(world: World) -> None:
    blocks = fruiting(world, 20)
    check(world.doing(reason="green mould", sure=True), lot=blocks, colonised_percent=100, lost=20)
    values = found(world).values

    assert values["first_mg"].source == "farm details: the strain's planning figure"
    assert (values["loss_ppm"].value, values["loss_ppm"].source) == (
        1_000_000,
        "own: 20 of 20 blocks",
    )


def test_trim_is_a_share_of_all_that_was_picked(world: World) -> None:
    grown_out(world, 40)

    # 1 of 13 kg
    assert experience_of(world.strain).trim.ppm == 76_923


def test_what_the_fridge_took_counts_once_the_pick_is_gone(world: World) -> None:
    blocks = fruiting(world, 40)
    world.wait(9)
    crop = pick(world.doing(), given=[Draw(blocks, 0)], flush=1, firsts_mg=10 * KG).lots[-1]
    world.wait(2)
    weigh_again(world.doing(), lot=fresh(crop), weight_mg=9_700 * GRAM)

    assert experience_of(world.strain).fridge.whole == 0
    throw_away(world.doing(reason="unsold"), lot=fresh(crop), quantity=9_700 * GRAM)
    # 0.3 of 10 kg; what was thrown away is no fridge loss
    assert experience_of(world.strain).fridge == Share(300 * GRAM, 10 * KG, (0.03,))


def test_the_card_believes_the_look_ups_until_twenty_blocks_are_done(world: World) -> None:
    grown_out(world, 19)
    assert found(world).values["first_mg"].source == "farm details: the strain's planning figure"
    assert found(world).records == Records(believed_kg=0.76)

    grown_out(world, 19)
    known = found(world).values["first_mg"]
    # 20 kg of first flush from 38 blocks
    assert (known.value, known.source) == (526_316, "own: 38 blocks in 2 lots")


def test_a_share_says_of_how_many(world: World) -> None:
    grown_out(world, 40, lost=4)

    assert found(world).values["loss_ppm"].source == "own: 4 of 40 blocks"


def test_prices_are_what_was_last_paid(world: World) -> None:
    fruiting(world, 40)
    world.received("sawdust", 10 * KG, 60_000)

    # 6.00 for 10 kg
    prices = {part.name: part.price_money for part in found(world).ingredients}
    assert prices["sawdust"] == 6_000


def test_spawn_by_its_recipe_costs_its_ingredients_and_hours(world: World) -> None:
    world.received("rye", KG)
    world.received("grain bag", 1)
    fruiting(world, 40)
    known = inputs_of(replace(usual(), spawn_recipe=world.grain_recipe)).values

    # 0.885 kg of rye at 0.60, a bag at 0.30, 4 min at 18 an hour: 2.031 for 1.36 kg
    assert known["spawn_kg_money"].value == 14_934


def test_spawn_that_was_undone_has_no_price(world: World) -> None:
    *_, spawn = grow_spawn(world)
    undo(world.doing(reason="typed twice"), spawn.made_by)

    assert newest_spawn_price(world.strain) is None


def test_a_price_for_all_places_counts_where_a_place_has_none_of_its_own(world: World) -> None:
    Price.objects.all().delete()
    everywhere = Price(product=world.product, pack_money=4 * UNIT, from_day=DAY, tax_included=True)
    everywhere.save()
    fruiting(world, 40)
    assert found(world).asked_money == 4 * UNIT
    assert {one.asked_money for one in found(world).elsewhere} == {4 * UNIT}

    earlier = DAY - timedelta(days=90)
    Price.objects.create(
        product=world.product,
        place=world.stall,
        pack_money=5 * UNIT,
        from_day=earlier,
        tax_included=True,
    )
    # Its own counts, though the other is newer: as a sale there finds it.
    assert found(world).asked_money == 5 * UNIT
    assert {one.asked_money for one in found(world).elsewhere} == {4 * UNIT}


def test_a_market_day_with_nothing_sold_is_a_day_of_that_place(world: World) -> None:
    lot = packs(world, 80)
    for back in (40, 30):
        entry = load_stall(
            world.doing(), place=world.stall, day=world.now.date(), lines=[Draw(fresh(lot), 40)]
        ).entry
        settle_stall(
            world.doing(), stall_day=entry.stall_day, brought_back={lot.pk: back}, prices={}
        )
        world.wait(1)

    # 10 packs of 200 g in two days, of which one was washed out.
    assert usual_days_mg()[world.stall.pk] == (KG, 2)


def test_a_place_without_sales_starts_from_no_record(world: World) -> None:
    assert world.stall.pk not in usual_days_mg()


def test_a_saved_card_waits_for_a_batch_started_after_it(world: World) -> None:
    grown_out(world, 40)
    saved(world, picked_low_money=1, picked_median_money=2, picked_high_money=3)

    assert [one.lot for one in outcomes()] == [None]


def test_the_second_flush_waits_as_long_as_the_farm_s_own_did(world: World) -> None:
    grown_out(world, 40)
    grown_out(world, 40)
    own = experience_of(world.strain)
    known = flush_inputs(world.strain, DAY, own=own, batches=newest_batches())

    # Picked 9 days after the move and again 10 days later; the strain says 9 and 10 as well.
    assert (own.stand_days, own.wait_days) == ((9, 2), (10, 2))
    assert known["wait_days"] == Known(10, "own: 2 lots")
    assert known["stand_days"] == Known(9, "own: 2 lots")


def test_days_are_counted_from_the_last_pick_of_a_flush_to_the_last_of_the_next(
    world: World,
) -> None:
    blocks = fruiting(world, 20)
    for days, flush in ((7, 1), (3, 1), (8, 2), (4, 2)):
        world.wait(days)
        pick(world.doing(), given=[Draw(fresh(blocks), 0)], flush=flush, firsts_mg=2 * KG)
    mark_spent(world.doing(), lot=fresh(blocks))

    # The first pick after 7 days; flush 1 until the 10th, flush 2 until the 22nd.
    own = experience_of(world.strain)
    assert (own.stand_days, own.wait_days) == ((7, 1), (12, 1))


def test_what_came_true_is_the_cost_of_the_kilo_picked(world: World) -> None:
    saved(world, picked_low_money=1, picked_median_money=2, picked_high_money=3)
    blocks = grown_out(world, 40)
    one = outcomes()[0]

    assert one.lot == blocks
    assert one.came is not None
    assert one.came.actual == kilos_from(blocks).fresh[0].per_kg
    assert not one.came.is_inside


def test_blocks_lost_beyond_plan_make_the_kilo_dearer_that_came_true(world: World) -> None:
    saved(world, picked_low_money=1, picked_median_money=2, picked_high_money=3)
    blocks = grown_out(world, 40, lost=8)
    came = outcomes()[0].came
    booked = kilos_from(blocks).fresh[0].per_kg

    assert came is not None and came.actual is not None and booked is not None
    assert came.actual > booked


def test_a_batch_lost_whole_after_the_card_came_to_nothing(world: World) -> None:
    saved(world, picked_low_money=1, picked_median_money=2, picked_high_money=3)
    blocks = fruiting(world, 20)
    check(world.doing(reason="green mould", sure=True), lot=blocks, colonised_percent=100, lost=20)
    grown_out(world, 20)
    one = outcomes()[0]

    assert one.lot == blocks
    assert one.came is not None
    assert (one.came.actual, one.came.is_inside) == (None, False)


def test_many_saved_cards_ask_no_more_than_one(
    world: World, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    for version in (1, 2, 3):
        saved(
            world, picked_low_money=1, picked_median_money=2, picked_high_money=3, version=version
        )
        grown_out(world, 40)

    with django_assert_max_num_queries(7):
        assert len({one.lot for one in outcomes()}) == 3
