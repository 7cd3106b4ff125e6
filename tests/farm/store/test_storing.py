"""Weighing again, throwing away and drying: what is water, what is a loss, what is odd."""

import json

import pytest

from farm.actions.common import Draw
from farm.actions.questions import PlausibilityQuestion
from farm.actions.selling.selling import SoldLine, sell
from farm.actions.store.storing import dried_moisture, dry, throw_away, water_band, weigh_again
from farm.models import LotCard, Stage
from farm.moisture import Portion, dried_mass
from ledger.errors import Malformed, NotEnough
from ledger.models import Entry, Line, Lot, Role
from tests.farm.goods import crop, materials, on_hand
from tests.farm.world import GRAM, KG, UNIT, World, assert_book_is_sound, fresh, small_farm
from tests.published import USDA_WATER_PPM


@pytest.fixture
def world(db: None) -> World:
    return small_farm()


def crop_losing(world: World, loss_ppm: int) -> Lot:
    """10 kg at 50.0000 of a species that loses so much water a day."""
    world.species.water_loss_ppm = loss_ppm
    world.species.save()
    return crop(world)


# --- weighing again --------------------------------------------------------------------------


def test_loss_inside_the_band_is_water_and_costs_nothing(world: World) -> None:
    lot = crop_losing(world, 60_000)
    world.wait(1)

    recorded = weigh_again(world.doing(), lot=lot, weight_mg=9_500 * GRAM)

    line = recorded.entry.lines.get()
    assert (line.role, line.quantity) == (Role.SHRUNK, -500 * GRAM)
    assert materials(recorded, lot, Role.SHRUNK) == 0


def test_loss_beyond_the_band_is_unexplained_and_carries_its_cost(world: World) -> None:
    lot = crop_losing(world, 60_000)
    world.wait(1)

    recorded = weigh_again(world.doing(sure=True), lot=lot, weight_mg=8_500 * GRAM)

    # 6 % of 10 kg in a day is water: 0.6. The other 0.9 of the 9.4 left: 50.0000 * 0.9 / 9.4.
    assert materials(recorded, lot, Role.LOST) == 47_872
    assert recorded.entry.reason == "unexplained"
    assert_book_is_sound()


def test_the_band_compounds_over_the_days() -> None:
    # 10 * 0.98 * 0.98 = 9.604 kg remain.
    assert water_band(10 * KG, 20_000, 2) == 396 * GRAM
    assert water_band(10 * KG, 20_000, 0) == 0


def test_the_band_is_rounded_so_that_what_remains_is_whole() -> None:
    # 7 mg less 2 % are 6.86 mg: 6 remain, 1 may be water.
    assert water_band(7, 20_000, 1) == 1


def test_a_second_weighing_counts_the_days_since_the_first(world: World) -> None:
    lot = crop_losing(world, 20_000)
    world.wait(2)
    weigh_again(world.doing(), lot=lot, weight_mg=9_604 * GRAM)
    world.wait(1)

    recorded = weigh_again(world.doing(sure=True), lot=lot, weight_mg=9_300 * GRAM)

    # One day of 9.604 kg at 2 %: 192.08 g of water; of the 304 g missing 111.92 g are lost.
    roles = dict(recorded.entry.lines.values_list("role", "quantity"))
    assert roles == {Role.SHRUNK: -192_080, Role.LOST: -111_920}


def test_a_weighing_that_finds_the_same_weight_is_recorded(world: World) -> None:
    lot = crop(world)

    recorded = weigh_again(world.doing(), lot=lot, weight_mg=10 * KG)

    line = recorded.entry.lines.get()
    assert (line.role, line.quantity) == (Role.COUNTED, 0)


def test_it_refuses_more_than_the_book_holds_and_names_the_pick(world: World) -> None:
    lot = crop(world)

    with pytest.raises(Malformed, match=f"{lot.code}.*10.20 kg.*correct entry {lot.made_by_id}"):
        weigh_again(world.doing(), lot=lot, weight_mg=10_200 * GRAM)


def test_emptying_is_never_water(world: World) -> None:
    with pytest.raises(Malformed, match="throw the rest away"):
        weigh_again(world.doing(), lot=crop(world), weight_mg=0)


def test_what_was_sold_before_a_weighing_was_told_is_not_missing_from_it(world: World) -> None:
    lot = crop(world)
    world.wait(1)
    weighed = world.doing()
    sell(
        world.doing(),
        place=world.kitchens,
        customer=world.customer,
        lines=[SoldLine(lot, 2 * KG, 9 * UNIT)],
    )

    recorded = weigh_again(weighed, lot=fresh(lot), weight_mg=9_900 * GRAM)

    # 10 kg were there, so 0.1 kg of water went; of the 8 kg now there, 7.9 are left.
    assert [line.quantity for line in recorded.entry.lines.all()] == [-100 * GRAM]
    assert fresh(lot).quantity == 7_900 * GRAM
    assert_book_is_sound()


def test_a_weighing_that_comes_after_a_later_one_is_refused(world: World) -> None:
    lot = crop(world)
    world.wait(1)
    early = world.doing()
    weigh_again(world.doing(), lot=lot, weight_mg=9_900 * GRAM)

    with pytest.raises(Malformed, match="that weight stands"):
        weigh_again(early, lot=fresh(lot), weight_mg=9_900 * GRAM)
    assert fresh(lot).quantity == 9_900 * GRAM


def test_a_weighing_sent_twice_counts_once(world: World) -> None:
    lot, doing = crop_losing(world, 60_000), world.doing(sure=True)

    first = weigh_again(doing, lot=lot, weight_mg=9 * KG)
    second = weigh_again(doing, lot=lot, weight_mg=9 * KG)

    assert (second.entry, second.fresh) == (first.entry, False)
    assert on_hand(lot) == 9 * KG


# --- throwing away ---------------------------------------------------------------------------


def test_what_is_thrown_away_takes_its_cost_along(world: World) -> None:
    lot = crop(world)

    recorded = throw_away(world.doing(reason="slimy"), lot=lot, quantity=2 * KG)

    # 2 of 10 kg at 50.0000.
    assert materials(recorded, lot, Role.LOST) == 100_000
    assert on_hand(lot) == 8 * KG


def test_it_refuses_to_throw_away_without_a_cause(world: World) -> None:
    lot = crop(world)

    with pytest.raises(Malformed, match=f"{lot.code}.*Say why"):
        throw_away(world.doing(), lot=lot, quantity=KG)


@pytest.mark.parametrize("quantity", [0, -5])
def test_it_refuses_to_throw_nothing_away(world: World, quantity: int) -> None:
    lot = crop(world)

    with pytest.raises(Malformed, match=f"{lot.code}: {quantity} cannot be thrown away"):
        throw_away(world.doing(reason="old"), lot=lot, quantity=quantity)


def test_it_refuses_to_throw_away_more_than_is_there(world: World) -> None:
    lot = crop(world)

    with pytest.raises(NotEnough, match=lot.code):
        throw_away(world.doing(reason="old"), lot=lot, quantity=11 * KG)


# --- drying ----------------------------------------------------------------------------------


def dried(world: World, lot: Lot, dried_mg: int, *, sure: bool = False) -> Entry:
    return dry(
        world.doing(minutes=0, sure=sure),
        draws=[Draw(lot, 10 * KG)],
        dried_mg=dried_mg,
        temperature_milli_c=55_000,
        minutes_drying=600,
        dryer_wh=6_000,
    ).entry


def test_dried_mushrooms_keep_the_species_and_the_day_of_harvest(world: World) -> None:
    lot = crop(world)
    day = world.now.date()
    world.wait(3)

    entry = dried(world, lot, 1_200 * GRAM)

    card = LotCard.objects.get(lot__made_by=entry)
    assert (card.stage, card.species, card.harvested_on) == (Stage.DRIED, world.species, day)


def test_the_dried_lot_carries_the_fresh_cost_and_the_dryers_energy(world: World) -> None:
    entry = dried(world, crop(world), 1_200 * GRAM)

    # 6 kWh at 0.3000.
    made = Lot.objects.get(made_by=entry)
    assert (made.quantity, made.materials, made.energy) == (1_200 * GRAM, 500_000, 18_000)
    assert_book_is_sound()


def test_ten_kilos_of_shiitake_weigh_1_1337_dried() -> None:
    """USDA SR28: 11238 mushrooms, shiitake, raw: 89.74 g of water; 11268 dried: 9.50 g."""
    raw, dry_ppm = USDA_WATER_PPM["11238"], USDA_WATER_PPM["11268"]

    # 10 * 0.1026 / 0.905 = 1.13370... kg.
    assert dried_mass(Portion(10 * KG, raw), dry_ppm) == 1_133_702
    assert dried_moisture(Portion(10 * KG, raw), 1_133_702) == dry_ppm


def test_the_entry_says_both_moistures_and_the_ratio(world: World) -> None:
    """The same USDA rows through the action: 10 kg / 1.133702 kg is 8.820660 to 1."""
    world.species.moisture_ppm = USDA_WATER_PPM["11238"]
    world.species.save()

    entry = dried(world, crop(world), 1_133_702)

    assert '"dried_moisture_ppm":95000' in entry.particulars
    assert '"fresh_moisture_ppm":897400' in entry.particulars
    assert '"fresh_per_dried_ppm":8820660' in entry.particulars


@pytest.mark.parametrize("dried_mg", [900 * GRAM, 2 * KG])
def test_an_odd_dried_weight_is_asked_about(world: World, dried_mg: int) -> None:
    # 10 kg at 89.18 % hold 1.082 kg of dry matter: 1.104 kg at 2 % water to 1.273 kg at 15 %.
    lot = crop(world)

    with pytest.raises(PlausibilityQuestion, match=rf"{lot.code}.*1\.10.* kg.*1\.27.* kg"):
        dried(world, lot, dried_mg)


def test_an_odd_dried_weight_passes_when_it_is_sure(world: World) -> None:
    entry = dried(world, crop(world), 900 * GRAM, sure=True)

    assert Lot.objects.get(made_by=entry).quantity == 900 * GRAM
    assert '"dried_moisture_ppm":0' in entry.particulars


def test_two_species_are_never_dried_as_one(world: World) -> None:
    lots = [crop(world), crop(world, species=world.other_strain.species)]

    with pytest.raises(Malformed, match=r"2 species.*Choose lots of one species"):
        dry(
            world.doing(),
            draws=[Draw(lot, KG) for lot in lots],
            dried_mg=200 * GRAM,
            temperature_milli_c=55_000,
            minutes_drying=600,
        )
    assert not Line.objects.filter(role=Role.USED).exists()


def test_a_lot_weighed_in_pounds_is_told_what_it_would_be(world: World) -> None:
    lot = crop(world)

    # 22 read off a pounds scale: 9.979 kg of the 10 in the book.
    with pytest.raises(Malformed, match=r"22\.00 kg .* Pounds\? Then it is 9\.979 kg"):
        weigh_again(world.doing(), lot=lot, weight_mg=22 * KG)


def test_what_was_asked_about_a_missing_weight_stands_with_it(world: World) -> None:
    lot = crop(world)

    with pytest.raises(PlausibilityQuestion, match="is missing"):
        weigh_again(world.doing(), lot=lot, weight_mg=5 * KG)
    recorded = weigh_again(world.doing(sure=True), lot=lot, weight_mg=5 * KG)

    assert "is missing" in json.loads(recorded.entry.particulars)["asked"]
    assert recorded.entry.reason == "unexplained"
