"""Farm details: added, changed, refused; recipes as versions; people with their roles."""

from datetime import date, timedelta

import pytest
from django.contrib.auth.models import User
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext

from farm.models import (
    ByProductChoice,
    ByProductWay,
    Person,
    Price,
    Product,
    Recipe,
    Role,
    Species,
    Steriliser,
    Strain,
    Supply,
    Token,
)
from farm.pages.lookups.lookup_list import LOOKUPS
from farm.queries.growing.by_products import by_product_way
from tests.conftest import signed_in
from tests.farm.filled import prefilled, text
from tests.farm.world import FIRST_DAY, GRAM, UNIT, World


@pytest.fixture
def client(world: World) -> Client:
    return signed_in(world.owner)


@pytest.mark.parametrize("slug", [lookup.slug for lookup in LOOKUPS])
def test_each_look_up_is_listed_added_to_changed_and_taken_away(
    client: Client, world: World, slug: str
) -> None:
    Token.objects.create(name="Pound", place=world.stall, value_money=UNIT, issuer="Council")
    world.customer.agreed_prices.create(
        product=world.product, from_day=FIRST_DAY, unit_money=4 * UNIT
    )
    world.product.sales_taxes.create(from_day=FIRST_DAY, rate_ppm=50_000)
    model = next(lookup.model for lookup in LOOKUPS if lookup.slug == slug)
    ByProductChoice.objects.create(from_day=FIRST_DAY, way=ByProductWay.TAKEN_OFF)
    row = model._default_manager.first()
    assert row
    ways = ["", "add/", "?take=xlsx", f"{row.pk}/change/"]
    changed = 404 if slug == "by-products" else 200

    found = [client.get(f"/look-ups/{slug}/{way}").status_code for way in ways]
    assert found == [200, 200, 200, changed]


def test_how_by_products_are_counted_is_chosen_from_a_day_on_and_never_changed(
    client: Client,
) -> None:
    day = date(2026, 10, 1)
    assert by_product_way(day) == ByProductWay.SHARED
    for from_day, way in (("2026-10-01", "taken off"), ("2027-01-01", "shared")):
        sent = {"from_day": from_day, "way": way}
        assert client.post("/look-ups/by-products/add/", sent).status_code == 302
    last = date(2026, 12, 31)
    days = [day - timedelta(1), day, last, last + timedelta(1)]

    ways = [ByProductWay.SHARED, *[ByProductWay.TAKEN_OFF] * 2, ByProductWay.SHARED]
    assert [by_product_way(one) for one in days] == ways
    page = text(client.get("/look-ups/by-products/"))
    assert "is taken off the cost of the main crop" in page
    assert "/change/" not in page
    with pytest.raises(IntegrityError), transaction.atomic():
        ByProductChoice.objects.update(way=ByProductWay.SHARED)


def test_of_two_ways_for_one_day_the_later_one_holds(world: World) -> None:
    for way in ("taken off", "shared", "taken off"):
        ByProductChoice.objects.create(from_day=FIRST_DAY, way=way)

    assert by_product_way(FIRST_DAY) == ByProductWay.TAKEN_OFF


def test_a_strain_is_added_in_the_units_people_use(world: World, client: Client) -> None:
    client.post(
        "/look-ups/strains/add/",
        {
            "species": world.species.pk,
            "name": "Blue",
            "source": "",
            "spawn_run_days": "16",
            "first_pick_days": "24",
            "flush_gap_days": "10",
            "first_mg": "1 lb",
            "second_mg": "200 g",
            "third_mg": "",
            "planned_loss_ppm": "7",
        },
    )
    strain = Strain.objects.get(name="Blue")

    # a pound is 453,592.37 mg
    assert strain.flushes_mg == (453_592, 200 * GRAM, 0)
    assert strain.planned_loss_ppm == 70_000


def test_what_cannot_be_read_is_kept_and_named(world: World, client: Client) -> None:
    answer = client.post("/look-ups/strains/add/", {"name": "Blue", "planned_loss_ppm": "7 of 40"})

    assert 'value="7 of 40"' in text(answer)
    assert "is not a share" in text(answer)


def test_a_supply_makes_its_item(client: Client) -> None:
    sent = {"name": "bran", "dimension": "mass", "use": "substrate", "moisture_ppm": "11.5"}
    client.post("/look-ups/supplies/add/", sent)
    again = client.post("/look-ups/supplies/add/", sent)

    assert Supply.objects.get(item__name="bran").moisture_ppm == 115_000
    assert "There is a supply of this name." in text(again)


def test_a_counted_supply_states_what_a_piece_weighs(client: Client) -> None:
    sent = {"name": "jar", "dimension": "count", "use": "bags"}

    assert "State what one piece weighs" in text(client.post("/look-ups/supplies/add/", sent))


def sealed_pack(world: World, approved: str) -> dict[str, object]:
    return {
        "name": "Sealed",
        "species": world.species.pk,
        "form": "fresh",
        "net_mg": "200 g",
        "pack": "airtight",
        "packaging": "",
        "tax_ppm": "4",
        "approved_process": approved,
    }


def test_fresh_mushrooms_are_not_sold_airtight(world: World, client: Client) -> None:
    answer = client.post("/look-ups/products/add/", sealed_pack(world, "  "))

    assert "or say by whom the process was approved" in text(answer)
    assert not Product.objects.filter(name="Sealed").exists()


def test_fresh_mushrooms_are_sold_airtight_by_an_approved_process(
    world: World, client: Client
) -> None:
    approved = "County food authority, 2026-03-02, letter 17"
    client.post("/look-ups/products/add/", sealed_pack(world, approved))

    assert Product.objects.get(name="Sealed").approved_process == approved


def test_the_caution_stands_beside_the_pack_and_defers_to_the_authority(
    world: World, client: Client
) -> None:
    page = text(client.get("/look-ups/products/add/"))

    assert "botulism poison. Use an open or perforated pack, unless your food authority" in page


def test_the_database_refuses_fresh_mushrooms_airtight_without_approval(world: World) -> None:
    airtight = Product.objects.filter(pk=world.product.pk)
    with pytest.raises(IntegrityError), transaction.atomic():
        airtight.update(pack="airtight")
    assert airtight.update(pack="airtight", approved_process="authority, letter 17") == 1


def test_a_price_is_typed_as_money(world: World, client: Client) -> None:
    client.post(
        "/look-ups/prices/add/",
        {
            "product": world.product.pk,
            "place": world.stall.pk,
            "from_day": "2026-10-01",
            "pack_money": "5,50",
            "weight_unit": "kg",
            "tax_included": "on",
        },
    )

    assert Price.objects.get(from_day="2026-10-01").pack_money == 55_000


def test_a_recipe_shows_its_moisture_on_both_bases(world: World, client: Client) -> None:
    page = text(client.get(f"/look-ups/recipes/{world.block_recipe.recipe_id}/"))

    # 975 g of sawdust at 8 % and 1293 g of water: 897 g bone-dry in 2268 g,
    # 1371 / 2268 = 60.4 % wet basis, 1371 / 897 = 152.8 % dry basis, 1293 / 2268 = 57.0 % added.
    for share in ("60.4\u00a0%", "152.8\u00a0%", "57\u00a0%"):
        assert share in page


def test_a_new_version_starts_from_the_last_and_leaves_it_as_it_is(
    world: World, client: Client
) -> None:
    recipe = world.block_recipe.recipe
    address = f"/look-ups/recipes/{recipe.pk}/version/"
    sent = prefilled(client, address) | {
        "water_mg": "1.4 kg",
        "supply_0": world.supplies["sawdust"].pk,
        "supply_1": world.supplies["block bag"].pk,
    }
    client.post(address, sent)
    first, second = recipe.versions.order_by("number")

    assert (first.water_mg, second.water_mg) == (1_293 * GRAM, 1_400 * GRAM)
    assert [line.quantity for line in second.lines.all()] == [975 * GRAM, 1]


def test_an_ingredient_without_a_quantity_is_refused(world: World, client: Client) -> None:
    recipe = Recipe.objects.create(name="New", makes="blocks")
    answer = client.post(
        f"/look-ups/recipes/{recipe.pk}/version/",
        {"water_mg": "1 kg", "supply_0": world.supplies["sawdust"].pk},
    )

    assert "State both the ingredient and how much." in text(answer)
    assert not recipe.versions.exists()


def test_the_farm_is_changed_on_its_own_page(world: World, client: Client) -> None:
    sent = {
        "name": "Birch Lane",
        "place": "Lowfield",
        "time_zone": "Europe/Madrid",
        "currency": "EUR",
        "weight_unit": "lb",
        "habit": "comma",
        "altitude_m": "0",
        "payment_days": "14",
    }
    client.post("/look-ups/farm/", sent)
    wrong = client.post("/look-ups/farm/", sent | {"time_zone": "Spain/Here"})
    world.farm.refresh_from_db()

    assert (world.farm.name, world.farm.weight_unit) == ("Birch Lane", "lb")
    assert "is not a time zone" in text(wrong)


def test_somebody_is_given_a_sign_in(client: Client) -> None:
    client.post(
        "/look-ups/people/add/",
        {"name": "ines", "initials": "IN", "role": "helper", "password": "birch-and-alder"},
    )

    assert Person.objects.get(initials="IN").role == Role.HELPER
    assert Client().login(username="ines", password="birch-and-alder")


def test_a_short_password_is_refused(client: Client) -> None:
    answer = client.post(
        "/look-ups/people/add/", {"name": "ines", "role": "helper", "password": "short"}
    )

    assert "too short" in text(answer)
    assert not User.objects.filter(username="ines").exists()


def test_the_last_owner_stays_one(world: World, client: Client) -> None:
    address = f"/look-ups/people/{world.owner.pk}/"
    answer = client.post(address, {"initials": "OL", "role": "helper", "password": ""})

    assert "is the only owner" in text(answer)
    world.owner.refresh_from_db()
    assert world.owner.role == Role.OWNER


def test_a_helper_becomes_a_bookkeeper_with_a_new_password(world: World, client: Client) -> None:
    address = f"/look-ups/people/{world.helper.pk}/"
    client.post(address, {"initials": "HU", "role": "bookkeeper", "password": "birch-and-alder"})
    world.helper.refresh_from_db()

    assert world.helper.role == Role.BOOKKEEPER
    assert Client().login(username="hugo", password="birch-and-alder")


# --- three fields at most, and days as everywhere ----------------------------------------------


def required(client: Client, slug: str) -> int:
    """How many fields of a new row must be filled in by hand."""
    form = client.get(f"/look-ups/{slug}/add/").context["form"]
    return sum(
        field.field.required and field.value() in (None, "") for field in form.visible_fields()
    )


@pytest.mark.parametrize("slug", ["strains", "species", "products", "supplies", "sterilisers"])
def test_a_new_row_needs_three_fields_at_most(client: Client, slug: str) -> None:
    assert required(client, slug) <= 3


PLATE = {"name": "Tall cooker", "pressurised": "on"}


@pytest.mark.parametrize(
    ("limit", "energy", "kept"),
    [
        ("15 psi", "3 kWh", (103, 3_000)),
        ("1 bar", "3000 Wh", (100, 3_000)),
        ("103", "2500", (103, 2_500)),
        ("15 kPa", "3 Wh", (15, 3)),
    ],
)
def test_a_steriliser_is_typed_as_its_plate_says(
    client: Client, limit: str, energy: str, kept: tuple[int, int]
) -> None:
    client.post("/look-ups/sterilisers/add/", PLATE | {"max_gauge_kpa": limit, "run_wh": energy})
    made = Steriliser.objects.get(name="Tall cooker")
    page = text(client.get(f"/look-ups/sterilisers/{made.pk}/change/"))

    assert (made.max_gauge_kpa, made.run_wh) == kept
    assert f'value="{kept[0]} kPa"' in page


def test_a_bare_number_far_from_any_steriliser_is_asked_for_with_its_unit(client: Client) -> None:
    sent = PLATE | {"max_gauge_kpa": "15", "run_wh": "3"}
    page = text(client.post("/look-ups/sterilisers/add/", sent))

    assert "15 of what? Type it with its unit, such as 15 psi, 1 bar or 103 kPa." in page
    assert "3 of what? Type it with its unit, such as 3 kWh or 3000 Wh." in page
    assert not Steriliser.objects.filter(name="Tall cooker").exists()


def test_a_steam_drum_has_no_limit(client: Client) -> None:
    client.post("/look-ups/sterilisers/add/", {"name": "Open drum", "run_wh": "20 kWh"})
    made = Steriliser.objects.get(name="Open drum")

    assert (made.pressurised, made.max_gauge_kpa) == (False, 0)


def test_a_blank_figure_starts_as_is_believed_of_the_species(world: World, client: Client) -> None:
    client.post("/look-ups/strains/add/", {"species": world.species.pk, "name": "Pearl"})
    strain = Strain.objects.get(name="Pearl")

    # The starting beliefs of oyster.
    # Believed to give 500 g that can be sold: 500 / 0.92 are picked, to the gram.
    assert (strain.spawn_run_days, strain.first_mg) == (16, 543 * GRAM)
    assert strain.planned_loss_ppm == 70_000


def test_a_species_that_nothing_is_believed_of_starts_in_the_middle(client: Client) -> None:
    client.post("/look-ups/species/add/", {"name": "Enoki", "cooking_note": "Cook thoroughly."})
    species = Species.objects.get(name="Enoki")

    assert (species.moisture_ppm, species.fridge_days) == (900_000, 8)


def test_a_figure_that_was_typed_stays(world: World, client: Client) -> None:
    sent = {"species": world.species.pk, "name": "Pearl", "spawn_run_days": "19"}
    client.post("/look-ups/strains/add/", sent | {"planned_loss_ppm": "0"})
    strain = Strain.objects.get(name="Pearl")

    assert (strain.spawn_run_days, strain.planned_loss_ppm) == (19, 0)


def test_rates_are_dated_as_everywhere_and_named_once(client: Client) -> None:
    page = text(client.get("/look-ups/rates/"))

    assert "1 Jan 2000" in page
    assert "Jan. 1, 2000" not in page
    assert "an own hour from" not in page


def test_the_form_of_a_version_asks_the_database_no_more_for_more_lines(
    client: Client, world: World
) -> None:
    version = world.block_recipe
    address = f"/look-ups/recipes/{version.recipe_id}/version/"
    with CaptureQueriesContext(connection) as before:
        client.get(address)
    more = Supply.objects.exclude(recipe_lines__version=version)
    added = [version.lines.create(supply=supply, quantity=GRAM) for supply in more]
    with CaptureQueriesContext(connection) as after:
        client.get(address)

    assert len(added) > 1
    assert len(after) == len(before)
