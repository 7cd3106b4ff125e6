"""Read and print weights, counts, money, temperatures and pressures.

Inside, everything is a whole number: mass in milligrams, money in 1/10,000 of the currency
unit, temperature in thousandths of a degree Celsius, pressure in pascals. What is typed is
turned into that number once, exactly (fractions, never floats), and rounded once, half to even.

A dot or a comma is the decimal mark. Thousands marks are refused rather than guessed at: "1,250"
is 1.25 to one grower and 1250 to the next, and the difference is a factor of a thousand.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from farm.habits import in_force

MG_PER_LB = Fraction("453592.37")  # 453.59237 g exactly
MG_PER_UNIT: Mapping[str, Fraction] = {
    "kg": Fraction(1_000_000),
    "g": Fraction(1_000),
    "mg": Fraction(1),
    "lb": MG_PER_LB,
    "oz": MG_PER_LB / 16,  # 28.349523125 g exactly
}
# A pound-force (0.45359237 kg x 9.80665 m/s2) on a square inch (0.0254 m squared): 6894.757 Pa.
PA_PER_UNIT: Mapping[str, Fraction] = {
    "kPa": Fraction(1_000),
    "bar": Fraction(100_000),
    "psi": Fraction("0.45359237") * Fraction("9.80665") / Fraction("0.0254") ** 2,
}
MONEY_PER_UNIT = 10_000
MONEY_PER_CENT = 100

_SIGNS = {"USD": "$", "EUR": "€", "GBP": "£"}
# Fewest and most decimals printed: a kilo to the gram, a pound to the hundredth.
_MASS_DECIMALS = {"kg": (2, 3), "g": (0, 1), "mg": (0, 0), "lb": (2, 2), "oz": (1, 2)}
_PRESSURE_DECIMALS = {"kPa": (1, 1), "bar": (2, 3), "psi": (1, 2)}

_NUMBER = r"([0-9]*[.,]?[0-9]+)"
_AMOUNT = re.compile(_NUMBER + r"\s*([^\W\d_]*|°\s?[^\W\d_])")
_POUNDS_AND_OUNCES = re.compile(r"([0-9]+)\s*(?:lbs?|pounds?)\s*" + _NUMBER + r"\s*(?:oz|ounces?)")
_GAPS = re.compile(r"[0-9]\s+[0-9]|[0-9][.,][0-9]+[.,]|[0-9]['\u2019_][0-9]")
_MINUS_SIGNS = "-\u2212\u2013"
_MOST_DIGITS = 9
_OUNCES_IN_A_POUND = 16
_LONGEST_QUOTE = 30
# Nobody types more for one amount; a longer text would keep the patterns below busy for hours.
_LONGEST = 200
_TYPED_PARTS = 10_000


class UnitError(ValueError):
    """Something typed that cannot be read as an amount; the message says what to type."""


@dataclass(frozen=True)
class _Kind:
    """What is being read, for the messages, and the spellings of its units."""

    what: str
    example: str
    names: Mapping[str, str] = field(default_factory=dict)


_MASS = _Kind(
    "a weight",
    "5.6 kg",
    {
        **dict.fromkeys(("kg", "kgs", "kilo", "kilos", "kilogram", "kilograms"), "kg"),
        **dict.fromkeys(("g", "gram", "grams"), "g"),
        **dict.fromkeys(("mg", "milligram", "milligrams"), "mg"),
        **dict.fromkeys(("lb", "lbs", "pound", "pounds"), "lb"),
        **dict.fromkeys(("oz", "ounce", "ounces"), "oz"),
    },
)
_MONEY = _Kind("an amount of money", "12.50")
_TEMPERATURE = _Kind("a temperature", "121 C", {"c": "C", "°c": "C", "f": "F", "°f": "F"})
_PRESSURE = _Kind("a pressure", "15 psi", {"kpa": "kPa", "bar": "bar", "psi": "psi", "psig": "psi"})
_ENERGY = _Kind("an energy", "3 kWh", {"kwh": "kWh", "wh": "Wh"})
_WH_PER_UNIT = {"kWh": 1_000, "Wh": 1}


def read_mass(text: str, default_unit: str) -> int:
    """Read a weight and return milligrams, rounded half to even once, at the end.

    Takes kg, g, mg, lb, oz, "1 lb 4 oz", and a bare number in `default_unit`; and a sum of them,
    for what went over the scale in two bowls: "5.2+4.8" in kg is 10,000,000, "5 + 4 lb" 9 lb.
    12.4 lb is 5,624,545.388 mg and becomes 5,624,545; 3 oz is 85,048.569375 and becomes 85,049.
    """
    parts = text.split("+")
    if len(parts) == 1:
        return round(_mass(text, default_unit))
    if not all(part.strip() for part in parts):
        raise UnitError(
            f'"{_short(text.strip())}" lacks a weight beside a plus: type each, such as 5.2+4.8.'
        )
    default_unit = _unit_of_bare(text, parts, default_unit)
    total = sum(_mass(part, default_unit) for part in parts)
    if total >= 10**_MOST_DIGITS * MG_PER_UNIT["kg"]:
        raise UnitError(f'"{_short(text.strip())}" is too much: check it, and type fewer digits.')
    return round(total)


def _unit_of_bare(text: str, parts: Sequence[str], default_unit: str) -> str:
    """Say in which unit the bare numbers of a sum are: in the one typed beside another of them.

    "5.2 + 4.8 lb" are pounds, on a farm that writes kilos too; "5 lb + 300 g + 2" is refused.
    """
    typed = {_amount(_plain(part, _MASS), _MASS, "")[1] for part in parts if not _is_mixed(part)}
    units = typed - {""}
    if "" not in typed or not (units or any(map(_is_mixed, parts))):
        return default_unit
    if len(units) > 1 or any(map(_is_mixed, parts)):
        raise UnitError(f'"{_short(text.strip())}" mixes units: type one behind each number.')
    return units.pop()


def _is_mixed(part: str) -> bool:
    return bool(_POUNDS_AND_OUNCES.fullmatch(part.strip().lower()))


def _mass(text: str, default_unit: str) -> Fraction:
    """Read one weight, exactly, in milligrams."""
    typed = _plain(text, _MASS)
    both = _POUNDS_AND_OUNCES.fullmatch(typed.lower())
    if both:
        return _read_pounds_and_ounces(typed, both[1], both[2])
    digits, unit = _amount(typed, _MASS, default_unit)
    # A gram with three decimals is more likely a thousand grams with a dot between.
    number = _number(typed, digits, ".," if unit == "g" else in_force().doubtful)
    return number * MG_PER_UNIT[unit]


def in_unit(mass_mg: int, unit: str) -> Fraction:
    """Say exactly how many of a unit a weight is, as it was typed: 453,592 mg is 1 lb.

    A pound is no whole number of milligrams. What was typed with four decimals or fewer is found
    again, so that money by the pound is not a cent off; any other weight is divided as it is.
    """
    typed = Fraction(round(mass_mg * _TYPED_PARTS / MG_PER_UNIT[unit]), _TYPED_PARTS)
    same = round(typed * MG_PER_UNIT[unit]) == mass_mg
    return typed if same else mass_mg / MG_PER_UNIT[unit]


def show_mass(mass_mg: int, unit: str) -> str:
    """Print milligrams in one unit: 5,620,000 in kg is "5.62 kg", in lb "12.39 lb".

    A kilo is printed to the gram (5.625 kg), a pound to the hundredth; half to even.
    """
    return f"{_decimal(mass_mg / MG_PER_UNIT[unit], _MASS_DECIMALS[unit])} {unit}"


def show_both(mass_mg: int, first: str = "kg") -> str:
    """Print a weight in both systems, side by side: "5.60 kg · 12.35 lb".

    Below a pound, grams and ounces say more: "20 g · 0.71 oz". `first` is "kg" or "lb".
    """
    metric, customary = ("kg", "lb") if abs(mass_mg) >= MG_PER_LB else ("g", "oz")
    pair = [show_mass(mass_mg, metric), show_mass(mass_mg, customary)]
    return " · ".join(pair if first == "kg" else reversed(pair))


def read_count(text: str, noun: str = "pieces") -> int:
    """Read a whole number of pieces; a fraction of a block is refused, not rounded."""
    typed = _plain(text, _Kind(f"a number of {noun}", "24"))
    if not re.fullmatch(r"[0-9]+", typed):
        raise UnitError(f'"{_short(typed)}" is not a whole number of {noun}: type digits only.')
    return int(_number(typed, typed, ""))


def show_count(count: int, one: str, many: str) -> str:
    """Print a count with its noun: "1 block", "24 blocks", "0 blocks"."""
    return f"{count} {one if count == 1 else many}"


def read_money(text: str, currency: str) -> int:
    """Read an amount of money and return 1/10,000 of the unit: "12.50" is 125,000.

    The farm's own sign or code may stand beside it ("$12.50", "12,50 EUR"); another is refused.
    Four decimals at most, so that nothing is ever rounded away.
    """
    typed = _plain(text, _MONEY)
    digits = typed
    for mark in (_SIGNS.get(currency, currency), currency):
        digits = digits.removeprefix(mark).removesuffix(mark).strip()
    if not re.fullmatch(_NUMBER, digits):
        raise UnitError(
            f'"{_short(typed)}" cannot be read as money in {currency}: type digits, such as 12.50.'
        )
    money = _number(typed, digits, ".,") * MONEY_PER_UNIT
    if money.denominator != 1:
        raise UnitError(f'"{_short(typed)}" has more than four decimals: type four at most.')
    return int(money)


def show_money(money: int, currency: str, places: int = 2) -> str:
    """Print money: 125,000 in USD is "$12.50", in CHF "12.50 CHF"; half to even.

    `places` is 4 where a cost is shown to its last unit: 330,725 is "$33.0725".
    Columns that must add up are printed by `farm.steps`.
    """
    digits = _decimal(Fraction(abs(money), MONEY_PER_UNIT), (places, places))
    return in_currency(digits, currency, below_zero=money < 0 and bool(digits.strip("0.,")))


def in_currency(digits: str, currency: str, *, below_zero: bool = False) -> str:
    """Put the currency's sign where the farm's country puts it: "-€12.50", "-12,50 €"."""
    minus, sign = "-" if below_zero else "", _SIGNS.get(currency)
    if sign and in_force().sign_first:
        return f"{minus}{sign}{digits}"
    return f"{minus}{digits}\u00a0{sign}" if sign else f"{minus}{digits} {currency}"


def read_temperature(text: str, default_unit: str) -> int:
    """Read a temperature and return thousandths of a degree Celsius: "250 F" is 121,111.

    A minus is allowed here: a freezer stands at -18 C.
    """
    degrees, unit = _degrees(text, default_unit)
    celsius = degrees if unit == "C" else (degrees - 32) * Fraction(5, 9)
    if celsius < Fraction("-273.15"):
        raise UnitError(f'"{_short(text.strip())}" is colder than anything can be: check the unit.')
    return round(celsius * 1_000)


def read_temperature_rise(text: str, default_unit: str) -> int:
    """Read a difference of temperatures: a rise of 2 F is 1,111, where a reading of 2 F is -16,667.

    The freezing point of 32 F belongs to readings and never to differences.
    """
    degrees, unit = _degrees(text, default_unit)
    return round(degrees * 1_000 * (1 if unit == "C" else Fraction(5, 9)))


def show_temperature(temperature_mc: int, unit: str) -> str:
    """Print a reading to a tenth of a degree: 121,111 is "121.1 °C" or "250.0 °F"."""
    celsius = Fraction(temperature_mc, 1_000)
    degrees = celsius if unit == "C" else celsius * Fraction(9, 5) + 32
    return f"{_decimal(degrees, (1, 1))} °{unit}"


def show_temperature_rise(rise_mc: int, unit: str) -> str:
    """Print a difference to a tenth of a degree: 1,111 is "1.1 °C" or "2.0 °F"."""
    degrees = Fraction(rise_mc, 1_000) * (1 if unit == "C" else Fraction(9, 5))
    return f"{_decimal(degrees, (1, 1))} °{unit}"


def read_pressure(text: str, default_unit: str) -> int:
    """Read a pressure in kPa, bar or psi and return pascals: "15 psi" is 103,421.

    Whether it stands above the air outside (gauge) or above nothing is for the caller to say.
    """
    typed = _plain(text, _PRESSURE)
    digits, unit = _amount(typed, _PRESSURE, default_unit)
    return round(_number(typed, digits, in_force().doubtful) * PA_PER_UNIT[unit])


def show_pressure(pressure_pa: int, unit: str) -> str:
    """Print pascals in one unit: 103,421 is "103.4 kPa", "1.034 bar" or "15.0 psi"."""
    return f"{_decimal(pressure_pa / PA_PER_UNIT[unit], _PRESSURE_DECIMALS[unit])} {unit}"


def read_energy(text: str) -> int:
    """Read kWh or Wh and return watt-hours, which a bare number is: "3 kWh" is 3,000."""
    typed = _plain(text, _ENERGY)
    digits, unit = _amount(typed, _ENERGY, "Wh")
    return round(_number(typed, digits, in_force().doubtful) * _WH_PER_UNIT[unit])


def show_energy(energy_wh: int) -> str:
    """Print watt-hours: 3,000 is "3 kWh", 1,500 is "1.5 kWh", 800 is "800 Wh"."""
    if energy_wh < 1_000:
        return f"{energy_wh} Wh"
    return f"{_decimal(Fraction(energy_wh, 1_000), (0, 3))} kWh"


def is_bare(text: str) -> bool:
    """Say whether a number was typed without a unit."""
    return not any(sign.isalpha() for sign in text)


def _read_pounds_and_ounces(typed: str, pounds: str, ounces: str) -> Fraction:
    ounces_beside = _number(typed, ounces, in_force().doubtful)
    if ounces_beside >= _OUNCES_IN_A_POUND:
        raise UnitError(f'"{_short(typed)}" has 16 ounces or more beside the pounds: carry them.')
    return _number(typed, pounds, "") * MG_PER_LB + ounces_beside * MG_PER_UNIT["oz"]


def _degrees(text: str, default_unit: str) -> tuple[Fraction, str]:
    """Read degrees with their sign, and the unit they are in."""
    stripped = text.strip()
    below_zero = stripped.startswith(tuple(_MINUS_SIGNS))
    typed = _plain(stripped[below_zero:], _TEMPERATURE)
    digits, unit = _amount(typed, _TEMPERATURE, default_unit)
    degrees = _number(typed, digits, in_force().doubtful)
    return (-degrees if below_zero else degrees), unit


def _plain(text: str, kind: _Kind) -> str:
    """Return what was typed without the blanks around it, or say why it is no number."""
    typed = text.strip()
    if not typed:
        raise UnitError(f"Nothing was typed: type {kind.what}, such as {kind.example}.")
    if len(typed) > _LONGEST:
        raise UnitError(f'"{_short(typed)}" has too many digits: type {kind.example}, say.')
    if typed[0] in _MINUS_SIGNS:
        raise UnitError(f'"{_short(typed)}" is below zero: type {kind.what} without a minus.')
    if _GAPS.search(typed):
        raise UnitError(
            f'"{_short(typed)}" has gaps or thousands marks in the number: type {kind.what} with '
            f"digits and one decimal mark, such as {kind.example}."
        )
    return typed


def _amount(typed: str, kind: _Kind, default_unit: str) -> tuple[str, str]:
    """Split the digits from the unit behind them; a bare number has the unit of the field."""
    found = _AMOUNT.fullmatch(typed)
    units = ", ".join(dict.fromkeys(kind.names.values()))
    if not found:
        raise UnitError(
            f'"{_short(typed)}" cannot be read as {kind.what}: type plain digits and a unit '
            f"({units}), such as {kind.example}."
        )
    if not found[2]:
        return found[1], default_unit
    unit = kind.names.get(found[2].lower().replace(" ", ""))
    if unit is None:
        raise UnitError(f'"{_short(typed)}" has a unit that is not known here: use {units}.')
    return found[1], unit


def _number(typed: str, digits: str, doubtful_marks: str) -> Fraction:
    """Turn digits with at most one decimal mark into an exact fraction.

    One to three digits, a doubtful mark and exactly three digits could be thousands: refused.
    """
    doubtful = re.fullmatch(r"([1-9][0-9]{0,2})([.,])([0-9]{3})", digits)
    if doubtful and doubtful[2] in doubtful_marks:
        whole, _mark, rest = doubtful.groups()
        small = f"{whole}{in_force().mark}{rest}"
        raise UnitError(
            f'"{_short(typed)}" could be {small} or {whole}{rest}: '
            f"type {small}0 for the one or {whole}{rest} for the other."
        )
    if len(digits) > 2 * _MOST_DIGITS or Fraction(digits.replace(",", ".")) >= 10**_MOST_DIGITS:
        raise UnitError(f'"{_short(typed)}" has too many digits: check it, and type fewer.')
    return Fraction(digits.replace(",", "."))


def _decimal(number: Fraction, decimals: tuple[int, int]) -> str:
    """Print a fraction, half to even at the most decimals, cutting zeros down to the fewest."""
    fewest, most = decimals
    scaled = round(number * 10**most)
    whole, rest = divmod(abs(scaled), 10**most)
    places = f"{rest:0{most}d}" if most else ""
    while len(places) > fewest and places.endswith("0"):
        places = places[:-1]
    return ("-" if scaled < 0 else "") + str(whole) + (in_force().mark + places if places else "")


def _short(text: str) -> str:
    """Quote no more than a line's worth of what was typed."""
    return text if len(text) <= _LONGEST_QUOTE else text[: _LONGEST_QUOTE - 3] + "..."
