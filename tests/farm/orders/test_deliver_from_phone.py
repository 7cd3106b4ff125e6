"""Today's round is delivered without a signal: each stop is kept, its name for a short time."""

from datetime import datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from farm.actions.orders.orders import Days, Wanted, deliver, take_order
from farm.actions.selling.selling import SoldLine
from farm.actions.store.storing import throw_away
from farm.models import Customer, Order, Person, SaleLine
from farm.queries.orders.orders import State, due_order
from ledger.models import Entry, Lot, Waiting
from tests.conftest import signed_in
from tests.farm.filled import text, typed
from tests.farm.goods import packs
from tests.farm.world import UNIT, World, assert_book_is_sound, fresh, yesterday_morning

KEEP = {"Ledger-Keep": "1"}


@pytest.fixture
def client(world: World) -> Client:
    return signed_in(world.owner)


@pytest.fixture
def lot(world: World) -> Lot:
    world.now = yesterday_morning()  # fresh enough to be given
    return packs(world, 12)


def order_in(world: World, days: int, customer: Customer | None = None) -> Order:
    due_on = timezone.localdate(timezone=world.farm.zone) + timedelta(days=days)
    return take_order(
        world.doing(sure=True),
        customer=customer or world.customer,
        days=Days(due_on),
        lines=[Wanted(world.product, 8)],
    )


def address_of(order: Order) -> str:
    return f"/record/deliver/?due={order.pk}%3A{order.due_on}"


def from_phone(client: Client, world: World, order: Order, **given: Any) -> dict[str, Any]:
    when = (timezone.localtime(timezone=world.farm.zone) - timedelta(hours=1)).isoformat()[:16]
    said = typed(when=when, **given)
    answer = client.post(address_of(order), said, headers={"Accept": "application/json"})
    found: dict[str, Any] = answer.json()
    return found


def test_a_phone_keeps_the_stops_of_today_and_tomorrow_and_what_is_late(
    world: World, client: Client
) -> None:
    late, today, tomorrow, later = (order_in(world, days) for days in (-3, 0, 1, 2))
    pages = client.get("/phone-now.json").json()["pages"]
    offered = text(client.get("/record/deliver/", headers=KEEP))

    assert {address_of(order) for order in (late, today, tomorrow)} <= {*pages}
    assert address_of(later) not in pages
    assert f"{tomorrow.pk}:{tomorrow.due_on}" in offered
    assert f"{later.pk}:{later.due_on}" not in offered


@pytest.mark.parametrize("person", ["owner", "helper"])
def test_a_stops_name_is_shown_until_tomorrow_is_over_and_no_price_is(
    world: World, lot: Lot, person: str
) -> None:
    who: Person = getattr(world, person)
    answer = signed_in(who).get(address_of(order_in(world, 0)), headers=KEEP)

    until = datetime.fromisoformat(answer.headers["Ledger-Keep"]).astimezone(world.farm.zone)
    assert until.date() - timezone.localdate(timezone=world.farm.zone) == timedelta(days=2)
    assert "The Anchor" in text(answer) and lot.code in text(answer)
    assert "Price" not in text(answer) and "5.00" not in text(answer)


def test_two_stops_are_not_offered_the_same_packs(world: World, client: Client, lot: Lot) -> None:
    other = Customer.objects.create(name="The Bell", place=world.kitchens)
    stops = [order_in(world, 0), order_in(world, 0, other)]
    pages = [client.get(address_of(stop), headers=KEEP) for stop in stops]

    # 12 packs: 8 for the first stop, what is left for the second.
    assert [page.context["form"][f"give_{lot.pk}"].initial for page in pages] == [8, 4]


def test_what_is_given_is_entered_at_its_own_time_and_at_the_prices_agreed(
    world: World, client: Client, lot: Lot
) -> None:
    order = order_in(world, 0)
    answer = from_phone(client, world, order, **{f"give_{lot.pk}": "8"})

    entry = Entry.objects.get(kind="sell")
    assert set(answer) == {"entered"}
    assert timezone.now() - entry.happened_at > timedelta(minutes=59)
    assert SaleLine.objects.get().gross == 8 * 5 * UNIT
    due = due_order(order, order.due_on)
    assert due and due.state == State.DONE
    assert_book_is_sound()


def test_what_went_meanwhile_waits_and_is_taken_once_it_is_there(
    world: World, client: Client, lot: Lot
) -> None:
    throw_away(world.doing(reason="old"), lot=lot, quantity=6)
    order = order_in(world, 0)
    answer = from_phone(client, world, order, **{f"give_{lot.pk}": "8"})

    assert lot.code in answer["kept"]["words"]
    page = text(client.get("/unfinished/"))
    assert "Deliver an order" in page and "On hand now: 6" in page
    assert fresh(lot).quantity == 6


def test_a_stop_that_somebody_else_delivered_meanwhile_is_to_be_sorted_out(
    world: World, client: Client, lot: Lot
) -> None:
    order = order_in(world, 0)
    line = SoldLine(lot, 8, 5 * UNIT)
    deliver(world.doing(minutes=0), order=order, due_on=order.due_on, lines=[line])
    answer = from_phone(client, world, order, **{f"give_{lot.pk}": "4"})

    assert "is delivered already" in answer["error"]["words"]
    assert "is delivered already" in text(client.get("/unfinished/"))
    assert Waiting.objects.count() == 1 and fresh(lot).quantity == 4
