"""What is in which fridge, crate and jar: its age, its weight then and now, how long it keeps."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from fractions import Fraction
from itertools import chain

from django.db.models import Max, Q

from farm.kinds.store import PACK, WEIGH_AGAIN, Packing
from farm.models import Room, Shelf, Stage
from farm.queries.keeping import is_fresh, keeps_until
from farm.queries.records.store_temperatures import excursions, store_rooms
from farm.queries.stock import all_lots, shelf_of
from farm.queries.store.water_loss import Kept, Losses, WaterLoss
from ledger.models import Dimension, Entry, Line, Lot

STORED = (Stage.CROP, Stage.DRIED, Stage.PACKS)
WARM_DAYS = timedelta(days=14)
FAR = date.max


@dataclass(frozen=True)
class Stored:
    """A lot in store, in mg: ``weighed_mg`` is what the book holds of it, of packs what is in them.

    ``weighed_on``: when it was weighed last, or made. ``expected_mg`` lies between ``least_mg``
    and ``most_mg`` by the loss of its species; None where nothing dries away (jars, airtight
    packs). ``warm_milli_c``: the warmest it may have stood in lately, where that was too warm.
    """

    lot: Lot
    shelf: Shelf | None
    age_days: int
    weighed_mg: int
    weighed_on: date
    expected_mg: int | None
    least_mg: int | None
    most_mg: int | None
    keeps_until: date | None
    days_left: int | None
    warm_milli_c: int | None = None

    @property
    def is_short(self) -> bool:
        """Say whether packs should weigh less than they declare by now."""
        declared_mg = self.lot.quantity * (self.lot.unit_mass_mg or 0)
        return self.expected_mg is not None and self.expected_mg < declared_mg

    @property
    def urgency(self) -> tuple[date, bool, date, int]:
        """What goes first: what keeps least, then what stood warm, then the oldest."""
        return (self.keeps_until or FAR, self.warm_milli_c is None, self.weighed_on, self.lot.pk)


@dataclass(frozen=True)
class Place:
    """A shelf and what stands on it, what goes first leading; no shelf: where was not stated."""

    shelf: Shelf | None
    lots: tuple[Stored, ...]

    @property
    def name(self) -> str:
        return str(self.shelf) if self.shelf else "Place not stated"


def places_in_store(now: datetime, losses: Losses) -> list[Place]:
    """Every place with picked, dried or packed lots, by name; what has no place comes last."""
    by_shelf: dict[Shelf | None, list[Stored]] = defaultdict(list)
    for stored in stored_lots(now, losses):
        by_shelf[stored.shelf].append(stored)
    named = sorted((shelf for shelf in by_shelf if shelf), key=str)
    shelves = [*named, *([None] if None in by_shelf else [])]
    return [
        Place(shelf, tuple(sorted(by_shelf[shelf], key=lambda one: one.urgency)))
        for shelf in shelves
    ]


def stored_lots(now: datetime, losses: Losses, *, besides: Collection[int] = ()) -> list[Stored]:
    """Every lot in store on the local day of ``now``, what goes first leading.

    ``besides``: lots, by pk, that are listed although nothing is left of them.
    """
    there = Q(quantity__gt=0) | Q(pk__in=besides)
    lots = list(all_lots().filter(there, card__stage__in=STORED))
    shelves, weighed = shelf_of(lots), last_weighed(lots)
    filled, warm = _filled(lots), _warm(now)
    found = []
    for lot in lots:
        species = lot.card.species
        loss = losses[kept_of(lot)][species] if species else None
        weights = _Weights(weighed.get(lot.pk), filled.get(lot.pk), loss)
        shelf, stood = shelves.get(lot.pk), warm.get(lot.pk)
        found.append(_stored(lot, shelf, now.date(), weights=weights, warm=stood))
    return sorted(found, key=lambda one: one.urgency)


def places_in_use() -> tuple[list[Shelf | None], list[Room]]:
    """The shelves with something loose on them, and the rooms with anything at all; two queries.

    No shelf, at the end: of something loose the place is not stated.
    """
    lots = list(Lot.objects.filter(quantity__gt=0).select_related("card"))
    shelves = shelf_of(lots)
    loose = {shelves.get(lot.pk) for lot in lots if lot.card.stage == Stage.CROP}
    named = sorted((shelf for shelf in loose if shelf), key=str)
    rooms = sorted({shelf.room for shelf in shelves.values()}, key=str)
    return [*named, *([None] if None in loose else [])], rooms


def kept_of(lot: Lot) -> Kept:
    return Kept.PACKED if lot.card.stage == Stage.PACKS else Kept.LOOSE


def use_first(stored: Iterable[Stored]) -> dict[int, int]:
    """Number the lots of each product, or of each species as it is stored: 1 goes first."""
    seen: dict[object, int] = defaultdict(int)
    ranks = {}
    for one in sorted(stored, key=lambda one: one.urgency):
        card = one.lot.card
        kind = (card.stage, card.species_id, card.product_id)
        seen[kind] += 1
        ranks[one.lot.pk] = seen[kind]
    return ranks


def last_weighed(lots: Sequence[Lot]) -> dict[int, date]:
    """The last day on which each lot was weighed again; one query."""
    lines = Line.objects.filter(
        lot__in=[lot.pk for lot in lots], entry__kind=WEIGH_AGAIN, entry__amends=None
    ).standing()
    return dict(lines.values_list("lot").annotate(Max("entry__happened_on")).order_by())


@dataclass(frozen=True)
class _Weights:
    """When a lot was weighed last, what packs were filled with, and what it loses a day."""

    weighed_on: date | None
    filled_mg: int | None
    loss: WaterLoss | None


def _stored(
    lot: Lot, shelf: Shelf | None, day: date, *, weights: _Weights, warm: int | None
) -> Stored:
    card, made_on, loss = lot.card, lot.made_by.happened_on, weights.loss
    since = weights.weighed_on or made_on
    mass_mg = lot.quantity
    if lot.item.dimension != Dimension.MASS:
        mass_mg = weights.filled_mg or lot.quantity * (lot.unit_mass_mg or 0)
    days = max(0, (day - since).days)
    dries = is_fresh(card) and not _is_airtight(lot)
    until = keeps_until(card)
    return Stored(
        lot=lot,
        shelf=shelf,
        age_days=(day - (card.harvested_on or made_on)).days,
        weighed_mg=mass_mg,
        weighed_on=since,
        expected_mg=loss.after(mass_mg, days) if loss and dries else None,
        least_mg=loss.least_after(mass_mg, days) if loss and dries else None,
        most_mg=loss.most_after(mass_mg, days) if loss and dries else None,
        keeps_until=until,
        days_left=(until - day).days if until else None,
        warm_milli_c=warm if is_fresh(card) else None,
    )


def _is_airtight(lot: Lot) -> bool:
    return bool(lot.card.product and lot.card.product.pack == "airtight")


def _filled(lots: Sequence[Lot]) -> dict[int, int]:
    """What the packs on hand were filled with, in mg: their part of what was drawn, rounded."""
    packs = {lot.made_by_id: lot for lot in lots if lot.card.stage == Stage.PACKS}
    entries = Entry.objects.filter(pk__in=packs, kind=PACK).values_list("pk", "particulars")
    made = Line.objects.filter(entry__in=packs, lot__in=[lot.pk for lot in packs.values()])
    counts = dict(made.filter(role="made").values_list("lot", "quantity"))
    filled = {}
    for entry, particulars in entries:
        lot, drawn_mg = packs[entry], Packing.read(particulars).drawn_mg
        if drawn_mg and counts.get(lot.pk):
            filled[lot.pk] = round(Fraction(drawn_mg * lot.quantity, counts[lot.pk]))
    return filled


def _warm(now: datetime) -> dict[int, int]:
    """The highest reading of the last fortnight's excursions that each lot may have sat through."""
    found: dict[int, int] = {}
    first, last = now.date() - WARM_DAYS, now.date()
    for one in chain(*excursions(store_rooms(), first, last, now=now).values()):
        for through in one.lots:
            lot = through.lot.pk
            found[lot] = max(found.get(lot, one.worst_milli_c), one.worst_milli_c)
    return found
