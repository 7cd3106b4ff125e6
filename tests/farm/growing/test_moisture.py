"""Mixes, spawn rates, drying and biological efficiency, against published figures."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from farm import moisture
from farm.moisture import Portion
from farm.units import UnitError
from tests.published import USDA_WATER_PPM

KG = 1_000_000
G = 1_000
LB = 453_592  # to the milligram; the shares below do not feel the rest

PORTIONS = st.builds(
    Portion, st.integers(min_value=1, max_value=10**10), st.integers(min_value=0, max_value=999_999)
)


def percent(share_ppm: int) -> float:
    return round(share_ppm / 10_000, 1)


@pytest.mark.parametrize(("ambient_ppm", "expected"), [(0, 60.0), (80_000, 63.2), (100_000, 64.0)])
def test_two_pounds_and_three_of_water(ambient_ppm: int, expected: float) -> None:
    # Common practice, no source. At 8 %: dry 2 x 0.92 = 1.84 lb of 5 lb, so 63.2 % is water.
    made = moisture.mix([Portion(LB, ambient_ppm), Portion(LB, ambient_ppm)], 3 * LB)
    assert percent(made.moisture_wet_ppm) == expected
    assert percent(made.added_water_ppm) == 60.0


def test_five_and_five_and_six_kilos_on_both_bases() -> None:
    # Common practice, no source. 6 of 16 is 37.5 %; 6 to 10 is 60 %.
    made = moisture.mix([Portion(5 * KG), Portion(5 * KG)], 6 * KG)
    assert made.moisture_wet_ppm == 375_000
    assert made.moisture_dry_ppm == 600_000


def test_a_five_pound_block_of_sawdust_and_water() -> None:
    # Common practice, no source.
    made = moisture.mix([Portion(975 * G)], 1_293 * G)
    assert made.total_mg == 2_268 * G
    assert percent(made.added_water_ppm) == 57.0


def test_a_three_pound_bag_of_grain_and_water() -> None:
    # Common practice, no source.
    made = moisture.mix([Portion(885 * G)], 475 * G)
    assert made.total_mg == 1_360 * G
    assert percent(made.added_water_ppm) == 34.9


@pytest.mark.parametrize(("ambient_ppm", "expected_kg"), [(0, 15), (80_000, 13)])
def test_water_for_sixty_percent(ambient_ppm: int, expected_kg: int) -> None:
    # 10 kg dry / 0.4 - 10 = 15; 9.2 kg dry / 0.4 - 10 = 13.
    assert moisture.water_for_target([Portion(10 * KG, ambient_ppm)], 600_000) == expected_kg * KG


def test_it_refuses_a_target_drier_than_the_ingredients() -> None:
    with pytest.raises(UnitError, match=r"more water than 5 % \(wet basis\)"):
        moisture.water_for_target([Portion(KG, 80_000)], 50_000)


@given(st.lists(PORTIONS, min_size=1, max_size=5), st.integers(min_value=0, max_value=10**10))
def test_dry_matter_in_is_dry_matter_out(ingredients: list[Portion], water_mg: int) -> None:
    made = moisture.mix(ingredients, water_mg)
    assert made.dry_mg == round(sum(portion.dry_mg for portion in ingredients))
    assert made.dry_mg + made.water_mg == made.total_mg


@given(st.integers(min_value=KG, max_value=10**10), st.integers(min_value=0, max_value=999_999))
def test_the_water_asked_for_gives_the_moisture_wanted(dry_mg: int, target_ppm: int) -> None:
    # From a kilo up, half a milligram of water moves the moisture by less than 1 ppm.
    ingredients = [Portion(dry_mg)]
    water_mg = moisture.water_for_target(ingredients, target_ppm)
    assert abs(moisture.mix(ingredients, water_mg).moisture_wet_ppm - target_ppm) <= 1


@pytest.mark.parametrize("moisture_ppm", [-1, 1_000_000, 1_500_000])
def test_it_refuses_a_moisture_that_cannot_be(moisture_ppm: int) -> None:
    with pytest.raises(UnitError, match="not a moisture on the wet basis"):
        Portion(KG, moisture_ppm)


def test_it_refuses_a_weight_below_zero() -> None:
    with pytest.raises(UnitError, match="below zero"):
        Portion(-1)
    with pytest.raises(UnitError, match="below zero"):
        moisture.mix([Portion(KG)], -1)


def test_it_refuses_a_mix_of_water_alone() -> None:
    with pytest.raises(UnitError, match="dry matter of the mix weighs nothing"):
        moisture.mix([], KG)


def test_ten_percent_of_a_five_pound_block_is_half_a_pound_of_spawn() -> None:
    # Common practice, no source: 226.8 g in 2268 g, spawn at 50 % moisture, substrate at 60 %.
    # 226.8 / 2268; 226.8 / 2494.8; 226.8 / 907.2; 113.4 / 907.2.
    rate = moisture.spawn_rate(Portion(226_800, 500_000), Portion(2_268 * G, 600_000))
    assert rate.of_wet_substrate_ppm == 100_000
    assert rate.of_finished_bag_ppm == 90_909
    assert rate.of_dry_substrate_ppm == 250_000
    assert rate.dry_of_dry_ppm == 125_000


@pytest.mark.parametrize(
    ("ndb_number", "to_usda_dried_kg", "to_ten_percent_kg", "to_six_percent_kg"),
    [
        ("11987", 1.1956, 1.2022, 1.1511),  # oyster, 89.18 % water
        ("11238", 1.1337, 1.1400, 1.0915),  # shiitake, 89.74 %
        ("11993", 1.0641, 1.0700, 1.0245),  # maitake, 90.37 %
        ("11950", 1.2884, 1.2956, 1.2404),  # enoki, 88.34 %
        ("11260", 0.8343, 0.8389, 0.8032),  # white, 92.45 %
    ],
)
def test_ten_kilos_dried(
    ndb_number: str, to_usda_dried_kg: float, to_ten_percent_kg: float, to_six_percent_kg: float
) -> None:
    # Water from USDA National Nutrient Database SR28, dried shiitake (11268) at 9.50 % included;
    # the weights by dry matter: oyster 10 x 0.1082 / 0.905 = 1.1956.
    fresh = Portion(10 * KG, USDA_WATER_PPM[ndb_number])
    dried_ppm = USDA_WATER_PPM["11268"]
    assert round(moisture.dried_mass(fresh, dried_ppm) / KG, 4) == to_usda_dried_kg
    assert round(moisture.dried_mass(fresh, 100_000) / KG, 4) == to_ten_percent_kg
    assert round(moisture.dried_mass(fresh, 60_000) / KG, 4) == to_six_percent_kg


def test_the_ratio_of_fresh_to_dried() -> None:
    # 10 kg of oyster at 89.18 % to 9.5 %: 0.905 / 0.1082 = 8.364.
    dried_mg = moisture.dried_mass(Portion(10 * KG, 891_800), 95_000)
    assert round(moisture.fresh_per_dried(10 * KG, dried_mg) / 1_000_000, 3) == 8.364


def test_it_refuses_a_ratio_to_nothing() -> None:
    with pytest.raises(UnitError, match="dried weight weighs nothing"):
        moisture.fresh_per_dried(10 * KG, 0)


def test_a_dried_weight_is_plausible_from_two_to_fifteen_percent() -> None:
    # Own rule. Shiitake at 89.74 %: 1.026 kg dry / 0.98 = 1.046939, / 0.85 = 1.207059.
    fresh = Portion(10 * KG, 897_400)
    assert moisture.plausible_dried_range(fresh) == (1_046_939, 1_207_059)


@pytest.mark.parametrize(
    ("fresh_cg", "expected_percent"),
    [
        (25_000, 90.91),
        (25_385, 92.31),
        (24_079, 87.56),
        (19_379, 70.47),
        (25_201, 91.64),
        (24_445, 88.89),
        (21_942, 79.79),
        (24_995, 90.89),
        (24_115, 87.69),
        (21_027, 76.46),
    ],
)
def test_biological_efficiency_as_published(fresh_cg: int, expected_percent: float) -> None:
    # Lion's mane, Horticulturae 11(10):1220 (2025): fresh weight a bag (in hundredths of a gram)
    # and efficiency; each row implies 275 g of dry substrate. Printed to 0.01 %.
    found = moisture.biological_efficiency(fresh_cg * 10, Portion(275 * G))
    assert found.rate_ppm / 10_000 == pytest.approx(expected_percent, abs=0.011)


@pytest.mark.parametrize(("ambient_ppm", "expected"), [(0, 62.5), (80_000, 67.9), (100_000, 69.4)])
def test_biological_efficiency_depends_on_the_true_dry_matter(
    ambient_ppm: int, expected: float
) -> None:
    # Common practice, no source: 1.25 lb fresh from a block of 2 lb of ingredients.
    found = moisture.biological_efficiency(LB * 5 // 4, Portion(2 * LB, ambient_ppm))
    assert percent(found.rate_ppm) == expected


def test_biological_efficiency_with_spawn_says_so() -> None:
    # 1.25 / (2 x 0.92 + 0.5 x 0.5) = 59.8 %.
    found = moisture.biological_efficiency(
        LB * 5 // 4, Portion(2 * LB, 80_000), Portion(LB // 2, 500_000)
    )
    assert percent(found.rate_ppm) == 59.8
    assert found.basis == "dry substrate and dry spawn"


def test_biological_efficiency_without_spawn_says_so() -> None:
    found = moisture.biological_efficiency(KG, Portion(KG))
    assert found == moisture.Efficiency(1_000_000, "dry substrate, spawn left out")
