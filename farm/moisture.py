"""Work out mixes, spawn rates, drying and biological efficiency on bone-dry matter.

"Dry" pellets, bran and grain already hold 6 to 15 % water, so water is never counted by what was
poured in: water = total - bone-dry matter. Moisture is stored on the wet basis (water / total)
and the dry basis (water / dry matter) is shown beside it, because the same mix of 5 + 5 kg and
6 kg of water is 37.5 % on the one and 60 % on the other.

Masses are whole milligrams, shares whole parts per million (ppm). Fractions in between; every
result is rounded once, half to even.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from farm.units import UnitError

PPM = 1_000_000
# Own rule: dried mushrooms at less than 2 % or more than 15 % moisture are worth a question.
DRIEST_PPM, DAMPEST_PPM = 20_000, 150_000


@dataclass(frozen=True)
class Portion:
    """A mass as it is weighed, with its own moisture on the wet basis."""

    mass_mg: int
    moisture_ppm: int = 0

    def __post_init__(self) -> None:
        if self.mass_mg < 0:
            raise UnitError(f"{self.mass_mg} mg is below zero: type the weight without a minus.")
        _check_moisture(self.moisture_ppm)

    @property
    def dry_mg(self) -> Fraction:
        """The bone-dry matter, exact."""
        return self.mass_mg * _dry_share(self.moisture_ppm)


@dataclass(frozen=True)
class Mix:
    """A mixed substrate; `water_mg` counts the water that the ingredients brought along."""

    total_mg: int
    dry_mg: int
    water_mg: int
    moisture_wet_ppm: int
    moisture_dry_ppm: int
    added_water_ppm: int


@dataclass(frozen=True)
class SpawnRate:
    """One bag's spawn on the four bases in use; growers mean any of them by "the rate"."""

    of_wet_substrate_ppm: int
    of_finished_bag_ppm: int
    of_dry_substrate_ppm: int
    dry_of_dry_ppm: int


@dataclass(frozen=True)
class Efficiency:
    """Biological efficiency with the basis that it was divided by."""

    rate_ppm: int
    basis: str


def mix(ingredients: Sequence[Portion], water_mg: int) -> Mix:
    """Mix ingredients and water, and state what comes out.

    2 lb at 8 % moisture and 3 lb of water are 60.0 % added water, but 63.2 % moist.
    Dry matter is rounded half to even and water is the rest, so that both add up to the total.
    """
    total_mg = _mass_mg(ingredients) + Portion(water_mg).mass_mg
    dry_mg = _dry_mg(ingredients)
    return Mix(
        total_mg=total_mg,
        dry_mg=round(dry_mg),
        water_mg=total_mg - round(dry_mg),
        moisture_wet_ppm=_share_ppm(total_mg - dry_mg, total_mg, "mix"),
        moisture_dry_ppm=_share_ppm(total_mg - dry_mg, dry_mg, "dry matter of the mix"),
        added_water_ppm=_share_ppm(water_mg, total_mg, "mix"),
    )


def water_for_target(ingredients: Sequence[Portion], target_ppm: int) -> int:
    """Return the milligrams of water to add for a moisture on the wet basis.

    10 kg at 8 % moisture need 13 kg of water to reach 60 %: 9.2 kg dry / 0.4 - 10 kg.
    """
    _check_moisture(target_ppm)
    water_mg = _dry_mg(ingredients) / _dry_share(target_ppm) - _mass_mg(ingredients)
    if water_mg < 0:
        raise UnitError(
            f"The ingredients already hold more water than {_percent(target_ppm)} (wet basis): "
            "aim higher, or use drier ingredients."
        )
    return round(water_mg)


def spawn_rate(spawn: Portion, substrate: Portion) -> SpawnRate:
    """Return the spawn rate on all its bases.

    226.8 g of spawn (50 % moist) in 2268 g of substrate (60 % moist) is 10.0 % of the wet
    substrate, 9.09 % of the finished bag, 25.0 % of the dry substrate, and 12.5 % dry to dry.
    """
    bag_mg = substrate.mass_mg + spawn.mass_mg
    return SpawnRate(
        of_wet_substrate_ppm=_share_ppm(spawn.mass_mg, substrate.mass_mg, "substrate"),
        of_finished_bag_ppm=_share_ppm(spawn.mass_mg, bag_mg, "bag"),
        of_dry_substrate_ppm=_share_ppm(spawn.mass_mg, substrate.dry_mg, "dry substrate"),
        dry_of_dry_ppm=_share_ppm(spawn.dry_mg, substrate.dry_mg, "dry substrate"),
    )


def dried_mass(fresh: Portion, dried_moisture_ppm: int) -> int:
    """Return the milligrams that are left when fresh mushrooms are dried to a moisture.

    The dry matter stays: 10 kg at 89.18 % dried to 9.5 % weigh 10 x 0.1082 / 0.905 = 1.1956 kg.
    """
    _check_moisture(dried_moisture_ppm)
    return round(fresh.dry_mg / _dry_share(dried_moisture_ppm))


def fresh_per_dried(fresh_mg: int, dried_mg: int) -> int:
    """Return the fresh to dried ratio of one drying in ppm: 8,364,000 reads 8.364 to 1."""
    return _share_ppm(fresh_mg, dried_mg, "dried weight")


def plausible_dried_range(fresh: Portion) -> tuple[int, int]:
    """Return the least and most milligrams that a drying of this lot can believably give.

    From 2 % moisture to 15 %; outside it the page asks again, and never corrects in silence.
    """
    return dried_mass(fresh, DRIEST_PPM), dried_mass(fresh, DAMPEST_PPM)


def biological_efficiency(
    fresh_mg: int, substrate: Portion, spawn: Portion | None = None
) -> Efficiency:
    """Return fresh mushrooms over dry substrate, of all flushes and all blocks given.

    With `spawn` its dry matter counts in the divisor too, and the basis says so:
    published figures differ in this. 250 g from 275 g of dry substrate is 90.91 %.
    """
    if spawn is None:
        rate_ppm = _share_ppm(fresh_mg, substrate.dry_mg, "dry substrate")
        return Efficiency(rate_ppm, "dry substrate, spawn left out")
    divisor_mg = substrate.dry_mg + spawn.dry_mg
    rate_ppm = _share_ppm(fresh_mg, divisor_mg, "dry substrate")
    return Efficiency(rate_ppm, "dry substrate and dry spawn")


def _mass_mg(portions: Sequence[Portion]) -> int:
    return sum(portion.mass_mg for portion in portions)


def _dry_mg(portions: Sequence[Portion]) -> Fraction:
    return sum((portion.dry_mg for portion in portions), Fraction(0))


def _dry_share(moisture_ppm: int) -> Fraction:
    return Fraction(PPM - moisture_ppm, PPM)


def _share_ppm(part: int | Fraction, whole: int | Fraction, what: str) -> int:
    if whole == 0:
        raise UnitError(f"The {what} weighs nothing, so nothing can be divided by it: weigh it.")
    return round(Fraction(part) * PPM / Fraction(whole))


def _check_moisture(moisture_ppm: int) -> None:
    if not 0 <= moisture_ppm < PPM:
        raise UnitError(
            f"{_percent(moisture_ppm)} is not a moisture on the wet basis: type 0 or more and "
            "less than 100 % (the dry basis can be more: divide it by itself plus 100 %)."
        )


def _percent(share_ppm: int) -> str:
    return f"{Decimal(share_ppm).scaleb(-4).normalize():f} %"
