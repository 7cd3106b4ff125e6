"""What may be promised for a day: what is there, what is to be picked, and how sure that is."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property

from django.db.models import Min, Sum

from farm.models import Grade, LotCard, OrderLine, Species, Stage, Strain
from farm.queries.allocations import keeps
from farm.queries.orders import due_between, is_fresh_line, mass_mg, species_of
from farm.queries.stock import lots_on_hand
from farm.queries.yields import block_counts
from ledger.amounts import MILLION
from ledger.models import Edge, Line, Lot, Role

NEWEST = 24  # finished block lots that are asked how sure a coming pick is


@dataclass(frozen=True)
class Coming:
    """A flush that is planned of blocks on hand: on which day, and what it is planned to give."""

    strain: Strain
    day: date
    mass_mg: int


@dataclass(frozen=True)
class Sureness:
    """``kept`` of ``of`` finished block lots gave, in time, the ``share_ppm`` of plan needed."""

    kept: int
    of: int
    share_ppm: int


@dataclass(frozen=True)
class Promise:
    """A line's species and form on the day that leaves least of it: all in milligrams.

    ``there`` is on hand and keeps until then, ``coming`` is planned to be picked until then, and
    ``taken`` is promised until then, the line itself included where it is an order already.
    """

    due: date
    there_mg: int
    coming: tuple[Coming, ...]
    taken_mg: int

    @property
    def coming_mg(self) -> int:
        return sum(one.mass_mg for one in self.coming)

    @property
    def free_mg(self) -> int:
        """Free to be promised; below zero where more is promised than there will be."""
        return self.there_mg + self.coming_mg - self.taken_mg

    @property
    def of_picks_mg(self) -> int:
        """How much of what is promised must still be picked."""
        return max(0, self.taken_mg - self.there_mg)

    @cached_property
    def sureness(self) -> Sureness | None:
        """How often finished lots gave that much in time; None where nothing must be picked."""
        if not self.of_picks_mg or not self.coming_mg:
            return None
        share_ppm = -(-self.of_picks_mg * MILLION // self.coming_mg)
        slack = min((self.due - one.day).days for one in self.coming)
        records = _records({one.strain for one in self.coming})
        kept = sum(ppm >= share_ppm and late <= slack for ppm, late in records)
        return Sureness(kept, len(records), share_ppm)


def promise(line: OrderLine, due: date, today: date) -> Promise:
    """What there will be for a line, and what is promised of it.

    What is on hand and still keeps on a day, and what is planned to be picked until then, less
    what is promised until then: the least of these from the day on, so that a promise made
    earlier for a later day keeps its goods. 10 kg on hand, 4 kg promised for Friday: 6 kg free
    for Thursday.
    """
    species, is_fresh = species_of(line), is_fresh_line(line)
    last = due + timedelta(days=species.fridge_days if is_fresh else 0)
    promised: dict[date, int] = defaultdict(int)
    for one in due_between(today, last):
        for asked in one.asked if one.is_open else ():
            if species_of(asked.line) == species and is_fresh_line(asked.line) == is_fresh:
                promised[one.day] += mass_mg(asked.line, asked.missing)
    lots = [lot for lot in lots_on_hand() if _is_of(lot, species.pk, is_fresh)]
    coming = planned(species, today, last) if is_fresh else []
    found = [
        Promise(
            day,
            sum(_mass_of(lot) for lot in lots if keeps(lot, day)),
            tuple(one for one in coming if one.day <= day),
            sum(mass for one, mass in promised.items() if one <= day),
        )
        for day in sorted({due, *(one for one in promised if one > due)})
    ]
    return min(found, key=lambda one: one.free_mg)


def planned(species: Species, today: date, last: date) -> list[Coming]:
    """What the blocks on hand are planned to give after today until a day, by their strain.

    A flush that is overdue is not counted: nobody knows whether it comes.
    """
    found = []
    for lot in lots_on_hand(Stage.BLOCKS):
        strain = lot.card.strain
        if lot.held or not strain or strain.species_id != species.pk:
            continue
        flush, picked_on = _last_flush(lot)
        when = picked_on + timedelta(days=strain.flush_gap_days) if picked_on else None
        when = when or lot.made_by.happened_on + timedelta(days=strain.first_pick_days)
        good_ppm = MILLION - (0 if picked_on else strain.planned_loss_ppm)
        for per_block_mg in strain.flushes_mg[flush:]:
            if today < when <= last:
                mass = per_block_mg * lot.quantity * good_ppm // MILLION
                found.append(Coming(strain, when, mass))
            when += timedelta(days=strain.flush_gap_days)
    return found


# --- parts -----------------------------------------------------------------------------------


def _is_of(lot: Lot, species_pk: int, is_fresh: bool) -> bool:
    """Say whether a lot can serve orders of a species; what is loose can still be packed."""
    card, product = lot.card, lot.card.product
    if lot.held or card.grade not in ("", Grade.FIRSTS):
        return False
    if product and card.stage == Stage.PACKS:
        return product.species_id == species_pk and (product.form == "fresh") == is_fresh
    stage = Stage.CROP if is_fresh else Stage.DRIED
    return card.species_id == species_pk and card.stage == stage


def _mass_of(lot: Lot) -> int:
    product = lot.card.product
    return lot.quantity * product.net_mg if product else lot.quantity


def _last_flush(lot: Lot) -> tuple[int, date | None]:
    """The last flush picked of a block lot, and when; one query."""
    picks = lot.edges_out.filter(dst__card__stage=Stage.CROP, dst__card__flush__isnull=False)
    last = picks.order_by("-dst__card__flush", "-dst__card__harvested_on").values_list(
        "dst__card__flush", "dst__card__harvested_on"
    )
    flush, day = last.first() or (0, None)
    return flush or 0, day


def _records(strains: set[Strain]) -> list[tuple[int, int]]:
    """Of the newest finished block lots: the share of plan they gave, and how many days late.

    All that a lot gave a block started, over all that is planned of one; in ppm, rounded down. Late
    by the day of its first pick. Four queries a strain.
    """
    found: list[tuple[int, int]] = []
    for strain in strains:
        cards = LotCard.objects.filter(stage=Stage.BLOCKS, strain=strain, lot__quantity=0)
        lots = list(cards.order_by("-lot").values_list("lot", "lot__made_by__happened_on")[:NEWEST])
        found += _records_of(strain, lots)
    return found


def _records_of(strain: Strain, lots: Sequence[tuple[int, date]]) -> list[tuple[int, int]]:
    pks = [lot for lot, _ in lots]
    given = Line.objects.filter(lot__in=pks, role=Role.USED).values_list("lot").order_by()
    weights = dict(given.annotate(Sum("given_mg")))
    picks = Edge.objects.filter(src__in=pks, dst__card__flush=1).values_list("src").order_by()
    first = dict(picks.annotate(Min("dst__card__harvested_on")))
    whole = sum(strain.flushes_mg)
    return [
        (
            (weights.get(lot) or 0) * MILLION // (started * whole) if started and whole else 0,
            (first[lot] - made).days - strain.first_pick_days if lot in first else MILLION,
        )
        for (lot, made), (started, _) in zip(lots, _counts(pks), strict=True)
    ]


def _counts(pks: Sequence[int]) -> list[tuple[int, int]]:
    counts = block_counts(pks)
    return [counts[pk] for pk in pks]
