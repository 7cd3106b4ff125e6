"""What happened to the lots of a trace: runs, sales, loads, losses, and who did what when."""

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import QuerySet, Sum

from farm.models import LoadLine, Person, Sale, the_farm
from farm.queries.finding import Amount, amount_in
from ledger.models import Entry, Flow, Line, Lot, Role
from ledger.tracing import Carried

RUN_KIND = "steriliser run"
Codes = Mapping[int, str]


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
class Loaded:
    """A lot that was loaded for a stall and not wholly brought back, as far as is known.

    A sale by product is put on the oldest lots, so each lot loaded may have been sold that day.
    """

    day: date
    place: str
    lot_code: str
    name: str
    loaded: Amount
    sold: Amount
    settled: bool


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
class Work:
    """An entry that made or treated lots of the trace: what, when, by whom, when recorded."""

    entry: int
    at: datetime
    what: str
    lot_codes: tuple[str, ...]
    by: str
    recorded_at: datetime
    corrected: bool


def runs_of(codes: Codes) -> tuple[Run, ...]:
    """Find the runs through the lines without quantity of what was in them; three queries."""
    entries, lots = _entries_on(codes, kind=RUN_KIND)
    initials, zone = _initials(), the_farm().zone
    runs = []
    for entry in entries:
        said = json.loads(entry.particulars)
        runs.append(
            Run(
                entry=entry.seq,
                at=entry.happened_at.astimezone(zone),
                steriliser=said["steriliser"],
                minutes=said["minutes_at_temperature"],
                gauge_pa=said["gauge_pa"],
                temperature_milli_c=said["temperature_milli_c"],
                lot_codes=tuple(lots[entry.seq]),
                by=initials.get(entry.by, ""),
            )
        )
    return tuple(runs)


def works_on(codes: Codes) -> tuple[Work, ...]:
    """List the standing entries that made or treated the lots, in order; three queries."""
    entries, lots = _entries_on(codes)
    initials, zone = _initials(), the_farm().zone
    return tuple(
        Work(
            entry=entry.seq,
            at=entry.happened_at.astimezone(zone),
            what=entry.kind,
            lot_codes=tuple(lots[entry.seq]),
            by=initials.get(entry.by, ""),
            recorded_at=entry.recorded_at.astimezone(zone),
            corrected=bool(entry.amendments.all()),
        )
        for entry in entries
    )


def _entries_on(codes: Codes, **of: str) -> tuple[list[Entry], dict[int, list[str]]]:
    """Standing entries with bought or made lines of some lots, and which lots each."""
    rows = Line.objects.filter(lot__in=codes, role__in=(Role.BOUGHT, Role.MADE)).order_by("pk")
    lots: dict[int, list[str]] = defaultdict(list)
    for place, lot in rows.values_list("entry__place", "lot_id"):
        if codes[lot] not in lots[place]:
            lots[place].append(codes[lot])
    entries = Entry.objects.filter(seq__in=lots, **of).exclude(amendments__takes_back=True)
    return list(entries.order_by("seq").prefetch_related("amendments")), lots


def sales_of(
    codes: Codes,
    *,
    certain: Iterable[int],
    carried: Carried | None = None,
    asked: Lot | None = None,
) -> tuple[SoldTo, ...]:
    """Say who received what, and what came back; four queries. Shares only of one lot asked for."""
    sure = set(certain)
    shares = carried.sold if carried else {}
    flows = Flow.objects.filter(lot__in=codes, role__in=(Role.SOLD, Role.BACK)).exclude(quantity=0)
    rows = list(flows.select_related("lot__item", "entry").order_by("entry_id", "pk"))
    sales = _sales(codes)
    sold = []
    for flow in rows:
        sale = sales.get((flow.lot_id, flow.entry_id))
        customer = sale.customer if sale else None
        sold.append(
            SoldTo(
                entry=flow.entry_id,
                day=flow.entry.happened_on,
                what="sold" if flow.role == Role.SOLD else "came back",
                name=flow.lot.item.name,
                customer_id=customer.pk if customer else None,
                customer_number=customer.number if customer else "",
                customer=customer.name if customer else "",
                contact=customer.contact if customer else "",
                place=sale.place.name if sale else "",
                at_stall=bool(sale and sale.stall_day_id),
                lot_code=codes[flow.lot_id],
                amount=amount_in(flow.lot, -flow.quantity),
                share=amount_in(asked or flow.lot, shares.get((flow.lot_id, flow.entry_id), 0)),
                certain=flow.lot_id in sure,
            )
        )
    return tuple(sold)


def _sales(lots: Iterable[int]) -> dict[tuple[int, int], Sale]:
    """The sale behind each (lot, entry); what came back belongs to its sale."""
    lines = Line.objects.filter(lot__in=list(lots), role__in=(Role.SOLD, Role.BACK))
    rows = list(lines.values_list("lot_id", "entry__place", "returns__entry__place"))
    places = {returned or place for _, place, returned in rows}
    sales = Sale.objects.filter(entry__in=places).select_related("place", "customer")
    by_entry = {sale.entry_id: sale for sale in sales}
    return {
        (lot, place): by_entry[returned or place]
        for lot, place, returned in rows
        if (returned or place) in by_entry
    }


def loads_of(codes: Codes) -> tuple[Loaded, ...]:
    """List loads of the lots of which not all came back, as far as is known; four queries."""
    lines = LoadLine.objects.filter(lot__in=codes).exclude(
        stall_day__entry__amendments__takes_back=True
    )
    rows = list(
        lines.select_related("lot__item", "stall_day__place").order_by("stall_day__day", "pk")
    )
    days = [line.stall_day_id for line in rows]
    standing = Sale.objects.filter(stall_day__in=days).exclude(entry__amendments__takes_back=True)
    sales = {sale.stall_day_id: sale for sale in standing.select_related("entry")}
    gone = _gone(sales.values())
    loads = []
    for line in rows:
        sale = sales.get(line.stall_day_id)
        if sale and not _may_be_sold(sale, line.lot, gone):
            continue  # wholly brought back
        sold = gone[sale.entry_id, line.lot_id] if sale else (0, 0)
        loads.append(
            Loaded(
                day=line.stall_day.day,
                place=line.stall_day.place.name,
                lot_code=codes[line.lot_id],
                name=line.lot.item.name,
                loaded=amount_in(line.lot, line.quantity),
                sold=amount_in(line.lot, sold[0]),
                settled=sale is not None,
            )
        )
    return tuple(loads)


Gone = Mapping[tuple[int, int], tuple[int, int]]


def _gone(sales: Iterable[Sale]) -> Gone:
    """What was sold of a lot at a settling, and what was sold or given away; two queries."""
    found: dict[tuple[int, int], tuple[int, int]] = defaultdict(lambda: (0, 0))
    entries = {sale.pk: sale.entry_id for sale in sales}
    rows = Flow.objects.filter(entry__in=entries.values(), role=Role.SOLD)
    for entry, lot, total in _totals(rows, "entry_id"):
        found[entry, lot] = (total, total)
    given = Flow.objects.filter(entry__given_away__sale__in=entries, role=Role.LOST)
    for sale, lot, total in _totals(given, "entry__given_away__sale"):
        sold, so_far = found[entries[sale], lot]
        found[entries[sale], lot] = (sold, so_far + total)
    return found


def _totals(flows: QuerySet[Flow], by: str) -> Iterable[tuple[int, int, int]]:
    sums = flows.values_list(by, "lot_id").annotate(total=Sum("quantity")).order_by()
    return [(key, lot, -total) for key, lot, total in sums]


def _may_be_sold(sale: Sale, lot: Lot, gone: Gone) -> bool:
    """Say whether some of a loaded lot may have left the stall.

    Of lots whose return was counted together any may be the one sold, whichever it was put on.
    """
    if gone[sale.entry_id, lot.pk][1]:
        return True
    together = json.loads(sale.entry.particulars).get("counted_together", [])
    if lot.code not in together:
        return False
    alike = Lot.objects.filter(code__in=together, item=lot.item_id).values_list("pk", flat=True)
    return any(gone[sale.entry_id, other][1] for other in alike)


def losses_of(
    codes: Codes, carried: Carried | None = None, asked: Lot | None = None
) -> tuple[Lost, ...]:
    """List what was lost, thrown away or gone as water; one query.

    What was left over on an emptied lot (stranded) is listed only where it takes a share along.
    """
    roles = (Role.LOST, Role.SHRUNK, Role.STRANDED)
    flows = Flow.objects.filter(lot__in=codes, role__in=roles).select_related("lot__item", "entry")
    shares = dict(carried.lost) if carried else {}
    losses = []
    for flow in flows.order_by("entry_id", "lot_id", "pk"):
        is_water = flow.role == Role.SHRUNK
        share = 0 if is_water else shares.pop((flow.lot_id, flow.entry_id), 0)
        if flow.quantity or share:
            losses.append(
                Lost(
                    entry=flow.entry_id,
                    day=flow.entry.happened_on,
                    what="water" if is_water else flow.entry.kind,
                    name=flow.lot.item.name,
                    reason=flow.entry.reason,
                    lot_code=codes[flow.lot_id],
                    amount=amount_in(flow.lot, -flow.quantity),
                    share=amount_in(asked or flow.lot, share),
                )
            )
    return tuple(losses)


def _initials() -> dict[int, str]:
    """Who signs how; the book itself holds only numbers."""
    return dict(Person.objects.values_list("pk", "initials"))
