"""Drying runs: what went in and came out, and what the moistures say that it should have weighed.

The dry matter stays, so out = in x (1 - water fresh) / (1 - water dried), both on the wet basis.
"""

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from django.db.models import QuerySet

from farm.kinds import store
from farm.kinds.store import DRY
from farm.models import Species, Stage
from farm.moisture import PPM, Portion, dried_mass, fresh_per_dried
from ledger.models import Dimension, Entry, Flow, Lot, Role

# What dried mushrooms are believed to hold still, wet basis: 8 to 12 %, common practice, no source.
DRIED_TO_PPM = 100_000
FRESH = (Stage.CROP, Stage.PACKS)


@dataclass(frozen=True)
class Drying:
    """One run as it stands, corrections worked in. ``sources``: the lots dried, and mg of each.

    ``fresh_moisture_ppm``: the species' water when it was recorded, wet basis.
    """

    entry: Entry
    lot: Lot
    species: Species
    sources: tuple[tuple[Lot, int], ...]
    dried_mg: int
    fresh_moisture_ppm: int
    temperature_milli_c: int
    minutes_drying: int
    slice_mm: int | None
    trays: int | None

    @property
    def fresh_mg(self) -> int:
        return sum(mass_mg for _, mass_mg in self.sources)

    @property
    def ratio_ppm(self) -> int:
        """Fresh for one dried; 8,364,000 reads 8.36 to 1."""
        return fresh_per_dried(self.fresh_mg, self.dried_mg)

    @property
    def expected_mg(self) -> int:
        """What it should weigh with a tenth of water left: 10 kg at 89.18 % come to 1.2022 kg."""
        return dried_mass(Portion(self.fresh_mg, self.fresh_moisture_ppm), DRIED_TO_PPM)

    @property
    def difference_mg(self) -> int:
        return self.dried_mg - self.expected_mg

    @property
    def left_ppm(self) -> int:
        """The water left in it, wet basis, rounded half to even; below 0, the fresh was wetter."""
        fresh = Portion(self.fresh_mg, self.fresh_moisture_ppm)
        return round(PPM - fresh.dry_mg * PPM / self.dried_mg)


def dryings(species: Species | None = None, first: date | None = None) -> list[Drying]:
    """Every run that stands, oldest first; of a species, from a day on; a few queries in all."""
    made = _made()
    if species is not None:
        made = made.filter(lot__card__species=species)
    if first is not None:
        made = made.filter(entry__happened_on__gte=first)
    return _complete(made)


def drying_of(lot: Lot) -> Drying | None:
    """The run that a dried lot came of, if it stands."""
    found = _complete(_made().filter(lot=lot))
    return found[0] if found else None


def drying_in(entry: Entry) -> Drying | None:
    """The run that an entry recorded, if it stands."""
    found = _complete(_made().filter(entry=entry))
    return found[0] if found else None


def implied_moisture(ratio_ppm: int) -> int:
    """The water that the fresh mushroom must have held, wet basis, for a ratio at a tenth left.

    9.5 to 1: 1 - 0.9 / 9.5 = 90.53 %.
    """
    return round(PPM - Fraction((PPM - DRIED_TO_PPM) * PPM, ratio_ppm))


def _made() -> QuerySet[Flow]:
    made = Flow.objects.filter(role=Role.MADE, lot__card__stage=Stage.DRIED, entry__kind=DRY)
    return made.filter(quantity__gt=0)


def _complete(made: QuerySet[Flow]) -> list[Drying]:
    flows = list(
        made.select_related("entry", "lot__item", "lot__card__species").order_by(
            "entry__happened_at", "entry_id"
        )
    )
    sources = _sources([flow.entry_id for flow in flows])
    return [_drying(flow, sources[flow.entry_id]) for flow in flows if sources[flow.entry_id]]


def _sources(entries: Collection[int]) -> dict[int, list[tuple[Lot, int]]]:
    """The fresh lots of each run with their weight; packs by what they declare."""
    used = Flow.objects.filter(
        entry__in=entries, role=Role.USED, lot__card__stage__in=FRESH, quantity__lt=0
    )
    found: dict[int, list[tuple[Lot, int]]] = defaultdict(list)
    for flow in used.select_related("lot__item").order_by("lot_id"):
        is_mass = flow.lot.item.dimension == Dimension.MASS
        each = 1 if is_mass else flow.lot.unit_mass_mg or 0
        found[flow.entry_id].append((flow.lot, -flow.quantity * each))
    return found


def _drying(flow: Flow, sources: list[tuple[Lot, int]]) -> Drying:
    said = store.Drying.read(flow.entry.particulars)
    species = flow.lot.card.species
    assert species is not None, "a dried lot has a species"
    return Drying(
        entry=flow.entry,
        lot=flow.lot,
        species=species,
        sources=tuple(sources),
        dried_mg=flow.quantity,
        fresh_moisture_ppm=(
            species.moisture_ppm if said.fresh_moisture_ppm is None else said.fresh_moisture_ppm
        ),
        temperature_milli_c=said.temperature_milli_c,
        minutes_drying=said.minutes_drying,
        slice_mm=said.slice_mm,
        trays=said.trays,
    )
