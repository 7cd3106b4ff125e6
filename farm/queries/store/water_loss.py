"""What picked mushrooms lose as water in the fridge a day: the farm's own weighings, or a belief.

Of each weighing the daily rate is 1 - (weight / weight before) ^ (1 / days). The median of these
rates is the figure, since one slip of the scale does not move it; eight in ten of them lie in the
band. What somebody gave a cause for is no water and is left out, and so is what was corrected.
Rates are statistics, kept in whole parts per million, and never enter the book: what a weighing
may write off as water is the species' own figure.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum
from statistics import median, quantiles

from farm.beliefs import USUAL_OF_ALLOWED_PPM
from farm.kinds.store import CHECK_WEIGHTS, WEIGH_AGAIN, Packing, Weighing, Weights
from farm.models import Form, PackKind, Species, Stage
from ledger.models import Line, Role

MILLION = 1_000_000
ENOUGH = 10  # weighings of a species before its own figure is used: own rule
UNEXPLAINED = "unexplained"


class Kept(Enum):
    """How fresh mushrooms are kept; each loses water at its own rate."""

    LOOSE = "loose in crates"
    PACKED = "in open packs"


@dataclass(frozen=True)
class WaterLoss:
    """``rate_ppm`` a day, ``low_ppm`` to ``high_ppm`` its band; ``weighings``: how many there are.

    ``is_own``: enough of them, so that the figures are the farm's own; ``source`` says so.
    """

    rate_ppm: int
    low_ppm: int
    high_ppm: int
    weighings: int
    is_own: bool
    source: str = ""

    def after(self, mass_mg: int, days: int) -> int:
        """What should be left of a weight, rounded half up."""
        return _left(mass_mg, self.rate_ppm, days)

    def least_after(self, mass_mg: int, days: int) -> int:
        return _left(mass_mg, self.high_ppm, days)

    def most_after(self, mass_mg: int, days: int) -> int:
        return _left(mass_mg, self.low_ppm, days)


Losses = Mapping[Kept, Mapping[Species, WaterLoss]]


def water_losses() -> Losses:
    """The loss of each species as it is kept, by name; four queries, whatever their number.

    1.0, 1.2 and 1.1 % a day would come to 1.1 %, were three enough. Packs lose as crates do
    until enough of them were put on the scale some days after they were filled.
    """
    rates, packed = _daily_rates(), _packed_rates()
    every = Species.objects.all()
    loose = {one: loss_from(rates.get(one.pk, []), one) for one in every}
    packs = {one: _in_packs(packed.get(one.pk, []), loss) for one, loss in loose.items()}
    return {Kept.LOOSE: loose, Kept.PACKED: packs}


def loss_from(rates_ppm: Sequence[int], species: Species) -> WaterLoss:
    """Work out the loss from daily rates; below `ENOUGH` the belief stands.

    The belief: half of what the species may lose, between nothing and all of that.
    """
    found = len(rates_ppm)
    if found >= ENOUGH:
        return _own(rates_ppm, "weighings")
    most = species.water_loss_ppm
    usual = most * USUAL_OF_ALLOWED_PPM // MILLION
    source = f"a belief; own from {ENOUGH} weighings on, {found} so far"
    return WaterLoss(usual, 0, most, found, is_own=False, source=source)


def _in_packs(rates_ppm: Sequence[int], loose: WaterLoss) -> WaterLoss:
    """The packs' own loss, or that of the crates until there are enough check weights."""
    found = len(rates_ppm)
    if found >= ENOUGH:
        return _own(rates_ppm, CHECK_WEIGHTS)
    source = f"as in crates ({loose.source}); own from {ENOUGH} check weights on, {found} so far"
    return replace(loose, weighings=found, is_own=False, source=source)


def _own(rates_ppm: Sequence[int], of: str) -> WaterLoss:
    tenths = quantiles(rates_ppm, n=10, method="inclusive")
    return WaterLoss(
        round(median(rates_ppm)),
        round(tenths[0]),
        round(tenths[-1]),
        len(rates_ppm),
        is_own=True,
        source=f"own: {len(rates_ppm)} {of}",
    )


def daily_rate(before_mg: float, weight_mg: float, days: int) -> int:
    """The loss a day in ppm, rounded: 10 kg that weigh 9.604 after 2 days lost 2 % a day."""
    kept: float = (weight_mg / before_mg) ** (1 / days)
    return round((1 - kept) * MILLION)


def _daily_rates() -> Mapping[int, list[int]]:
    """The rates of all weighings that stand as they were written, by species; one query."""
    lines = Line.objects.filter(
        entry__kind=WEIGH_AGAIN,
        entry__amends=None,
        entry__amendments=None,
        lot__card__stage=Stage.CROP,
    ).values_list("entry_id", "entry__particulars", "entry__reason", "lot__card__species")
    # A weighing has more lines than one where more than water is missing.
    weighings = {entry: (said, why, species) for entry, said, why, species in lines}
    rates: dict[int, list[int]] = defaultdict(list)
    for said, why, species in weighings.values():
        read = Weighing.read(said)
        before, days = read.book_mg, read.days
        weight = min(read.weight_mg, before)  # a scale's last digit is no growth
        beyond = before - weight > read.band_mg
        explained = beyond and why not in ("", UNEXPLAINED)
        if days > 0 and weight > 0 and not explained:
            rates[species].append(daily_rate(before, weight, days))
    return rates


def _packed_rates() -> Mapping[int, list[int]]:
    """The rates of packs put on the scale a day or more after they were filled, by species.

    From the average that was filled in to the average that was weighed.
    """
    lines = Line.objects.filter(
        entry__kind=CHECK_WEIGHTS,
        entry__amends=None,
        entry__amendments=None,
        lot__card__product__form=Form.FRESH,
        lot__card__product__pack=PackKind.OPEN,
    ).select_related("entry", "lot__made_by", "lot__card")
    packs = dict(
        Line.objects.filter(role=Role.MADE, lot__in=[line.lot_id for line in lines]).values_list(
            "lot", "quantity"
        )
    )
    rates: dict[int, list[int]] = defaultdict(list)
    for line in lines:
        said = Weights.read(line.entry.particulars)
        drawn_mg = Packing.read(line.lot.made_by.particulars).drawn_mg
        days = (line.entry.happened_on - line.lot.made_by.happened_on).days
        if days > 0 and drawn_mg and packs.get(line.lot_id):
            before = drawn_mg / packs[line.lot_id]
            net = sum(said.gross_mg) / len(said.gross_mg) - said.tare_mg
            species = line.lot.card.species_id or 0
            rates[species].append(daily_rate(before, min(net, before), days))
    return rates


def _left(mass_mg: int, rate_ppm: int, days: int) -> int:
    part: int = (MILLION - rate_ppm) ** days
    whole: int = MILLION**days
    left: int = (mass_mg * part + whole // 2) // whole
    return left
