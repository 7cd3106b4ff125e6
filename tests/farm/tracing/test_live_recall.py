"""A recall is live: what it lists is held, nothing of it leaves, and who got some stands on it."""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import pytest
from django.utils import timezone

from farm.actions.common import Doing, Draw
from farm.actions.growing.cultures import clone_culture
from farm.actions.growing.harvesting import pick
from farm.actions.orders.orders import Days, Wanted, deliver, take_order
from farm.actions.selling.giving import give_away
from farm.actions.selling.selling import SoldLine, sell
from farm.actions.selling.stalls import Besides, load_stall, settle_stall
from farm.actions.store.packing import pack
from farm.actions.store.storing import dry, throw_away
from farm.actions.tracing.recalling import add_call
from farm.models import Customer, Given, StallDay
from farm.queries.tracing.reach import reach_of
from farm.queries.tracing.suspects import suspect_lots
from farm.reports.tracing.recall_rows import still_to_do, told_words
from ledger.book import Recorded
from ledger.errors import OnHold
from ledger.models import Entry
from tests.farm.recall_cases import late, now, recalled, state, told
from tests.farm.season import MARKET_DAY, Season, season
from tests.farm.world import (
    GRAM,
    KG,
    UNIT,
    farm_today,
    fresh,
    fruiting,
    small_farm,
)

pytestmark = pytest.mark.django_db

# --- opening it holds ---------------------------------------------------------------------------


def test_opening_a_recall_holds_all_that_it_lists_in_the_same_step() -> None:
    lots = season(spent=False)
    recall = recalled(lots.world, lots.grown.grain)

    assert recall.entry.reason == "recall 1: green dust"
    assert set(recall.entry.marks.values_list("lot", flat=True)) == {
        row.lot_id for row in recall.lots.all()
    }
    for lot in (lots.packs, lots.seconds, lots.dried, lots.grown.blocks, lots.grown.spawn):
        assert fresh(lot).held, lot.code
    assert state(recall).is_open


def ways_out_of(lots: Season) -> dict[str, Callable[[Doing], object]]:
    """Every way in which something of a lot may leave, or become something else."""
    world, customer = lots.world, lots.world.customer
    packs, seconds, blocks = fresh(lots.packs), fresh(lots.seconds), fresh(lots.grown.blocks)
    order = take_order(
        world.doing(sure=True),
        customer=customer,
        days=Days(farm_today()),
        lines=[Wanted(world.product, 1)],
    )
    return {
        "sell": lambda doing: sell(
            doing, place=world.kitchens, customer=customer, lines=[SoldLine(packs, 1, UNIT)]
        ),
        "sell at the door": lambda doing: sell(
            doing, place=world.kitchens, lines=[SoldLine(seconds, GRAM, UNIT)]
        ),
        "sell what the book does not hold": lambda doing: sell(
            doing, place=world.kitchens, lines=[SoldLine(packs, 90, UNIT)], count_up=True
        ),
        "deliver": lambda doing: deliver(
            doing, order=order, due_on=farm_today(), lines=[SoldLine(packs, 1, UNIT)]
        ),
        "load": lambda doing: load_stall(
            doing, place=world.stall, day=MARKET_DAY, lines=[Draw(packs, 1)]
        ),
        "give away": lambda doing: give_away(doing, why=Given.GIFT, draws=[Draw(packs, 1)]),
        "own use": lambda doing: give_away(doing, why=Given.OWN, draws=[Draw(seconds, GRAM)]),
        "pack": lambda doing: pack(
            doing, product=world.product, packs=1, draws=[Draw(seconds, 200 * GRAM)]
        ),
        "dry": lambda doing: dry(
            doing,
            draws=[Draw(seconds, 500 * GRAM)],
            dried_mg=55 * GRAM,
            temperature_milli_c=45_000,
            minutes_drying=600,
        ),
        "dry packs": lambda doing: dry(
            doing,
            draws=[Draw(packs, 1)],
            dried_mg=22 * GRAM,
            temperature_milli_c=45_000,
            minutes_drying=600,
        ),
        "clone": lambda doing: clone_culture(doing, source=seconds, piece_mg=GRAM, portions=5),
        "use blocks up": lambda doing: (
            blocks and pick(doing, given=[Draw(lots.grown.blocks, 0)], flush=2, firsts_mg=0)
        ),
    }


WAYS = (
    "sell", "sell at the door", "sell what the book does not hold", "deliver", "load",
    "give away", "own use", "pack", "dry", "dry packs", "clone",
)  # fmt: skip


@pytest.mark.parametrize("way", WAYS)
def test_nothing_of_it_leaves_by_any_way_and_the_refusal_names_the_recall(way: str) -> None:
    lots = season(spent=False)
    lots.world.received("punnet", 10)
    act = ways_out_of(lots)[way]
    recall = recalled(lots.world, lots.grown.grain)
    before = Entry.objects.count()

    with pytest.raises(OnHold, match=r"^Recall 1 lists lot \w{5}\. .*on hold") as refusal:
        act(lots.world.doing(reason="please", sure=True))

    assert "state that time, with a reason" in str(refusal.value)
    assert Entry.objects.count() == before
    assert not state(recall).since


@pytest.mark.parametrize("way", ["sell", "give away", "pack", "dry", "load"])
def test_what_was_done_before_the_hold_is_accepted_late_with_a_reason_and_listed(way: str) -> None:
    lots = season(spent=False)
    world = lots.world
    world.received("punnet", 10)
    act = ways_out_of(lots)[way]
    recall = recalled(world, lots.grown.grain)
    told(world, recall, world.customer, world.stall)

    without = replace(late(world, lots.packs), reason="")
    with pytest.raises(OnHold, match="Recall 1 lists lot"):
        act(without)
    recorded = act(late(world, lots.packs))

    assert isinstance(recorded, Recorded)
    made = [lot for lot in recorded.lots if lot.made_by_id == recorded.entry.seq]
    assert all(fresh(lot).held for lot in made)
    found = state(recall)
    assert {lot.code for lot in made} <= {lot.code for lot in found.now.lots}
    if way in ("pack", "dry"):
        assert {one.code for one in found.since} >= {lot.code for lot in made}


def test_what_is_made_late_of_what_was_made_late_is_accepted_too() -> None:
    """The hold of a lot that was born on hold is as old as that of what it was made of."""
    world = small_farm()
    blocks = fruiting(world, 10)
    picked_at = world.now + timedelta(hours=2)
    world.received("punnet", 5)
    world.wait(3)
    recall = recalled(world, blocks)
    doing = world.doing(reason="from the sheet", sure=True)
    crop = pick(
        replace(doing, happened_at=picked_at), given=[Draw(fresh(blocks), 0)], flush=1, firsts_mg=KG
    ).lots[-1]
    packed = pack(
        replace(world.doing(reason="from the sheet"), happened_at=picked_at + timedelta(hours=1)),
        product=world.product,
        packs=5,
        draws=[Draw(fresh(crop), KG)],
    ).lots[-1]
    earlier = replace(
        world.doing(reason="from the sheet"), happened_at=picked_at + timedelta(hours=2)
    )
    sell(
        earlier,
        place=world.kitchens,
        customer=world.customer,
        lines=[SoldLine(fresh(packed), 2, UNIT)],
    )

    found = state(recall)
    assert fresh(packed).held
    assert {lot.code for lot in found.now.still_here} == {blocks.code, packed.code}
    assert still_to_do(found.to_do) == "1 customer not spoken to, 2 lots still here"


# --- who got of it ------------------------------------------------------------------------------


def test_a_sample_a_gift_and_own_use_are_recipients_with_day_and_weight() -> None:
    lots = season()
    world = lots.world
    for why, count in ((Given.SAMPLE, 1), (Given.GIFT, 2)):
        give_away(world.doing(sure=True), why=why, draws=[Draw(fresh(lots.packs), count)])
    give_away(world.doing(), why=Given.OWN, draws=[Draw(fresh(lots.seconds), 300 * GRAM)])
    recall = recalled(world, lots.grown.grain)
    given = [one for one in state(recall).frozen.unnamed if one.why]

    assert [(one.why, one.given.mass_mg, one.day) for one in given] == [
        ("own use", 300 * GRAM, world.now.date()),
        ("sample", 200 * GRAM, world.now.date()),
        ("gift", 400 * GRAM, world.now.date()),
    ]
    assert not [
        loss for loss in reach_of(suspect_lots([lots.packs])).losses if loss.what == "give away"
    ]
    assert state(recall).to_do.given == 3
    told(world, recall, "sample", "gift", "own use")
    assert state(recall).to_do.given == 0


def test_what_was_given_away_at_the_stall_did_not_come_back() -> None:
    lots = season()
    world, packs = lots.world, fresh(lots.packs)
    loaded = load_stall(
        world.doing(sure=True), place=world.stall, day=MARKET_DAY, lines=[Draw(packs, 3)]
    )
    settle_stall(
        world.doing(),
        stall_day=StallDay.objects.get(entry=loaded.entry),
        brought_back={packs.pk: 2},
        prices={},
        besides=Besides(given={Given.SAMPLE: [Draw(packs, 1)]}),
    )
    (row,) = [
        one for one in reach_of(suspect_lots([packs])).unnamed if one.entry == loaded.entry.seq
    ]

    # Took 3, none sold, 1 cut up: 2 came back.
    assert (row.loaded.pieces, row.sold.pieces, row.given.pieces) == (3, 0, 1)


def test_a_customer_who_got_more_since_the_call_is_told_again() -> None:
    lots = season()
    world = lots.world
    recall = recalled(world, lots.packs)
    told(world, recall, world.customer, world.stall)
    assert still_to_do(state(recall).to_do) == "1 lot still here"

    sell(
        late(world, lots.packs),
        place=world.kitchens,
        customer=world.customer,
        lines=[SoldLine(fresh(lots.packs), 1, UNIT)],
    )
    found = state(recall)
    assert found.to_do.customers == 1
    assert told_words(found.customers[world.customer.pk]) == "again: got more since"
    told(world, recall, world.customer)
    assert state(recall).to_do.customers == 0


def test_a_later_recipient_is_called_before_nothing_is_left_to_do() -> None:
    lots = season()
    world = lots.world
    other = Customer.objects.create(name="The Bell", place=world.kitchens)
    recall = recalled(world, lots.packs)
    told(world, recall, world.customer, world.stall)
    throw_away(
        world.doing(reason="recalled"),
        lot=fresh(lots.packs),
        quantity=fresh(lots.packs).quantity - 1,
    )
    sell(
        late(world, lots.packs),
        place=world.kitchens,
        customer=other,
        lines=[SoldLine(fresh(lots.packs), 1, UNIT)],
    )

    found = state(recall)
    assert still_to_do(found.to_do) == "1 customer not spoken to"
    assert [(one.code, one.pieces, one.customer_id) for one in found.since if one.customer_id] == [
        (lots.packs.code, -1, other.pk)
    ]
    told(world, recall, other)
    assert not state(recall).is_open


def test_who_is_not_reached_on_two_different_days_was_tried() -> None:
    lots = season()
    world = lots.world
    recall = recalled(world, lots.packs)
    for hours in (0, 1):
        doing = replace(
            now(world, reason="no answer"), happened_at=timezone.now() + timedelta(minutes=hours)
        )
        add_call(doing, recall, world.customer, reached=False, recovered_mg=0)
    assert state(recall).to_do.customers == 1

    tomorrow = replace(now(world, reason="no answer"), happened_at=timezone.now() + timedelta(1))
    add_call(tomorrow, recall, world.customer, reached=False, recovered_mg=0)
    found = state(recall)
    assert found.to_do.customers == 0
    assert told_words(found.customers[world.customer.pk]) == "not to be reached on 2 days"
