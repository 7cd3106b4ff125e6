"""The home page: what waits, in the order of the work, and the way to a first pick."""

from datetime import date, timedelta

import pytest
from django.test import Client
from django.utils import timezone

from farm.actions.growing.checks import check
from farm.actions.growing.cultures import buy_culture, transfer_culture
from farm.actions.orders.orders import stop_order
from farm.models import Farm, Person
from farm.pages.day.today import most_used, to_deliver
from farm.queries.day.today import ToDo, by_room, to_do
from farm.queries.entries import often
from farm.units import show_mass
from tests.conftest import signed_in
from tests.farm.filled import prefilled, text
from tests.farm.goods import packs
from tests.farm.sold import delivered, order
from tests.farm.world import (
    UNIT,
    World,
    filled_bags,
    fruiting,
    grow_blocks,
    grow_spawn,
    picked,
)


def waiting(world: World, days: int = 0) -> dict[str, list[str]]:
    """What waits so many days after the world's last doing: titles and lots."""
    day = world.now.date() + timedelta(days=days)
    return {listed.title: [todo.lot.code for todo in listed.todos] for listed in to_do(day)}


def test_a_new_farm_is_led_to_its_first_pick(owner: Client) -> None:
    page = text(owner.get("/"))

    assert "The first hour</h2>" in page
    assert "/first-hour/take-over/" in page


def test_a_farm_that_has_picked_is_not(world: World) -> None:
    picked(world)

    assert "The first hour</h2>" not in text(signed_in(world.owner).get("/"))


def test_a_helper_is_not_sent_to_set_up(farm: Farm, helper: Client) -> None:
    assert "The first hour</h2>" not in text(helper.get("/"))


def test_filled_bags_wait_for_the_steriliser_and_then_for_spawn(world: World) -> None:
    raw, done = filled_bags(world, sterilised=False), filled_bags(world)
    found = waiting(world)

    assert found["Sterilise"] == [raw.code]
    assert found["Inoculate"] == [done.code]


@pytest.mark.parametrize(("days", "waits"), [(4, False), (5, True)])
def test_grain_is_shaken_from_the_fifth_day_on(world: World, days: int, waits: bool) -> None:
    grow_spawn(world)

    assert ("Shake or use the grain" in waiting(world, days)) is waits


def test_blocks_move_when_their_spawn_run_is_over(world: World) -> None:
    blocks = grow_blocks(world)
    days = world.strain.spawn_run_days

    assert "Move to fruiting" not in waiting(world, days - 1)
    assert waiting(world, days)["Move to fruiting"] == [blocks.code]


def test_blocks_are_looked_at_three_days_before_the_planned_pick(world: World) -> None:
    blocks = fruiting(world)
    # moved 16 days after inoculation
    days = world.strain.first_pick_days - 16

    assert "Pick" not in waiting(world, days - 4)
    assert waiting(world, days - 3)["Pick"] == [blocks.code]


def test_the_crop_with_the_fewest_fridge_days_stands_first(world: World) -> None:
    first = picked(world)
    world.wait(1)
    second = picked(world)

    assert waiting(world)["Sell or dry, the oldest first"] == [first.code, second.code]


def test_the_page_greets_with_the_farms_own_day(world: World) -> None:
    page = text(signed_in(world.owner).get("/"))

    assert f"{timezone.localdate(timezone=world.farm.zone):%A}" in page


# --- what is past its days, and what a phone shows ---------------------------------------------


def crop(world: World, days: int) -> ToDo:
    """What is due for the crop so many days after the world's last doing."""
    day = world.now.date() + timedelta(days=days)
    listed = next(one for one in to_do(day) if one.title == "Sell or dry, the oldest first")
    return listed.todos[0]


def act(world: World, days: int) -> str:
    return crop(world, days).act


def test_the_last_day_in_the_fridge_is_called_so(world: World) -> None:
    picked(world)
    days = world.species.fridge_days

    assert crop(world, days - 1).about == "keeps 1 day more"
    assert crop(world, days).about == "today is its last day"


def test_a_pick_on_its_last_day_in_the_fridge_is_packed(world: World) -> None:
    picked(world)

    assert act(world, world.species.fridge_days) == "Pack"


def test_a_pick_past_its_days_is_thrown_away_and_never_led_to_the_dryer(world: World) -> None:
    picked(world)

    assert act(world, world.species.fridge_days + 1) == "Throw away"


def test_the_dryer_asked_for_from_a_lot_takes_all_of_it(world: World) -> None:
    client = signed_in(world.owner)
    crop, other = picked(world), picked(world)
    page = client.get(f"/lots/{crop.code}/").content.decode()
    then = f"{crop.made_by.happened_on}T20:00"
    boxes = prefilled(client, f"/record/dry/?all_of={crop.code}&when={then}")
    late = prefilled(client, f"/record/dry/?all_of={crop.code}")

    assert f"/record/dry/?all_of={crop.code}" in page
    assert boxes[f"draws_{crop.pk}"] == "10.00 kg"
    assert f"draws_{other.pk}" not in boxes
    # Today is long after its days: what is past them is never offered to be dried.
    assert f"draws_{crop.pk}" not in late


def test_spawn_that_was_checked_opens_the_inoculation_with_all_of_it(world: World) -> None:
    _, _, spawn = grow_spawn(world)
    check(world.doing(), lot=spawn, colonised_percent=100)
    (listed,) = to_do(world.now.date() + timedelta(days=5))
    (use,) = listed.todos
    boxes = prefilled(signed_in(world.owner), f"/record/{use.slug}/?{use.field}={spawn.code}")

    assert (use.lot, use.act) == (spawn, "Inoculate blocks")
    assert boxes[f"spawn_{spawn.pk}"] == show_mass(spawn.quantity, "kg")


def test_packs_past_their_days_are_thrown_away(world: World) -> None:
    packs(world)

    assert act(world, world.species.fridge_days + 1) == "Throw away"


def test_picking_and_selling_stand_before_the_rest(world: World) -> None:
    filled_bags(world, sterilised=False)
    picked(world)

    assert list(waiting(world, 20))[:3] == ["Pick", "Sell or dry, the oldest first", "Sterilise"]


def test_six_actions_are_offered_at_once_and_the_rest_on_their_own_page(world: World) -> None:
    page = text(signed_in(world.owner).get("/"))

    assert page.count('class="button deed"') == 6
    assert "Everything that can be recorded" in page


def test_who_records_nothing_is_led_to_what_they_came_for(
    reader: Client, inspector: Client
) -> None:
    money, safety = (one.get("/").content.decode() for one in (reader, inspector))

    assert 'href="/owed/">Who owes what' in money and "/record/" not in money
    assert 'href="/records/binder/">The binder' in safety and "/owed/" not in safety


def offered(world: World, person: Person, days: int) -> list[str]:
    """Which actions a person is offered so many days after the world's last doing."""
    counts = often(person, world.now.date() + timedelta(days=days))
    return [deed.slug for deed in most_used(person, counts)]


def test_what_is_done_most_is_offered_from_the_next_day_on(world: World) -> None:
    assert "transfer-culture" not in offered(world, world.owner, 0)

    buy = buy_culture(world.doing(), strain=world.strain, portions=2, paid_money=UNIT)
    transfer_culture(world.doing(), source=buy.lots[0], portions=5)

    assert "transfer-culture" not in offered(world, world.owner, 0)
    assert "transfer-culture" in offered(world, world.owner, 1)


def test_what_another_person_does_most_is_theirs(world: World) -> None:
    buy = buy_culture(world.doing(), strain=world.strain, portions=2, paid_money=UNIT)
    transfer_culture(world.doing(), source=buy.lots[0], portions=5)

    assert "transfer-culture" not in offered(world, world.helper, 1)


# --- room by room, and out of the house --------------------------------------------------------


def rooms(world: World) -> dict[str, list[str]]:
    """What waits in each room on the world's last day: the titles of its lists."""
    found = by_room(to_do(world.now.date()))
    return {in_room.room: [listed.title for listed in in_room.lists] for in_room in found}


def test_what_is_due_stands_under_its_room(world: World) -> None:
    picked(world)

    assert rooms(world)[world.fridge_shelf.room.name] == ["Sell or dry, the oldest first"]


def test_what_was_never_placed_stands_in_no_room(world: World) -> None:
    filled_bags(world)

    assert rooms(world) == {"": ["Inoculate"]}


def waiting_on(day: date) -> list[date]:
    """The days of orders that are to be delivered on a day, or late then."""
    return [due.day for due in to_deliver(day)]


@pytest.mark.parametrize(("days", "waits"), [(-1, False), (0, True), (13, True), (14, False)])
def test_an_order_waits_from_its_day_and_two_weeks_where_it_is_late(
    world: World, days: int, waits: bool
) -> None:
    asked = order(world, 2, sure=True)

    assert waiting_on(asked.due_on + timedelta(days=days)) == [asked.due_on] * waits


def test_a_late_order_that_was_called_off_waits_no_more(world: World) -> None:
    asked = order(world, 2, sure=True)
    stop_order(world.doing(reason="closed"), order=asked, from_day=asked.due_on)

    assert waiting_on(asked.due_on + timedelta(days=1)) == []


def test_an_order_that_was_delivered_waits_no_more(world: World) -> None:
    lot = packs(world)
    asked = order(world, 2)
    delivered(world, asked, lot, 2)

    late = asked.due_on + timedelta(days=1)
    assert waiting_on(asked.due_on) == waiting_on(late) == []


def test_a_weekly_order_waits_every_week_until_it_is_called_off(world: World) -> None:
    asked = order(world, 2, every_weeks=1, sure=True)
    week = timedelta(weeks=1)

    first, second = asked.due_on, asked.due_on + week
    assert waiting_on(second) == [first, second]

    stop_order(world.doing(reason="closed"), order=asked, from_day=second)

    assert waiting_on(second) == [first]
    assert waiting_on(first + 2 * week) == []
