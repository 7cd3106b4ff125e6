"""What happened to the lots of a trace: runs, sales, loads, losses, and who did what when."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import NamedTuple

from django.db.models import Case, Exists, F, OuterRef, Q, Subquery, When

from farm.kinds import growing
from farm.kinds.growing import STERILISER_RUN
from farm.models import LoadLine, Person, Sale
from farm.queries.finding import Amount, amount_in
from farm.queries.tracing.loads_left import Loaded, loads_left
from ledger.models import Entry, Flow, Line, Lot, Role, taken_back
from ledger.tracing import Carried

Lots = Mapping[int, Lot]


class Moved(NamedTuple):
    """What an entry, as amended, did to a lot; ``sale``: the entry that what came back is of.

    ``given``: why it was given away, where it was; ``given_at``: the stall, where at one.
    """

    entry: int
    day: date
    recorded_at: datetime
    kind: str
    reason: str
    lot: int
    role: str
    quantity: int
    sale: int | None
    given: str | None
    given_at: str | None


@dataclass(frozen=True)
class Run:
    """A steriliser run that lots of the trace were in, with what was read."""

    entry: int
    at: datetime
    steriliser: str
    minutes: int
    gauge_pa: int | None
    temperature_milli_c: int | None
    lot_codes: tuple[str, ...]
    by: str


@dataclass(frozen=True)
class SoldTo:
    """One lot on one sale; what came back is a row of its own, below zero.

    ``share``: how much of the lot asked for is in it, in that lot's unit.
    """

    entry: int
    day: date
    recorded_at: datetime
    what: str
    name: str
    customer_id: int | None
    customer_number: str
    customer: str
    contact: str
    place: str
    at_stall: bool
    lot_code: str
    amount: Amount
    share: Amount
    certain: bool


@dataclass(frozen=True)
class Lost:
    entry: int
    day: date
    what: str
    name: str
    reason: str
    lot_code: str
    amount: Amount
    share: Amount


@dataclass(frozen=True)
class GivenAs:
    """Some of a lot given away for a reason (``why``); ``place``: the stall, where at one."""

    entry: int
    day: date
    recorded_at: datetime
    why: str
    place: str
    name: str
    lot_code: str
    amount: Amount
    share: Amount
    certain: bool


@dataclass(frozen=True)
class Work:
    """An entry that made or treated lots of the trace: what, when, by whom, when recorded."""

    entry: int
    at: datetime
    what: str
    lot_codes: tuple[str, ...]
    by: str
    recorded_at: datetime
    corrected: bool


@dataclass(frozen=True)
class Happened:
    """What became of lots outside the farm's own work."""

    sales: tuple[SoldTo, ...]
    loads: tuple[Loaded, ...]
    given: tuple[GivenAs, ...]
    losses: tuple[Lost, ...]


@dataclass(frozen=True)
class _Trade:
    """Sales by their entry, what was loaded, and by stall day the sale that settled it."""

    sales: Mapping[int, Sale]
    loaded: Sequence[LoadLine]
    settled: Mapping[int, Sale]


def moved_of(lots: Iterable[int]) -> tuple[Moved, ...]:
    """List all that moved some lots, in order; one query."""
    lines = Line.objects.standing_at(OuterRef("entry")).filter(lot=OuterRef("lot"), role=Role.BACK)
    sold = lines.exclude(returns=None).order_by("-pk").values("returns__entry__place")[:1]
    of_sale = Case(When(role=Role.BACK, then=Subquery(sold)), default=F("entry_id"))
    flows = Flow.objects.filter(lot__in=list(lots)).order_by("entry_id", "pk")
    rows = flows.annotate(of_sale=of_sale).values_list(
        "entry_id",
        "entry__happened_on",
        "entry__recorded_at",
        "entry__kind",
        "entry__reason",
        "lot_id",
        "role",
        "quantity",
        "of_sale",
        "entry__given_away__why",
        "entry__given_away__sale__place__name",
    )
    return tuple(Moved(*row) for row in rows)


# --- what was done ---------------------------------------------------------------------------


def works_on(lots: Lots, moved: Iterable[Moved]) -> tuple[tuple[Run, ...], tuple[Work, ...]]:
    """Find the standing entries that made or treated lots, with the runs apart; one query.

    What was in a run has a line without quantity there.
    """
    codes: dict[int, list[str]] = defaultdict(list)
    for row in moved:
        if row.role in (Role.BOUGHT, Role.MADE):
            codes[row.entry].append(lots[row.lot].code)
    standing = Entry.objects.filter(seq__in=list(codes)).standing()
    amended = Exists(Entry.objects.filter(amends=OuterRef("pk")))
    initials = Person.objects.filter(pk=OuterRef("by")).values("initials")
    works, runs = [], []
    for entry in standing.annotate(corrected=amended, initials=Subquery(initials)).order_by("seq"):
        by = entry.initials or ""
        work = Work(
            entry=entry.seq,
            at=entry.happened_at,
            what=entry.kind,
            lot_codes=tuple(codes[entry.seq]),
            by=by,
            recorded_at=entry.recorded_at,
            corrected=entry.corrected,
        )
        works.append(work)
        if entry.kind == STERILISER_RUN:
            runs.append(_run(work, growing.Run.read(entry.particulars)))
    return tuple(runs), tuple(works)


def _run(work: Work, said: growing.Run) -> Run:
    return Run(
        entry=work.entry,
        at=work.at,
        steriliser=said.steriliser,
        minutes=said.minutes_at_temperature,
        gauge_pa=said.gauge_pa,
        temperature_milli_c=said.temperature_milli_c,
        lot_codes=work.lot_codes,
        by=work.by,
    )


# --- what became of it -----------------------------------------------------------------------


def happened_to(
    lots: Lots,
    moved: Sequence[Moved],
    *,
    certain: Iterable[int] = (),
    carried: Carried | None = None,
    asked: Lot | None = None,
) -> Happened:
    """Say who received what, what was loaded and what was lost; at most four queries.

    ``carried``: the shares of the one lot ``asked`` for.
    """
    ours = [row for row in moved if row.lot in lots]
    carried = carried or Carried(0)
    trade, sure = _trade(lots, ours), set(certain)
    sales, given, others = [], [], []
    for row in ours:
        lot, key = lots[row.lot], (row.lot, row.entry)
        if row.role in (Role.SOLD, Role.BACK) and row.quantity:
            share = amount_in(asked or lot, carried.sold.get(key, 0))
            sale = trade.sales.get(row.sale or 0)
            sales.append(_sold(row, lot, sale, is_sure=row.lot in sure, share=share))
        elif row.role == Role.LOST and row.given:
            share = amount_in(asked or lot, carried.lost.get(key, 0))
            given += [_given(row, lot, is_sure=row.lot in sure, share=share)] * bool(row.quantity)
        else:
            others.append(row)
    losses = _losses(lots, others, carried=carried, asked=asked)
    loads = loads_left(lots, trade.loaded, trade.settled)
    return Happened(tuple(sales), loads, tuple(given), losses)


def _trade(lots: Lots, moved: Iterable[Moved]) -> _Trade:
    """Read the sales and loads of some lots; two queries."""
    lines = LoadLine.objects.filter(lot__in=list(lots)).standing("stall_day__entry")
    loaded = list(
        lines.select_related("stall_day__place", "stall_day__entry").order_by(
            "stall_day__day", "pk"
        )
    )
    entries = {row.sale for row in moved if row.role in (Role.SOLD, Role.BACK)}
    named = Q(entry__in=entries) | Q(stall_day__in={line.stall_day_id for line in loaded})
    gone = taken_back("entry")
    sales = Sale.objects.filter(named).annotate(taken_back=gone)
    found = list(sales.select_related("place", "customer", "entry"))
    settled = {
        sale.stall_day_id: sale for sale in found if sale.stall_day_id and not sale.taken_back
    }
    return _Trade({sale.entry_id: sale for sale in found}, loaded, settled)


def _sold(row: Moved, lot: Lot, sale: Sale | None, *, is_sure: bool, share: Amount) -> SoldTo:
    customer = sale.customer if sale else None
    return SoldTo(
        entry=row.entry,
        day=row.day,
        recorded_at=row.recorded_at,
        what="sold" if row.role == Role.SOLD else "came back",
        name=lot.item.name,
        customer_id=customer.pk if customer else None,
        customer_number=customer.number if customer else "",
        customer=customer.name if customer else "",
        contact=customer.contact if customer else "",
        place=sale.place.name if sale else "",
        at_stall=bool(sale and sale.stall_day_id),
        lot_code=lot.code,
        amount=amount_in(lot, -row.quantity),
        share=share,
        certain=is_sure,
    )


def _given(row: Moved, lot: Lot, *, is_sure: bool, share: Amount) -> GivenAs:
    return GivenAs(
        entry=row.entry,
        day=row.day,
        recorded_at=row.recorded_at,
        why=row.given or "",
        place=row.given_at or "",
        name=lot.item.name,
        lot_code=lot.code,
        amount=amount_in(lot, -row.quantity),
        share=share,
        certain=is_sure,
    )


def _losses(
    lots: Lots, moved: Iterable[Moved], *, carried: Carried, asked: Lot | None
) -> tuple[Lost, ...]:
    """List what was lost, thrown away or gone as water.

    What was left over on an emptied lot (stranded) is listed only where it takes a share along.
    """
    shares = dict(carried.lost)
    roles = (Role.LOST, Role.SHRUNK, Role.STRANDED)
    losses = []
    for row in sorted(moved, key=lambda row: (row.entry, row.lot)):
        if row.role not in roles:
            continue
        is_water, lot = row.role == Role.SHRUNK, lots[row.lot]
        share = 0 if is_water else shares.pop((row.lot, row.entry), 0)
        if row.quantity or share:
            losses.append(
                Lost(
                    entry=row.entry,
                    day=row.day,
                    what="water" if is_water else row.kind,
                    name=lot.item.name,
                    reason=row.reason,
                    lot_code=lot.code,
                    amount=amount_in(lot, -row.quantity),
                    share=amount_in(asked or lot, share),
                )
            )
    return tuple(losses)
