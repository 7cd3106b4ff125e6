"""A stall day beyond what came back: samples, discounts, by product, the cash, undo as one."""

from uuid import uuid4

import pytest

from farm.actions.common import Doing, Draw
from farm.actions.recording.correcting import undo, undo_with_dependants
from farm.actions.selling.cashing import CashCount
from farm.actions.selling.giving import give_away
from farm.actions.selling.sharing_out import ItemDay, share_out
from farm.actions.selling.stalls import Besides, load_stall, settle_stall
from farm.actions.tracing.holding import hold
from farm.models import (
    CashUp,
    Given,
    GivenAway,
    Person,
    Role,
    Sale,
    SellingCost,
    StallDay,
)
from farm.queries.tracing.trace_events import happened_to, moved_of
from ledger.errors import Conflict, Malformed, NotEnough, OnHold
from ledger.models import Entry, Flow, Lot
from ledger.models import Role as LineRole
from tests.conftest import person_in_role
from tests.farm.goods import a_day, figures, money, on_hand, packs
from tests.farm.world import UNIT, World, assert_book_is_sound, small_farm


@pytest.fixture
def world(db: None) -> World:
    return small_farm()


@pytest.fixture
def seller(db: None) -> Person:
    return person_in_role(Role.SELLER, "sam")


def loaded(world: World, *draws: Draw) -> StallDay:
    entry = load_stall(world.doing(), place=world.stall, day=a_day(world), lines=draws).entry
    return StallDay.objects.get(entry=entry)


def settled(world: World, lot: Lot, back: int, **said: object) -> Sale:
    """Load all 40 of a lot and settle with what is said besides."""
    entry = settle_stall(
        world.doing(),
        stall_day=loaded(world, Draw(lot, 40)),
        brought_back={lot.pk: back},
        prices={},
        besides=Besides(**said),  # type: ignore[arg-type]
    ).entry
    return entry.sale


def count(**said: object) -> CashCount:
    known: dict[str, object] = {"float_money": 100 * UNIT, "cash_money": 200 * UNIT}
    return CashCount(**{**known, **said})  # type: ignore[arg-type]


# --- given away ------------------------------------------------------------------------------


def test_what_was_given_away_is_neither_sold_nor_there(world: World) -> None:
    lot = packs(world)

    sale = settled(world, lot, 9, given={Given.SAMPLE: [Draw(lot, 2)], Given.GIFT: [Draw(lot, 1)]})

    # 40 less 9 back, 2 samples and 1 gift are 28 at 5.00.
    assert money(sale.entry)[0][2] == 28 * 5 * UNIT
    assert on_hand(lot) == 9
    assert_book_is_sound()


def test_what_was_given_away_carries_its_cost_out_under_its_reason(world: World) -> None:
    lot = packs(world)
    cost = sum(lot.cost)

    settled(world, lot, 0, given={Given.SAMPLE: [Draw(lot, 4)]})

    entry = Entry.objects.get(kind="give away")
    flow = Flow.objects.get(entry=entry)
    # 4 of 40 packs.
    assert (entry.reason, flow.role, flow.quantity) == ("sample", LineRole.LOST, -4)
    assert -sum(flow.cost) == cost // 10
    assert_book_is_sound()


def test_it_refuses_more_given_and_brought_back_than_was_loaded(world: World) -> None:
    lot = packs(world)

    with pytest.raises(Malformed, match=f"{lot.code}: 40 loaded, 39 brought back and 2 given away"):
        settled(world, lot, 39, given={Given.SAMPLE: [Draw(lot, 2)]})
    assert not Sale.objects.exists()


def test_it_refuses_to_give_away_what_was_not_loaded(world: World) -> None:
    lot, other = packs(world), packs(world)

    with pytest.raises(Malformed, match=f"{other.code} was not loaded, 1 given away as gift"):
        settled(world, lot, 0, given={Given.GIFT: [Draw(other, 1)]})


def test_something_is_given_away_without_a_stall(world: World) -> None:
    lot = packs(world)

    given = give_away(world.doing(reason="school visit"), why=Given.GIFT, draws=[Draw(lot, 3)])

    assert (on_hand(lot), given.entry.reason) == (37, "gift: school visit")
    assert GivenAway.objects.get().sale is None
    assert_book_is_sound()


def test_a_lot_on_hold_is_not_given_away(world: World) -> None:
    lot = packs(world)
    hold(world.doing(reason="a bad smell"), [lot])

    with pytest.raises(OnHold, match=f"{lot.code} is on hold and may not be given away"):
        give_away(world.doing(), why=Given.OWN, draws=[Draw(lot, 1)])


def test_it_refuses_to_give_away_nothing_or_for_no_known_reason(world: World) -> None:
    lot = packs(world)

    with pytest.raises(Malformed, match=f"0 of lot {lot.code} given away"):
        give_away(world.doing(), why=Given.GIFT, draws=[Draw(lot, 0)])
    with pytest.raises(Malformed, match="“theft” is no reason to give away"):
        give_away(world.doing(), why="theft", draws=[Draw(lot, 1)])


# --- discounts -------------------------------------------------------------------------------


def test_what_was_taken_off_is_off_the_whole_line(world: World) -> None:
    lot = packs(world)

    sale = settled(world, lot, 9, off_money={lot.pk: 70_000}, off_why="end of the day")

    # 31 at 5.00 less 7.00 are 148.00; / 1.04 = 142.3077.
    assert money(sale.entry) == [(1_423_100, 56_900, 1_480_000)]
    assert '"discount":"end of the day"' in sale.entry.particulars


def test_a_seller_takes_off_up_to_the_limit_of_the_place(world: World, seller: Person) -> None:
    world.stall.discount_ppm = 100_000
    world.stall.save()
    lot = packs(world)
    day = loaded(world, Draw(lot, 40))

    def settle(off_money: int) -> Entry:
        return settle_stall(
            world.doing(by=seller),
            stall_day=day,
            brought_back={lot.pk: 10},
            prices={},
            besides=Besides(off_money={lot.pk: off_money}),
        ).entry

    # 10 % of 30 at 5.00 are 15.00.
    with pytest.raises(Malformed, match=r"sold for .*134\.99 instead of .*150\.00.*10 % at Sat"):
        settle(150_100)
    assert money(settle(150_000))[0][2] == 135 * UNIT


def test_a_seller_without_a_limit_sells_at_the_list_alone(world: World, seller: Person) -> None:
    lot = packs(world)
    day = loaded(world, Draw(lot, 40))

    with pytest.raises(Malformed, match="A seller may take off 0 %"):
        settle_stall(
            world.doing(by=seller), stall_day=day, brought_back={}, prices={lot.pk: 49_000}
        )


# --- by product ------------------------------------------------------------------------------


def test_by_product_the_oldest_lot_is_sold_first_and_the_newest_comes_back(world: World) -> None:
    older, newer = packs(world, 30), packs(world, 10)
    day = loaded(world, Draw(newer, 10), Draw(older, 30))

    counted = share_out(
        list(day.lines.all()), {older.item_id: ItemDay(9, {Given.SAMPLE: 1}, 30_000)}
    )

    # 40 less 9 back and 1 sample: the 30 of the older are sold, 1 of the newer is given.
    assert counted.back == {newer.pk: 9}
    assert counted.given == {Given.SAMPLE: [Draw(newer, 1)]}
    assert counted.off_money == {older.pk: 30_000}
    assert set(counted.by_item) == {older, newer}


def test_what_was_taken_off_is_shared_by_what_was_sold_to_the_cent(world: World) -> None:
    older, newer = packs(world, 30), packs(world, 10)
    day = loaded(world, Draw(older, 30), Draw(newer, 10))

    counted = share_out(list(day.lines.all()), {older.item_id: ItemDay(1, {}, 10_000)})

    # 30 and 9 sold; 1.00 x 30 / 39 = 0.769, rounded down, and the rest.
    assert counted.off_money == {older.pk: 7_600, newer.pk: 2_400}


def test_by_product_no_more_comes_back_than_was_loaded(world: World) -> None:
    lot = packs(world, 30)
    day = loaded(world, Draw(lot, 30))

    with pytest.raises(Malformed, match=f"{lot.code}.*30 pieces loaded, 31 pieces brought back"):
        share_out(list(day.lines.all()), {lot.item_id: ItemDay(31)})


def test_counted_by_product_each_lot_may_have_been_sold(world: World) -> None:
    older, newer = packs(world, 30), packs(world, 10)
    day = loaded(world, Draw(older, 30), Draw(newer, 10))
    counted = share_out(list(day.lines.all()), {older.item_id: ItemDay(12)})

    settle_stall(
        world.doing(),
        stall_day=day,
        brought_back=counted.back,
        prices={},
        besides=Besides.of(counted),
    )

    # 28 of the older are put down as sold; any of the newer may have been.
    assert loaded_codes(older, newer) == [older.code, newer.code]
    assert_book_is_sound()


def test_counted_by_lot_what_wholly_came_back_is_out_of_reach(world: World) -> None:
    older, newer = packs(world, 30), packs(world, 10)
    day = loaded(world, Draw(older, 30), Draw(newer, 10))

    settle_stall(world.doing(), stall_day=day, brought_back={older.pk: 2, newer.pk: 10}, prices={})

    assert loaded_codes(older, newer) == [older.code]


def test_a_lot_that_was_only_given_away_is_within_reach(world: World) -> None:
    lot = packs(world)

    settled(world, lot, 38, given={Given.SAMPLE: [Draw(lot, 2)]})

    assert loaded_codes(lot) == [lot.code]


def loaded_codes(*lots: Lot) -> list[str]:
    """The lots of which some may have been sold."""
    found = happened_to({lot.pk: lot for lot in lots}, moved_of(lot.pk for lot in lots))
    return [load.lot_code for load in found.loads]


# --- one form, one effect, one undo -----------------------------------------------------------


def test_the_whole_day_sent_twice_is_one_day(world: World) -> None:
    lot, doing = packs(world), world.doing()
    day = loaded(world, Draw(lot, 40))
    besides = Besides(given={Given.SAMPLE: [Draw(lot, 2)]}, cash=count())

    for _ in range(2):
        settle_stall(doing, stall_day=day, brought_back={lot.pk: 9}, prices={}, besides=besides)

    assert (Sale.objects.count(), GivenAway.objects.count(), CashUp.objects.count()) == (1, 1, 1)


def test_another_count_under_the_same_number_is_a_conflict(world: World) -> None:
    lot, doing = packs(world), world.doing()
    day = loaded(world, Draw(lot, 40))
    settle_stall(doing, stall_day=day, brought_back={}, prices={}, besides=Besides(cash=count()))

    with pytest.raises(Conflict, match="sent before with other content"):
        settle_stall(
            doing,
            stall_day=day,
            brought_back={},
            prices={},
            besides=Besides(cash=count(cash_money=1)),
        )


def test_the_whole_day_is_taken_back_as_one(world: World) -> None:
    world.stall.card_fee_ppm = 20_000
    world.stall.save()
    lot = packs(world)
    before, hours = figures(), SellingCost.objects.count()

    sale = settled(
        world, lot, 9, given={Given.SAMPLE: [Draw(lot, 2)]}, cash=count(card_money=50 * UNIT)
    )
    undone = undo_with_dependants(world.doing(), sale.entry)

    assert [done.entry.amends.kind for done in undone if done.entry.amends] == [
        "give away",
        "settle stall",
    ]
    assert figures() == before
    left = SellingCost.objects.values_list("what", "amount")
    assert {what: sum(a for w, a in left if w == what) for what, _ in left} == {
        "stall fee": 0,
        "card fees": 0,
        "hours": 0,
    }
    assert hours == 0
    assert_book_is_sound()


def test_the_settling_alone_is_not_taken_back_from_under_what_was_given(world: World) -> None:
    lot = packs(world)
    sale = settled(world, lot, 9, given={Given.SAMPLE: [Draw(lot, 2)]})

    with pytest.raises(NotEnough, match=r"day's samples .*Take the whole day back") as refused:
        undo(world.doing(), sale.entry)
    assert refused.value.dependants == (sale.entry_id + 1,)


def test_a_load_is_taken_back_with_its_whole_day(world: World) -> None:
    lot = packs(world)
    before = figures()
    sale = settled(world, lot, 9, given={Given.SAMPLE: [Draw(lot, 2)]})
    assert sale.stall_day

    undone = undo_with_dependants(world.doing(), sale.stall_day.entry)

    assert len(undone) == 3
    assert figures() == before


def test_uuids_of_a_day_follow_from_its_form(world: World) -> None:
    """Another form with the same content is another day, and is refused."""
    lot = packs(world)
    sale = settled(world, lot, 9)
    assert sale.stall_day

    with pytest.raises(Malformed, match="settled already"):
        settle_stall(
            Doing(by=world.owner, happened_at=world.now, uuid=uuid4()),
            stall_day=sale.stall_day,
            brought_back={lot.pk: 9},
            prices={},
        )
