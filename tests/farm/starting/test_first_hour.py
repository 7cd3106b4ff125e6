"""The first hour: an empty site is led from its farm's name to the first pick."""

from fractions import Fraction

import pytest
from django.test import Client
from pytest_django import DjangoAssertNumQueries

from farm.actions.starting.starting import add_filling
from farm.beliefs import FILLINGS
from farm.models import Farm, Rate, Recipe, Room, Species, StandardTime, Strain, Supply
from farm.queries.starting.first_hour import FIRST_ENTRIES, first_hour, is_past, next_step
from ledger.models import Entry
from tests.farm.filled import text
from tests.farm.world import KG, UNIT, World, filled_bags, grow_blocks, grow_spawn, picked

NAMED = {
    "name": "Birch Lane", "place": "Lowfield", "time_zone": "Europe/Madrid", "currency": "EUR",
    "weight_unit": "kg", "habit": "comma", "account": "ana.ruiz", "password": "wet gloves 41",
}  # fmt: skip


@pytest.mark.django_db
def test_an_empty_site_is_named_and_its_owner_signed_in(client: Client) -> None:
    went_to = client.post("/begin/", NAMED)
    page = text(client.get(went_to["Location"]))

    assert went_to["Location"] == "/first-hour/"
    assert Farm.objects.get().name == "Birch Lane"
    assert "Say what you grow" in page


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"password": "short"}, "too short"),
        ({"account": "ana ruiz"}, "Enter a valid username"),
        ({"currency": "eur"}, "three capital letters"),
    ],
)
def test_a_wrong_answer_is_said_beside_its_field(
    client: Client, wrong: dict[str, str], said: str
) -> None:
    page = text(client.post("/begin/", NAMED | wrong))

    assert said in page
    assert not Farm.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize(
    "elsewhere", [Client(REMOTE_ADDR="192.0.2.7"), Client(HTTP_X_FORWARDED_FOR="::1")]
)
def test_nobody_from_elsewhere_names_the_farm(elsewhere: Client) -> None:
    answer = elsewhere.post("/begin/", NAMED)

    assert answer.status_code == 403
    assert not Farm.objects.exists()


def test_a_farm_that_has_its_name_is_not_named_again(owner: Client, farm: Farm) -> None:
    assert owner.post("/begin/", NAMED)["Location"] == "/"
    assert Farm.objects.get() == farm


def test_what_is_ticked_is_taken_over_once(owner: Client) -> None:
    ticked = {
        "strains": ["Oyster"],
        "fillings": ["Sawdust and bran, 5 lb"],
        "rooms": ["Cold room"],
        "own_hour": "18",
    }
    owner.post("/first-hour/take-over/", ticked)
    page = text(owner.get("/first-hour/take-over/"))
    again = text(owner.post("/first-hour/take-over/", {"strains": ["Oyster"]}))

    assert Strain.objects.get().species.name == "Oyster"
    assert Room.objects.get().shelves.count() == 1
    assert Rate.objects.get().rate_money == 18 * UNIT
    assert page.count(">is there<") == 3
    assert "Oyster is not one of the available choices" in again


def test_every_figure_taken_over_names_where_it_is_from(owner: Client) -> None:
    page = text(owner.get("/first-hour/take-over/"))

    assert "1 lb, 1 lb and 3 lb of water: growers&#x27; recipe pages" in page
    assert "Stamets, handbook" in page


def test_the_standard_times_are_shown_as_beliefs_until_the_farm_times_its_own_work(
    owner: Client,
) -> None:
    StandardTime.objects.create(action="pick", minutes=5, unit_seconds=270)
    StandardTime.objects.create(action="pack", minutes=7, unit_seconds=30)
    page = text(owner.get("/first-hour/take-over/"))

    assert "<td>5 min and 270 s for each</td><td>common practice, no source</td>" in page
    assert "<td>7 min and 30 s for each</td><td>your own figure</td>" in page


def test_nothing_ticked_is_asked_about(owner: Client) -> None:
    assert "Nothing is ticked" in text(owner.post("/first-hour/take-over/", {}))


def test_a_helper_takes_nothing_over(helper: Client) -> None:
    helper.post("/first-hour/take-over/", {"strains": ["Oyster"]})

    assert not Species.objects.exists()


@pytest.mark.django_db
def test_the_starting_blocks_hold_the_water_they_are_said_to() -> None:
    # Growers' recipe: 2 lb of dry goods and 3 lb of water weigh 5 lb (2.26796 kg), 60 % of it
    # water if the goods are taken as bone-dry; at 8 % water as bought, 63.2 %.
    block = next(one for one in FILLINGS if "soy" in one.name)
    version = add_filling(block)
    water = block.water_mg + sum(
        line.quantity * line.supply.moisture_ppm / Fraction(1_000_000)
        for line in version.lines.filter(supply__item__dimension="mass")
    )

    assert version.fill_mg == 2_267_960
    assert round(Fraction(water) / version.fill_mg * 1000) == 632


@pytest.mark.django_db
def test_recipes_share_their_supplies() -> None:
    for filling in FILLINGS:
        add_filling(filling)

    assert Recipe.objects.count() == 3
    assert Supply.objects.filter(item__name="Hardwood sawdust").count() == 1


def test_the_work_is_ticked_off_as_it_is_recorded(world: World) -> None:
    grow_blocks(world)
    done = [step.title for step in first_hour() if step.is_done]

    assert "Inoculate blocks" in done
    assert "Pick" not in done
    assert not is_past()


def test_the_first_pick_ends_it(world: World) -> None:
    picked(world)

    assert is_past()
    assert all(step.is_done for step in first_hour() if step.page == "record-action")


def test_the_words_of_the_trade_are_explained(helper: Client) -> None:
    page = text(helper.get("/words/"))

    assert "One wave of mushrooms from a block" in page
    assert 'id="biological-efficiency"' in page


def test_an_entry_leads_on_to_the_next_step_until_the_first_pick(
    world: World, client: Client
) -> None:
    client.force_login(world.owner.user)
    world.received("rye", 10 * KG)
    first = text(client.get("/entries/1/"))
    assert "Next in the first hour:" in first
    assert 'href="/record/buy-culture/">Buy a culture' in first

    picked(world)
    assert "Next in the first hour:" not in text(client.get("/entries/1/"))


def test_filled_blocks_lead_to_the_steriliser_and_its_run_to_inoculating(
    world: World, client: Client
) -> None:
    client.force_login(world.owner.user)
    grow_spawn(world)
    filled_bags(world, 4, sterilised=False)
    assert "Sterilise the blocks" in text(client.get(f"/entries/{newest()}/"))

    filled_bags(world, 4)
    assert "/record/inoculate-blocks/" in text(client.get(f"/entries/{newest()}/"))


def newest() -> int:
    return Entry.objects.order_by("seq").last().seq  # type: ignore[union-attr]


def test_what_is_set_up_in_the_first_hour_leads_back_to_it(client: Client, world: World) -> None:
    client.force_login(world.owner.user)
    sent = client.post("/look-ups/suppliers/add/", {"name": "Mill"})
    picked(world)
    later = client.post("/look-ups/suppliers/add/", {"name": "Sawmill"})

    assert (sent["Location"], later["Location"]) == ("/first-hour/", "/look-ups/suppliers/")


def test_whoever_does_not_run_the_farm_is_led_nowhere(world: World, client: Client) -> None:
    client.force_login(world.helper.user)
    world.received("rye", 10 * KG)

    assert "Next in the first hour:" not in text(client.get("/entries/1/"))


@pytest.mark.django_db
def test_once_it_is_long_past_nothing_is_asked(
    django_assert_num_queries: DjangoAssertNumQueries,
) -> None:
    with django_assert_num_queries(0):
        assert next_step(Entry(seq=FIRST_ENTRIES + 1)) is None
    with django_assert_num_queries(1):
        assert next_step(Entry(seq=FIRST_ENTRIES)) is not None
