"""What is typed as a weight, a count, a sum or a temperature, and printed as one."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from farm import units
from farm.units import UnitError
from tests.published import UNECE_POUND_CENTI_MG

WEIGHTS_MG = st.integers(min_value=0, max_value=10**11)
MONEY = st.integers(min_value=0, max_value=10**12)


@pytest.mark.parametrize(
    ("text", "expected_mg"),
    [
        ("5.6 kg", 5_600_000),
        ("5,6kg", 5_600_000),
        (" 5.6 ", 5_600_000),  # a bare number is in the unit of the field, here kg
        ("800 g", 800_000),
        ("12.4lb", 5_624_545),  # 12.4 x 453,592.37 = 5,624,545.388
        ("3 oz", 85_049),  # 3 x 28,349.523125 = 85,048.569375
        ("1 lb 4 oz", 566_990),  # 453,592.37 + 4 x 28,349.523125 = 566,990.4625
        ("1lb4oz", 566_990),
        (".5 KG", 500_000),
        ("1.250 kg", 1_250_000),  # as a scale shows it
        ("0,250 kg", 250_000),
        ("0", 0),
    ],
)
def test_it_reads_a_weight_as_people_type_it(text: str, expected_mg: int) -> None:
    assert units.read_mass(text, "kg") == expected_mg


@pytest.mark.parametrize(
    ("text", "expected_mg"), [("0.5 mg", 0), ("1.5 mg", 2), ("2.5 mg", 2), ("2.51 mg", 3)]
)
def test_it_rounds_a_weight_half_to_even(text: str, expected_mg: int) -> None:
    assert units.read_mass(text, "kg") == expected_mg


@pytest.mark.parametrize(
    ("text", "remedy"),
    [
        ("", "Nothing was typed: type a weight, such as 5.6 kg."),
        ("-5 kg", '"-5 kg" is below zero: type a weight without a minus.'),
        ("\u22125 kg", "without a minus"),
        ("nan", "plain digits and a unit"),
        ("inf kg", "plain digits and a unit"),
        ("1e3 g", "plain digits and a unit"),
        ("five kg", "plain digits and a unit"),
        ("\u0665 kg", "plain digits and a unit"),
        ("5 stone", "use kg, g, mg, lb, oz"),
        ("1,250 kg", '"1,250 kg" could be 1.250 or 1250: type 1.2500 for the one or 1250'),
        ("1.250 g", "type 1.2500 for the one or 1250 for the other"),
        ("1 250 g", "gaps or thousands marks"),
        ("1'250 g", "gaps or thousands marks"),
        ("1,250.5 g", "gaps or thousands marks"),
        ("1.5 lb 4 oz", "plain digits and a unit"),
        ("1 lb 16 oz", "carry them"),
        ("1000000000 kg", "too many digits"),
        ("9" * 500, "too many digits"),
    ],
)
def test_it_refuses_what_is_no_plain_weight(text: str, remedy: str) -> None:
    with pytest.raises(UnitError) as refusal:
        units.read_mass(text, "kg")
    assert remedy in str(refusal.value)


@pytest.mark.parametrize(
    ("text", "unit", "expected_mg"),
    [
        ("5.2+4.8", "kg", 10_000_000),
        ("5,2+4,8", "kg", 10_000_000),
        (" 5.2 + 4.8 kg ", "kg", 10_000_000),
        ("5 + 4", "lb", 4_082_331),  # 9 x 453,592.37 = 4,082,331.33, rounded once
        ("5 + 4 lb", "kg", 4_082_331),  # the unit that stands beside the other
        ("1 kg+250 g", "lb", 1_250_000),
        ("1 lb 4 oz+12 oz", "kg", 907_185),  # 2 lb: 907,184.74
        ("1+1+1 oz", "kg", 85_049),  # 85,048.569: each alone would be 28,350, and 85,050
    ],
)
def test_a_weight_may_be_typed_as_a_sum(text: str, unit: str, expected_mg: int) -> None:
    assert units.read_mass(text, unit) == expected_mg


@pytest.mark.parametrize(
    ("text", "remedy"),
    [
        ("5.2+", "lacks a weight beside a plus"),
        ("+5.2", "lacks a weight beside a plus"),
        ("5 + -2", "below zero"),
        ("5.2+4.8 stone", "use kg, g, mg, lb, oz"),
        ("1 kg + 4 oz + 2", "type one behind each number"),
        ("1 lb 4 oz + 2", "type one behind each number"),
        ("+".join(["999999999"] * 2), "fewer digits"),
    ],
)
def test_a_sum_that_could_be_two_is_refused(text: str, remedy: str) -> None:
    with pytest.raises(UnitError, match=remedy):
        units.read_mass(text, "kg")


@given(st.lists(st.integers(1, 10**9 - 1), min_size=2, max_size=6))
def test_a_sum_is_the_sum_of_what_is_typed(masses_mg: list[int]) -> None:
    typed = "+".join(f"{mass} mg" for mass in masses_mg)

    assert units.read_mass(typed, "kg") == sum(masses_mg)


def test_the_remedy_for_a_doubtful_weight_can_be_typed() -> None:
    assert units.read_mass("1.2500 kg", "kg") == 1_250_000
    assert units.read_mass("1250 kg", "kg") == 1_250_000_000


def test_a_pound_is_the_pound_of_the_units_standard() -> None:
    # UN/ECE Recommendation 20, Revision 17e (2021), code LBR.
    assert Fraction(UNECE_POUND_CENTI_MG, 100) == units.MG_PER_LB


def test_an_ounce_is_a_sixteenth_of_a_pound() -> None:
    # International yard and pound agreement, 1959; from memory.
    assert Fraction("28349.523125") == units.MG_PER_UNIT["oz"]


@pytest.mark.parametrize(
    ("mass_mg", "unit", "expected"),
    [
        (5_620_000, "kg", "5.62 kg"),
        (5_625_000, "kg", "5.625 kg"),
        (5_624_545, "lb", "12.40 lb"),
        (226_796, "g", "226.8 g"),
        (800_000, "g", "800 g"),
        (85_049, "oz", "3.0 oz"),
        (-900_000, "kg", "-0.90 kg"),
        (-4, "kg", "0.00 kg"),
        (7, "mg", "7 mg"),
    ],
)
def test_it_prints_a_weight_with_sensible_digits(mass_mg: int, unit: str, expected: str) -> None:
    assert units.show_mass(mass_mg, unit) == expected


def test_it_prints_kilos_and_pounds_side_by_side() -> None:
    assert units.show_both(5_600_000) == "5.60 kg · 12.35 lb"
    assert units.show_both(5_600_000, "lb") == "12.35 lb · 5.60 kg"


def test_it_prints_grams_and_ounces_below_a_pound() -> None:
    assert units.show_both(20_000) == "20 g · 0.71 oz"


@given(WEIGHTS_MG, st.sampled_from(["kg", "g", "lb", "oz"]))
def test_a_printed_weight_reads_back_to_its_last_digit(mass_mg: int, unit: str) -> None:
    # Half of the last printed digit, and half a milligram for the reading.
    last_digit = {"kg": 1_000, "g": 100, "lb": 4_536, "oz": 284}[unit]
    read_back = units.read_mass(units.show_mass(mass_mg, unit), "kg")
    assert abs(read_back - mass_mg) <= last_digit / 2 + 1


@given(WEIGHTS_MG)
def test_grams_with_a_comma_and_with_a_dot_are_one_weight(mass_mg: int) -> None:
    text = f"{mass_mg // 1_000}.{mass_mg % 1_000:03d}0 g"
    assert units.read_mass(text, "kg") == mass_mg
    assert units.read_mass(text.replace(".", ","), "kg") == mass_mg


@given(st.text(max_size=40))
def test_any_text_gives_a_weight_or_a_readable_refusal(text: str) -> None:
    try:
        assert units.read_mass(text, "kg") >= 0
    except UnitError as refusal:
        assert str(refusal).endswith(".")


def test_it_reads_a_count_and_refuses_half_a_block() -> None:
    assert units.read_count(" 24 ") == 24
    with pytest.raises(UnitError, match=r'"2\.5" is not a whole number of blocks'):
        units.read_count("2.5", "blocks")


def test_it_prints_one_block_and_two_blocks() -> None:
    assert units.show_count(1, "block", "blocks") == "1 block"
    assert units.show_count(2, "block", "blocks") == "2 blocks"


@pytest.mark.parametrize(
    ("text", "currency", "expected"),
    [
        ("12.50", "USD", 125_000),
        ("$12.50", "USD", 125_000),
        ("12,50 €", "EUR", 125_000),
        ("12,50 EUR", "EUR", 125_000),
        ("12.5 CHF", "CHF", 125_000),
        ("0.0375", "USD", 375),
        ("3", "USD", 30_000),
    ],
)
def test_it_reads_money_in_ten_thousandths(text: str, currency: str, expected: int) -> None:
    assert units.read_money(text, currency) == expected


@pytest.mark.parametrize(
    ("text", "remedy"),
    [
        ("€12.50", "cannot be read as money in USD"),
        ("-3", "without a minus"),
        ("$-3", "cannot be read as money in USD"),
        ("1,250", "could be 1.250 or 1250"),
        ("1.250", "could be 1.250 or 1250"),
        ("1,250.00", "thousands marks"),
        ("0.03755", "more than four decimals"),
        ("1e3", "cannot be read as money"),
    ],
)
def test_it_refuses_what_is_no_plain_price(text: str, remedy: str) -> None:
    with pytest.raises(UnitError) as refusal:
        units.read_money(text, "USD")
    assert remedy in str(refusal.value)


def test_it_prints_money_with_its_sign_or_code() -> None:
    assert units.show_money(125_000, "USD") == "$12.50"
    assert units.show_money(-125_000, "USD") == "-$12.50"
    assert units.show_money(125_000, "CHF") == "12.50 CHF"
    assert units.show_money(330_725, "USD", places=4) == "$33.0725"
    assert units.show_money(-40, "USD") == "$0.00"


@given(MONEY, st.sampled_from(["USD", "EUR", "CHF"]))
def test_money_printed_to_its_last_unit_reads_back_the_same(money: int, currency: str) -> None:
    assert units.read_money(units.show_money(money, currency, places=4), currency) == money


@pytest.mark.parametrize(
    ("text", "expected_mc"),
    [
        ("250 F", 121_111),  # (250 - 32) x 5 / 9 = 121.111
        ("250°f", 121_111),
        ("121.1", 121_100),
        ("-18 C", -18_000),
        ("\u221218 °C", -18_000),
        ("2 F", -16_667),
    ],
)
def test_it_reads_a_temperature(text: str, expected_mc: int) -> None:
    assert units.read_temperature(text, "C") == expected_mc


def test_a_rise_of_two_fahrenheit_is_no_reading_of_two_fahrenheit() -> None:
    assert units.read_temperature_rise("2 F", "C") == 1_111
    assert units.show_temperature_rise(1_111, "F") == "2.0 °F"
    assert units.show_temperature_rise(1_111, "C") == "1.1 °C"


@pytest.mark.parametrize("text", ["", "warm", "-300 C", "--5 C", "121 K", "1,212 F"])
def test_it_refuses_what_is_no_temperature(text: str) -> None:
    with pytest.raises(UnitError):
        units.read_temperature(text, "C")


@given(st.integers(min_value=-2_700, max_value=9_000), st.sampled_from(["C", "F"]))
def test_a_printed_temperature_reads_back_the_same(tenths: int, unit: str) -> None:
    shown = units.show_temperature(units.read_temperature(f"{tenths / 10:.1f} C", "C"), unit)
    again = units.show_temperature(units.read_temperature(shown, "C"), unit)
    assert again == shown


def test_fifteen_psi_is_a_hundred_and_three_kilopascals() -> None:
    # 1 psi = 6.894757293168 kPa (NIST SP 811, appendix B; from memory).
    assert units.read_pressure("15 psi", "kPa") == 103_421  # 15 x 6894.757 = 103,421.36
    assert units.show_pressure(103_421, "psi") == "15.0 psi"
    assert units.show_pressure(103_421, "kPa") == "103.4 kPa"
    assert units.show_pressure(103_421, "bar") == "1.034 bar"


def test_it_refuses_a_pressure_in_an_unknown_unit() -> None:
    with pytest.raises(UnitError, match="use kPa, bar, psi"):
        units.read_pressure("15 atm", "psi")


@given(st.integers(min_value=0, max_value=10**7), st.sampled_from(["kPa", "bar", "psi"]))
def test_a_printed_pressure_reads_back_the_same(pressure_pa: int, unit: str) -> None:
    shown = units.show_pressure(pressure_pa, unit)
    # Three decimals behind a dot are taken as decimals, as a gauge shows them.
    assert units.show_pressure(units.read_pressure(shown, "kPa"), unit) == shown
