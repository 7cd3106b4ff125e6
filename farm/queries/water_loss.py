"""What picked mushrooms lose as water in the fridge a day: the farm's own weighings, or a belief.

Of each weighing the daily rate is 1 - (weight / weight before) ^ (1 / days). The median of these
rates is the figure, since one slip of the scale does not move it; eight in ten of them lie in the
band. What somebody gave a cause for is no water and is left out, and so is what was corrected.
Rates are statistics, kept in whole parts per million, and never enter the book: what a weighing
may write off as water is the species' own figure.
"""

import json
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from statistics import median, quantiles

from farm.beliefs import USUAL_OF_ALLOWED_PPM
from farm.models import Species, Stage
from ledger.models import Entry, Line

MILLION = 1_000_000
ENOUGH = 10  # weighings of a species before its own figure is used: own rule
WEIGHED = "weigh again"
UNEXPLAINED = "unexplained"


@dataclass(frozen=True)
class WaterLoss:
    """``rate_ppm`` a day, ``low_ppm`` to ``high_ppm`` its band; ``weighings``: how many there are.

    ``is_own``: enough of them, so that the figures are the farm's own.
    """

    rate_ppm: int
    low_ppm: int
    high_ppm: int
    weighings: int
    is_own: bool

    @property
    def source(self) -> str:
        if self.is_own:
            return f"own: {self.weighings} weighings"
        return f"a belief; own from {ENOUGH} weighings on, {self.weighings} so far"

    def after(self, mass_mg: int, days: int) -> int:
        """What should be left of a weight, rounded half up."""
        return _left(mass_mg, self.rate_ppm, days)

    def least_after(self, mass_mg: int, days: int) -> int:
        return _left(mass_mg, self.high_ppm, days)

    def most_after(self, mass_mg: int, days: int) -> int:
        return _left(mass_mg, self.low_ppm, days)


def water_losses() -> dict[int, WaterLoss]:
    """The loss of each species loose in crates, by its key; four queries, however many weighings.

    1.0, 1.2 and 1.1 % a day would come to 1.1 %, were three enough.
    """
    rates = _daily_rates()
    return {one.pk: loss_from(rates.get(one.pk, []), one) for one in Species.objects.all()}


def loss_from(rates_ppm: list[int], species: Species) -> WaterLoss:
    """Work out the loss from daily rates; below `ENOUGH` the belief stands.

    The belief: half of what the species may lose, between nothing and all of that.
    """
    found = len(rates_ppm)
    if found < ENOUGH:
        most = species.water_loss_ppm
        return WaterLoss(most * USUAL_OF_ALLOWED_PPM // MILLION, 0, most, found, is_own=False)
    tenths = quantiles(rates_ppm, n=10, method="inclusive")
    return WaterLoss(
        round(median(rates_ppm)), round(tenths[0]), round(tenths[-1]), found, is_own=True
    )


def daily_rate(before_mg: int, weight_mg: int, days: int) -> int:
    """The loss a day in ppm, rounded: 10 kg that weigh 9.604 after 2 days lost 2 % a day."""
    return round((1 - (weight_mg / before_mg) ** (1 / days)) * MILLION)


def _daily_rates() -> Mapping[int, list[int]]:
    """The rates of all weighings that stand as they were written, by species."""
    entries = Entry.objects.filter(kind=WEIGHED, amends=None, amendments=None)
    said = dict(entries.values_list("pk", "particulars"))
    reasons = dict(entries.values_list("pk", "reason"))
    lines = Line.objects.filter(entry__in=entries, lot__card__stage=Stage.CROP)
    species = dict(lines.values_list("entry_id", "lot__card__species"))
    rates: dict[int, list[int]] = defaultdict(list)
    for entry, of_species in species.items():
        read = json.loads(said[entry])
        before, days = read["book_mg"], read["days"]
        weight = min(read["weight_mg"], before)  # a scale's last digit is no growth
        beyond = before - weight > read["band_mg"]
        explained = beyond and reasons[entry] not in ("", UNEXPLAINED)
        if days > 0 and weight > 0 and not explained:
            rates[of_species].append(daily_rate(before, weight, days))
    return rates


def _left(mass_mg: int, rate_ppm: int, days: int) -> int:
    part: int = (MILLION - rate_ppm) ** days
    whole: int = MILLION**days
    left: int = (mass_mg * part + whole // 2) // whole
    return left
