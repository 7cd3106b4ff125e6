"""Forms that the book refused are kept whole, tried again, and answered."""

from datetime import timedelta

import pytest

from farm.actions.common import Doing
from farm.actions.recording import unfinished
from farm.actions.selling.selling import SoldLine, sell
from farm.actions.tracing.holding import hold, release
from ledger.errors import Malformed, OnHold
from ledger.models import Lot, Waiting
from tests.farm.goods import crop
from tests.farm.world import KG, UNIT, World, small_farm

DATA = {"lot": ["7"], "quantity": ["2,5 kg"], "also": ["a", "b"]}


@pytest.fixture
def world(db: None) -> World:
    return small_farm()


@pytest.fixture
def lot(world: World) -> Lot:
    """A lot on hold."""
    lot = crop(world)
    hold(world.doing(reason="a bad smell"), [lot])
    return lot


def refused(world: World, lot: Lot, doing: Doing | None = None) -> Doing:
    """Send a sale that is refused, and keep it as a page does."""
    doing = doing or world.doing()
    with pytest.raises(OnHold) as refusal:
        sell(doing, place=world.kitchens, customer=world.customer, lines=[SoldLine(lot, KG, UNIT)])
    unfinished.keep("sell", doing, DATA, refusal=refusal.value)
    return doing


def test_a_refused_form_is_kept_as_it_was_sent(world: World, lot: Lot) -> None:
    doing = refused(world, lot)

    kept = unfinished.to_retry([lot.pk])[0]
    assert (kept.uuid, kept.name, kept.data) == (doing.uuid, "sell", DATA)
    assert (kept.by, lot.code in kept.refusal) == (world.owner.pk, True)


def test_it_waits_for_the_lots_that_were_named_only(world: World, lot: Lot) -> None:
    refused(world, lot)

    assert unfinished.to_retry([crop(world).pk]) == []
    assert len(unfinished.still_waiting()) == 1


def test_what_was_accepted_at_last_waits_no_longer(world: World, lot: Lot) -> None:
    doing = refused(world, lot)
    release(world.doing(reason="it was the crate"), [lot])

    for kept in unfinished.to_retry([lot.pk]):
        again = sell(
            doing, place=world.kitchens, customer=world.customer, lines=[SoldLine(lot, KG, UNIT)]
        )
        unfinished.answered(kept.uuid, f"accepted as entry {again.entry.seq}")

    assert again.fresh
    assert unfinished.still_waiting() == []


def test_a_form_is_dropped_with_a_reason_that_stays(world: World, lot: Lot) -> None:
    doing = refused(world, lot)

    unfinished.drop(doing.uuid, "the crate was never sold")

    assert unfinished.still_waiting() == []
    assert Waiting.objects.get().answer == "dropped: the crate was never sold"


def test_it_refuses_to_drop_a_form_without_a_reason(world: World, lot: Lot) -> None:
    doing = refused(world, lot)

    with pytest.raises(Malformed, match="Say why"):
        unfinished.drop(doing.uuid, " ")
    assert len(unfinished.still_waiting()) == 1


def test_a_form_refused_again_waits_once(world: World, lot: Lot) -> None:
    doing = refused(world, lot)

    refused(world, lot, doing)

    assert [kept.uuid for kept in unfinished.still_waiting()] == [doing.uuid]


def test_forms_wait_oldest_first(world: World, lot: Lot) -> None:
    first, second = refused(world, lot), refused(world, lot)

    kept = unfinished.to_retry([lot.pk])
    assert [one.uuid for one in kept] == [first.uuid, second.uuid]
    assert kept[0].kept_at - kept[1].kept_at <= timedelta(0)
