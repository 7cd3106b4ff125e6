"""Open orders of a starting workbook: taken as orders, called off when it is taken back."""

import pytest
from django.test import Client

from farm.actions.orders.orders import deliver
from farm.actions.selling.selling import SoldLine
from farm.actions.starting.start_book import take_out
from farm.habits import day
from farm.models import Order, OrderLine, OrderStop, Stage
from farm.queries.orders.orders import due_between
from ledger.errors import Conflict
from tests.farm.starting.test_start_workbook import DUE, ROWS, filled_in, lot_of, problems, recorded
from tests.farm.world import GRAM, KG, UNIT, World


def test_rows_of_one_customer_day_and_rhythm_are_one_order(world: World) -> None:
    recorded(world)

    standing, once = Order.objects.order_by("-every_weeks")
    assert [(o.every_weeks, o.due_on, o.customer.name) for o in (standing, once)] == [
        (2, DUE, "The Weir"),
        (0, DUE, "The Weir"),
    ]
    lines = [(str(one), one.quantity, one.unit_money) for one in standing.lines.all()]
    assert lines == [
        ("Oyster, 300 g", 12, None),
        ("Oyster, loose", 2_500 * GRAM, 15 * UNIT),
    ]


def test_a_price_of_what_is_loose_is_by_the_farms_own_unit(world: World) -> None:
    world.farm.weight_unit = "lb"
    world.farm.save()
    recorded(world)

    loose = OrderLine.objects.get(unit_money=15 * UNIT)
    assert (loose.weight_unit, loose.quantity) == ("lb", 2_500 * GRAM)


def test_loose_without_a_price_is_a_problem(world: World) -> None:
    loose = [("The Weir", "Oyster", 4, DUE, None, None)]

    assert problems(world, orders=loose) == [("Open orders", 2, "Agreed price")]


def test_a_thing_twice_in_one_order_is_a_problem(world: World) -> None:
    twice = [ROWS["orders"][2]] * 2

    assert problems(world, orders=twice) == [("Open orders", 3, "Product or species")]


def test_orders_are_called_off_with_it(world: World) -> None:
    workbook = recorded(world)

    take_out(world.doing(reason="wrong year"), workbook)

    stops = [(stop.from_day, stop.reason) for stop in OrderStop.objects.all()]
    assert stops == [(DUE, "wrong year")] * 2
    assert not any(one.is_open for one in due_between(DUE, DUE))


def test_while_an_order_of_it_was_delivered_nothing_is_taken_back(world: World) -> None:
    workbook = recorded(world)
    order = Order.objects.get(every_weeks=0)
    line = SoldLine(lot_of(Stage.CROP, "seconds"), 2 * KG, 14 * UNIT)
    deliver(world.doing(sure=True), order=order, due_on=DUE, lines=[line])

    with pytest.raises(Conflict, match=f"Order {order.pk} was delivered for {day(DUE)}"):
        take_out(world.doing(), workbook)

    assert not OrderStop.objects.exists()


def test_a_workbook_of_orders_alone_is_taken_back_too(owner: Client, world: World) -> None:
    rows = {key: ROWS[key] for key in ("places", "customers", "products", "orders")}
    content = filled_in(world, rows)
    workbook = recorded(world, content)

    assert "0 entries and 2 orders stand" in owner.get("/start-workbook/").content.decode()
    with pytest.raises(Conflict, match="This very file"):
        recorded(world, content)
    assert take_out(world.doing(), workbook) == 2
    assert "All taken back" in owner.get("/start-workbook/").content.decode()
