"""A tap at the till that waited on a phone and is refused is kept whole under To sort out."""

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.utils import timezone

from farm.actions.common import Doing, Draw
from farm.actions.selling.stalls import load_stall
from farm.actions.tracing.holding import hold, release
from farm.models import Role, StallDay, Tap
from farm.queries.tracing.reach import reach_of
from farm.queries.tracing.suspects import suspect_lots
from ledger.models import Lot, Waiting
from tests.conftest import person_in_role, signed_in
from tests.farm.filled import text, typed
from tests.farm.goods import a_day, packs
from tests.farm.world import UNIT, World, fresh

HOUR = timedelta(hours=1)


@pytest.fixture
def lot(world: World) -> Lot:
    return packs(world, 10)


@pytest.fixture
def load(world: World, lot: Lot) -> StallDay:
    seller = person_in_role(Role.SELLER, "sam")
    lines = [Draw(lot, 10)]
    entry = load_stall(
        world.doing(), place=world.stall, day=a_day(world), lines=lines, seller=seller
    ).entry
    return StallDay.objects.get(entry=entry)


@pytest.fixture
def client(load: StallDay) -> Client:
    assert load.seller
    return signed_in(load.seller)


def on_hold(world: World, lot: Lot) -> None:
    """It is held since an hour ago."""
    hold(at(world, timezone.now() - HOUR), [fresh(lot)])


def at(world: World, moment: datetime) -> Doing:
    return replace(world.doing(reason="green dust"), happened_at=moment)


def tap(
    client: Client,
    load: StallDay,
    lot: Lot,
    what: str = "sold",
    *,
    ago: timedelta = HOUR / 2,
    **more: str,
) -> dict[str, Any]:
    """Send a tap as the queue of a phone does, which kept it some time ago."""
    now = timezone.now()
    said = {
        "uuid": str(uuid4()),
        "item": str(lot.item_id),
        "what": what,
        "unit_money": "50000",
        "phone_saved_at": (now - ago).isoformat(),
        "phone_sent_at": now.isoformat(),
        **more,
    }
    answer = client.post(
        f"/stall/till/{load.pk}/tap/", said, headers={"Accept": "application/json"}
    )
    assert answer.status_code == 200
    found: dict[str, Any] = answer.json()
    return found


def waits() -> list[str]:
    return list(Waiting.objects.filter(answered_at=None).values_list("kind", flat=True))


def test_a_tap_after_the_hold_is_kept_whole_and_counted_in_the_recall(
    world: World, client: Client, load: StallDay, lot: Lot
) -> None:
    on_hold(world, lot)

    answer = tap(client, load, lot, "sample")

    assert f"lot {lot.code} is loaded and on hold" in answer["kept"]["words"]
    assert (answer["kept"]["address"], Tap.objects.count()) == ("/unfinished/", 0)
    row = Waiting.objects.get()
    assert row.kind == f"till:{load.pk}" and '"what":["sample"]' in row.payload
    assert reach_of(suspect_lots([lot])).waiting == 1
    listed = text(client.get("/unfinished/"))
    assert "Tap at the till" in listed and f"/stall/till/{load.pk}/?waiting={row.uuid}" in listed


def test_a_tap_before_the_hold_is_entered_though_it_arrives_later(
    world: World, client: Client, load: StallDay, lot: Lot
) -> None:
    on_hold(world, lot)

    assert "entered" in tap(client, load, lot, ago=2 * HOUR)
    assert (Tap.objects.count(), waits()) == (1, [])


def test_once_the_lot_is_released_the_tap_counts_by_itself(
    world: World, client: Client, load: StallDay, lot: Lot
) -> None:
    on_hold(world, lot)
    tap(client, load, lot)

    signed_in(world.owner).post(
        "/record/release/", typed(lot_list=lot.code, reason="dust was flour")
    )

    one = Tap.objects.get()
    assert not fresh(lot).held and (one.quantity, one.by) == (1, load.seller)
    assert waits() == []


def test_it_is_opened_at_the_till_and_sent_again(
    world: World, client: Client, load: StallDay, lot: Lot
) -> None:
    on_hold(world, lot)
    tap(client, load, lot)
    row = Waiting.objects.get()
    page = client.get(f"/stall/till/{load.pk}/?waiting={row.uuid}")
    assert "Oyster, 200 g, sold, price €5.00." in text(page)
    assert "Ledger-Keep" not in page.headers
    release(at(world, timezone.now()), [fresh(lot)])
    sent = dict(page.context["waiting"].sent)

    client.post(f"/stall/till/{load.pk}/tap/", sent)

    assert (Tap.objects.get().uuid, Tap.objects.get().unit_money) == (row.uuid, 5 * UNIT)
    assert waits() == []


def test_a_tap_below_the_sellers_limit_waits_for_the_owner(
    world: World, client: Client, load: StallDay, lot: Lot
) -> None:
    answer = tap(client, load, lot, unit_money="10000")
    assert "A seller may take off 0 %" in answer["error"]["words"]
    row = Waiting.objects.get()
    owner = signed_in(world.owner)
    page = owner.get(f"/stall/till/{load.pk}/?waiting={row.uuid}")

    owner.post(f"/stall/till/{load.pk}/tap/", dict(page.context["waiting"].sent))

    assert (Tap.objects.get().unit_money, waits()) == (UNIT, [])


def test_a_tap_that_is_not_understood_is_kept_too(client: Client, load: StallDay, lot: Lot) -> None:
    assert "not understood" in tap(client, load, lot, item="0")["error"]["words"]
    row = Waiting.objects.get()

    page = text(client.get(f"/stall/till/{load.pk}/?waiting={row.uuid}"))
    assert "something that is not loaded, sold" in page


def test_a_tap_back_takes_back_the_tap_that_waits_and_no_customers_before(
    world: World, client: Client, load: StallDay, lot: Lot
) -> None:
    tap(client, load, lot)
    on_hold(world, lot)
    tap(client, load, lot)
    back = str(uuid4())

    for _ in range(2):  # the answer to the first is lost on the way
        tap(client, load, lot, "back", uuid=back)

    assert list(Tap.objects.values_list("quantity", flat=True)) == [1]
    assert waits() == []


def test_a_tap_that_was_given_up_is_not_entered_when_it_is_sent_again(
    world: World, client: Client, load: StallDay, lot: Lot
) -> None:
    on_hold(world, lot)
    number = str(uuid4())
    tap(client, load, lot, uuid=number)
    client.post(f"/unfinished/{number}/drop/", {"reason": "the pack came back"})
    release(at(world, timezone.now()), [fresh(lot)])

    answer = tap(client, load, lot, uuid=number)

    assert "dropped: the pack came back" in answer["kept"]["words"]
    assert not Tap.objects.exists()


def test_whoever_taps_with_a_signal_is_told_and_nothing_waits(
    world: World, client: Client, load: StallDay, lot: Lot
) -> None:
    on_hold(world, lot)
    said = {"uuid": str(uuid4()), "item": lot.item_id, "what": "sold"}

    answer = client.post(
        f"/stall/till/{load.pk}/tap/", said, headers={"Accept": "application/json"}
    )

    assert "on hold" in answer.json()["error"]["words"]
    assert waits() == []
