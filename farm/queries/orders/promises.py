"""What may be promised for a day: what is there, what is to be picked, and how sure that is."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import F, Window
from django.db.models.functions import RowNumber

from farm.models import (
    Grade,
    Loose,
    LooseGoods,
    LotCard,
    Order,
    OrderLine,
    Product,
    Stage,
    Strain,
)
from farm.queries.growing.block_lots import block_lots
from farm.queries.growing.block_picks import Picks, is_near, picks_of
from farm.queries.lives import begun_on
from farm.queries.orders.allocations import keeps
from farm.queries.orders.orders import (
    DueOrder,
    days_of,
    due_among,
    due_between,
    is_fresh_line,
    mass_mg,
    species_of,
)
from farm.queries.stock import all_lots
from ledger.amounts import MILLION
from ledger.models import Lot

NEWEST = 24  # finished block lots that are asked how sure a coming pick is
Served = tuple[int, str, str]  # a species, its state, its grade
PLANNED = (Loose.FRESH, Grade.FIRSTS)  # a flush is planned, and packed, as fresh firsts
Record = tuple[int, int]  # what a finished lot gave, in ppm of plan, and how many days late


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
    """A line's species, state and grade on the day that leaves least of it: all in milligrams.

    ``there`` is on hand and keeps until then, ``coming`` is planned to be picked until then, and
    ``taken`` is promised until then, the line itself included where it is an order already.
    ``records``: of finished lots, by strain.
    """

    due: date
    there_mg: int
    coming: tuple[Coming, ...]
    taken_mg: int
    records: Mapping[int, Sequence[Record]]

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

    @property
    def sureness(self) -> Sureness | None:
        """How often finished lots gave that much in time; None where nothing must be picked."""
        if not self.of_picks_mg or not self.coming_mg:
            return None
        share_ppm = -(-self.of_picks_mg * MILLION // self.coming_mg)
        slack = min((self.due - one.day).days for one in self.coming)
        strains = {one.strain.pk for one in self.coming}
        records = [record for pk in strains for record in self.records[pk]]
        kept = sum(ppm >= share_ppm and late <= slack for ppm, late in records)
        return Sureness(kept, len(records), share_ppm)


@dataclass(frozen=True)
class _Known:
    """Lots on hand, picks to come, what is promised by goods and day, records by strain."""

    lots: Sequence[Lot]
    coming: Sequence[Coming]
    taken: Mapping[Served, Mapping[date, int]]
    records: Mapping[int, Sequence[Record]]


@dataclass(frozen=True)
class Outlook:
    """An order on one of its days; what there will be for each line that is still short."""

    due: DueOrder
    promises: tuple[tuple[OrderLine, Promise], ...]


def outlooks(
    order: Order, among: Iterable[Order], *, span: tuple[date, date], today: date
) -> list[Outlook]:
    """Look at an order's days of a span; ``among`` all orders due from today on. Five queries."""
    first, last = span
    lines = order.lines.all()
    until = [bears_until(line, day) for day in days_of(order, *span) for line in lines]
    due = due_among(among, min(first, today), max(until, default=last))
    mine = [one for one in due if one.order == order and first <= one.day <= last]
    short = [
        (asked.line, one.day)
        for one in mine
        if one.is_open and one.day >= today
        for asked in one.asked
        if asked.missing
    ]
    found = list(zip(short, _promises(short, due, today), strict=True))
    return [
        Outlook(one, tuple((line, promise) for (line, day), promise in found if day == one.day))
        for one in mine
    ]


def promises(lines: Sequence[OrderLine], day: date, today: date) -> list[Promise]:
    """What there will be for each line on a day, and what is promised of it; eight queries."""
    due = due_between(today, max(bears_until(line, day) for line in lines))
    return _promises([(line, day) for line in lines], due, today)


def bears_until(line: OrderLine, day: date) -> date:
    """The last day of promises that bear on one for a day: what is fresh then keeps so long."""
    return day + timedelta(days=species_of(line).fridge_days if is_fresh_line(line) else 0)


# --- parts -----------------------------------------------------------------------------------


def _promises(
    asked: Sequence[tuple[OrderLine, date]], due: Iterable[DueOrder], today: date
) -> list[Promise]:
    """What is on hand and keeps until a day, and what is to be picked, less what is promised.

    It is the least of these from the day on, so that a promise made earlier for a later day keeps
    its goods. 10 kg on hand, 4 kg promised for Friday: 6 kg free for Thursday. ``due``: all
    orders, from today until the last day that bears on what is asked. Three queries.
    """
    if not asked:
        return []
    lots = list(all_lots().filter(quantity__gt=0, held=False))
    coming = _planned([lot for lot in lots if lot.card.stage == Stage.BLOCKS], today)
    records = _records({one.strain for one in coming})
    known = _Known(lots, coming, _taken(due, today), records)
    return [_least(line, day, known) for line, day in asked]


def _taken(due: Iterable[DueOrder], today: date) -> dict[Served, dict[date, int]]:
    """What is promised of each kind of goods for each day."""
    taken: dict[Served, dict[date, int]] = defaultdict(lambda: defaultdict(int))
    for one in due:
        for asked in one.asked if one.is_open and one.day >= today else ():
            taken[_served_from(asked.line)][one.day] += mass_mg(asked.line, asked.missing)
    return taken


def _least(line: OrderLine, day: date, known: _Known) -> Promise:
    """Find the day, from the one asked for on, that leaves least."""
    goods = _served_from(line)
    last = bears_until(line, day)
    promised = {when: mass for when, mass in known.taken.get(goods, {}).items() if when <= last}
    mine = [lot for lot in known.lots if _is_of(lot, goods)]
    picks = [one for one in known.coming if (one.strain.species_id, *PLANNED) == goods]
    found = [
        Promise(
            until,
            sum(_mass_of(lot) for lot in mine if keeps(lot, until)),
            tuple(one for one in picks if one.day <= until),
            sum(mass for when, mass in promised.items() if when <= until),
            known.records,
        )
        for until in sorted({day, *(when for when in promised if when > day)})
    ]
    return min(found, key=lambda one: one.free_mg)


def _served_from(line: OrderLine) -> Served:
    """Say what an order is served from: packs are made of fresh firsts, or of what is dried."""
    if line.product:
        return _of_product(line.product)
    assert line.species_id, "a line is of a product or of a species"
    return line.species_id, line.state, line.grade


def _of_product(product: Product) -> Served:
    what = LooseGoods.of(product.species, product.form)
    return what.species.pk, what.state, what.grade


def _is_of(lot: Lot, goods: Served) -> bool:
    """Say whether a lot can serve orders of such goods; what is loose can still be packed."""
    what = lot.card.goods
    if isinstance(what, Product):
        return _of_product(what) == goods
    return what is not None and (what.species.pk, what.state, what.grade) == goods


def _mass_of(lot: Lot) -> int:
    product = lot.card.product
    return lot.quantity * product.net_mg if product else lot.quantity


def _planned(blocks: Sequence[Lot], today: date) -> list[Coming]:
    """What blocks on hand are planned to give after today; two queries, and two more a split.

    A flush that is overdue is not counted: nobody knows whether it comes.
    """
    picks, begun = picks_of(blocks), begun_on(blocks)
    return [
        Coming(lot.card.strain, when, mass_mg)
        for lot in blocks
        if lot.card.strain
        for when, mass_mg in _of_blocks(lot, begun[lot.pk], picks[lot.pk], today=today)
        if today < when and mass_mg
    ]


def _of_blocks(lot: Lot, begun: date, picks: Picks, *, today: date) -> Iterator[tuple[date, int]]:
    """When blocks are planned to give a flush, and how much: the rest of the one being picked, too.

    That rest counts for the next day while a pick then would still be of that flush.
    """
    strain = lot.card.strain
    assert strain
    gap, good_ppm, flush = timedelta(days=strain.flush_gap_days), MILLION, 0
    when = begun + timedelta(days=strain.first_pick_days)
    if picks:
        last = max(picks, key=lambda one: (one.flush, one.day))
        flush, when, tomorrow = last.flush, last.day + gap, today + timedelta(days=1)
        if is_near(last, tomorrow, gap_days=strain.flush_gap_days):
            given_mg = sum(one.a_block_mg for one in picks if one.flush == flush)
            yield tomorrow, max(0, int((strain.planned_mg(flush) - given_mg) * lot.quantity))
    else:
        good_ppm -= strain.planned_loss_ppm
    for per_block_mg in strain.flushes_mg[flush:]:
        yield when, per_block_mg * lot.quantity * good_ppm // MILLION
        when += gap


def _records(strains: Collection[Strain]) -> dict[int, list[Record]]:
    """Of each strain's newest finished block lots: the share of plan they gave, and how late.

    All that a lot gave a block started, over all that is planned of one; in ppm, rounded down. Late
    by the day of its first pick. What was split off counts with what its blocks gave before. One
    query, and one more a generation of wholes that are not among them.
    """
    finished = LotCard.objects.filter(stage=Stage.BLOCKS, strain__in=strains, lot__quantity=0)
    newest = Window(RowNumber(), partition_by="strain", order_by=F("lot").desc())
    ranked = finished.annotate(newest=newest).filter(newest__lte=NEWEST)
    known = {strain.pk: strain for strain in strains}
    found: dict[int, list[Record]] = {pk: [] for pk in known}
    for lot in block_lots(ranked.values("lot")).values():
        strain = known[lot.strain or 0]
        planned = lot.started * sum(strain.flushes_mg)
        first = min((pick.day for pick in lot.picks if pick.flush == 1), default=None)
        late = (first - lot.begun_on).days - strain.first_pick_days if first else MILLION
        found[strain.pk].append((lot.given * MILLION // planned if planned else 0, late))
    return found
