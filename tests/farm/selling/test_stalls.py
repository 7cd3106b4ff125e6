"""A day at the stall: load by lot, say what was brought back."""

import pytest

from farm.actions.common import Draw
from farm.actions.recording.correcting import undo
from farm.actions.selling.selling import SoldLine, sell
from farm.actions.selling.stalls import load_stall, settle_stall, settling_of
from farm.actions.tracing.holding import hold
from farm.models import LoadLine, Price, Sale, SaleLine, StallDay
from ledger.errors import Malformed, NotEnough, OnHold
from ledger.models import Lot, Role
from tests.farm.goods import a_day, costs, crop, money, on_hand, packs
from tests.farm.world import KG, UNIT, World, assert_book_is_sound, small_farm


@pytest.fixture
def world(db: None) -> World:
    return small_farm()


def loaded(world: World, lot: Lot, quantity: int = 40) -> StallDay:
    entry = load_stall(
        world.doing(), place=world.stall, day=a_day(world), lines=[Draw(lot, quantity)]
    ).entry
    return StallDay.objects.get(entry=entry)


def test_a_load_takes_nothing_out_of_the_lot(world: World) -> None:
    lot = packs(world)

    stall_day = loaded(world, lot, 30)

    line = stall_day.entry.lines.get()
    assert (line.role, line.quantity, on_hand(lot)) == (Role.COUNTED, 0, 40)
    assert stall_day.lines.get().quantity == 30


def test_it_refuses_to_load_more_than_is_on_hand(world: World) -> None:
    lot = packs(world)

    with pytest.raises(NotEnough, match=f"{lot.code}: 41 to load, 40 on hand. Load less"):
        loaded(world, lot, 41)


def test_what_an_open_load_holds_is_not_loaded_again(world: World) -> None:
    lot = packs(world)
    first = loaded(world, lot, 30)

    words = f"{lot.code}: 11 to load, 10 free: 40 on hand, 30 loaded for Saturday market on "
    with pytest.raises(NotEnough, match=f"{words}.*entry {first.entry_id}.*settle that load"):
        loaded(world, lot, 11)
    loaded(world, lot, 10)


def test_what_a_load_held_is_free_once_it_is_settled_or_taken_back(world: World) -> None:
    lot = packs(world)
    settle_stall(
        world.doing(), stall_day=loaded(world, lot, 30), brought_back={lot.pk: 25}, prices={}
    )
    undo(world.doing(), loaded(world, lot, 35).entry)

    assert loaded(world, lot, 35).lines.get().quantity == 35


def test_it_refuses_to_load_a_lot_on_hold(world: World) -> None:
    lot = packs(world)
    hold(world.doing(reason="a bad smell"), [lot])

    with pytest.raises(OnHold, match=f"{lot.code} is on hold and may not be loaded"):
        loaded(world, lot)


def test_it_refuses_to_load_nothing_of_a_lot(world: World) -> None:
    with pytest.raises(Malformed, match="0 cannot be loaded"):
        loaded(world, packs(world), 0)


def test_a_load_sent_twice_is_loaded_once(world: World) -> None:
    doing, day, lines = world.doing(), a_day(world), [Draw(packs(world), 40)]

    for _ in range(2):
        load_stall(doing, place=world.stall, day=day, lines=lines)

    assert (StallDay.objects.count(), LoadLine.objects.count()) == (1, 1)


def test_took_40_brought_back_9_sold_31(world: World) -> None:
    lot = packs(world)

    settled = settle_stall(
        world.doing(), stall_day=loaded(world, lot), brought_back={lot.pk: 9}, prices={}
    )

    # 31 at the 5.00 of the price list are 155.00; / 1.04 = 149.0385.
    assert money(settled.entry) == [(1_490_400, 59_600, 1_550_000)]
    assert on_hand(lot) == 9
    assert_book_is_sound()


def test_a_price_that_was_asked_comes_before_the_list(world: World) -> None:
    lot = packs(world)

    settled = settle_stall(
        world.doing(),
        stall_day=loaded(world, lot),
        brought_back={lot.pk: 39},
        prices={lot.pk: 4 * UNIT},
    )

    assert money(settled.entry)[0][2] == 4 * UNIT


def test_it_refuses_to_sell_at_an_unknown_price(world: World) -> None:
    Price.objects.all().delete()
    lot = packs(world)

    with pytest.raises(Malformed, match=f"{lot.code}: no price .* State the price"):
        settle_stall(world.doing(), stall_day=loaded(world, lot), brought_back={}, prices={})


def test_loose_mushrooms_are_settled_by_the_kilogram(world: World) -> None:
    lot = crop(world)

    settled = settle_stall(
        world.doing(),
        stall_day=loaded(world, lot, 5 * KG),
        brought_back={lot.pk: 2 * KG},
        prices={lot.pk: 15 * UNIT},
    )

    assert money(settled.entry) == [(45 * UNIT, 0, 45 * UNIT)]


def test_loose_mushrooms_are_settled_by_the_pound(world: World) -> None:
    lot = crop(world)

    settled = settle_stall(
        world.doing(),
        stall_day=loaded(world, lot, 907_185),
        brought_back={lot.pk: 453_592},
        prices={lot.pk: 12 * UNIT},
        weight_unit="lb",
    )

    # took 2 lb, brought back 1 lb
    assert money(settled.entry) == [(12 * UNIT, 0, 12 * UNIT)]


def test_a_day_costs_the_fee_the_share_and_the_hours(world: World) -> None:
    world.stall.fee_ppm = 60_000
    world.stall.save()
    lot = packs(world)

    settled = settle_stall(
        world.doing(), stall_day=loaded(world, lot), brought_back={lot.pk: 9}, prices={}
    )

    # 25.00 a day; 6 % of 155.00; 420 minutes at 18.0000 an hour.
    assert costs(settled.entry) == {
        "stall fee": 25 * UNIT,
        "share of takings": 93_000,
        "hours": 126 * UNIT,
    }


def test_minutes_that_were_stated_replace_the_usual_ones(world: World) -> None:
    lot = packs(world)

    settled = settle_stall(
        world.doing(minutes=60), stall_day=loaded(world, lot), brought_back={}, prices={}
    )

    assert costs(settled.entry)["hours"] == 18 * UNIT


def test_a_day_without_a_sale_still_costs_its_fee(world: World) -> None:
    lot = packs(world)

    settled = settle_stall(
        world.doing(), stall_day=loaded(world, lot), brought_back={lot.pk: 40}, prices={}
    )

    assert (on_hand(lot), SaleLine.objects.count(), Sale.objects.count()) == (40, 0, 1)
    assert costs(settled.entry)["stall fee"] == 25 * UNIT


def test_it_refuses_more_back_than_was_loaded(world: World) -> None:
    lot = packs(world)

    with pytest.raises(Malformed, match=f"{lot.code}: 30 loaded, 31 brought back"):
        settle_stall(
            world.doing(), stall_day=loaded(world, lot, 30), brought_back={lot.pk: 31}, prices={}
        )


def test_it_refuses_back_what_was_not_loaded(world: World) -> None:
    lot, other = packs(world), packs(world)

    with pytest.raises(Malformed, match=f"{other.code} was not loaded, 3 brought back"):
        settle_stall(
            world.doing(), stall_day=loaded(world, lot), brought_back={other.pk: 3}, prices={}
        )


def test_a_stall_day_is_settled_once(world: World) -> None:
    lot = packs(world)
    stall_day = loaded(world, lot)
    first = settle_stall(
        world.doing(), stall_day=stall_day, brought_back={lot.pk: 9}, prices={}
    ).entry

    with pytest.raises(Malformed, match=f"settled already, by entry {first.seq}. Correct"):
        settle_stall(world.doing(), stall_day=stall_day, brought_back={lot.pk: 8}, prices={})


def test_a_settling_sent_twice_sells_once(world: World) -> None:
    lot = packs(world)
    stall_day, doing = loaded(world, lot), world.doing()

    for _ in range(2):
        settle_stall(doing, stall_day=stall_day, brought_back={lot.pk: 9}, prices={})

    assert (Sale.objects.count(), on_hand(lot)) == (1, 9)


def test_a_settled_day_is_settled_anew_once_taken_back(world: World) -> None:
    lot = packs(world)
    stall_day = loaded(world, lot)
    wrong = settle_stall(
        world.doing(), stall_day=stall_day, brought_back={lot.pk: 9}, prices={}
    ).entry
    undo(world.doing(), wrong)

    settle_stall(world.doing(), stall_day=stall_day, brought_back={lot.pk: 8}, prices={})

    assert on_hand(lot) == 8
    assert sum(SaleLine.objects.values_list("gross", flat=True)) == 32 * 5 * UNIT


def test_a_load_that_was_taken_back_is_not_settled(world: World) -> None:
    stall_day = loaded(world, packs(world))
    undo(world.doing(), stall_day.entry)

    with pytest.raises(Malformed, match=r"taken back\. Load the stall anew"):
        settle_stall(world.doing(), stall_day=stall_day, brought_back={}, prices={})


def test_what_was_sold_elsewhere_meanwhile_cannot_be_sold_again(world: World) -> None:
    lot = packs(world)
    stall_day = loaded(world, lot)
    sell(
        world.doing(),
        place=world.kitchens,
        customer=world.customer,
        lines=[SoldLine(lot, 10, 5 * UNIT)],
    )

    with pytest.raises(NotEnough, match=lot.code):
        settle_stall(world.doing(), stall_day=stall_day, brought_back={}, prices={})
    assert settling_of(stall_day) is None


def test_a_refusal_says_the_farms_own_unit_first(world: World) -> None:
    world.farm.weight_unit = "lb"
    world.farm.save()
    lot = crop(world)

    with pytest.raises(NotEnough, match=r"24\.25 lb · 11\.00 kg to load, 22\.05 lb · 10\.00 kg on"):
        loaded(world, lot, 11 * KG)
