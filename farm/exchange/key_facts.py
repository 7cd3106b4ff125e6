"""What the traceability workbook takes from the book: as it stands, corrections worked in."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from farm.exchange.choosing import Asked, Places
from farm.kinds.growing import PICK
from farm.kinds.store import DRY, PACK
from farm.models import Farm, PlaceKind, Placing, Sale, SaleLine, Stage, the_farm
from ledger.models import Edge, Entry, Flow, Lot, Role

_CARD = ("species", "strain", "product__species", "supplier")


@dataclass(frozen=True)
class Went:
    """So much of one lot went into another, at an entry; ``made``: what the other came to."""

    entry: Entry
    src: Lot
    used: int
    dst: Lot
    made: int


@dataclass(frozen=True)
class Moved:
    """A lot came or went; ``sale``: the sale that it went out with, or came back from."""

    entry: Entry
    lot: Lot
    quantity: int
    sale: Sale | None


@dataclass(frozen=True)
class KeyFacts:
    """``areas``: where the blocks stood that a lot was picked from, by lot id."""

    farm: Farm
    harvested: tuple[Moved, ...]
    packed: tuple[Went, ...]
    transformed: tuple[Went, ...]
    shipped: tuple[Moved, ...]
    received: tuple[Moved, ...]
    areas: dict[int, str]


def key_facts(asked: Asked) -> KeyFacts:
    """Read everything; about fifteen queries, however many rows."""
    harvested = _moved(asked, role=Role.MADE, kind=PICK)
    went = _went(asked)
    packed = tuple(one for one in went if _is_first_packing(one))
    sold, back = (_trade(asked, role=role) for role in (Role.SOLD, Role.BACK))
    bought = _moved(asked, role=Role.BOUGHT)
    picked = [*(one.lot for one in harvested), *(one.src for one in packed)]
    return KeyFacts(
        farm=the_farm(),
        harvested=harvested,
        packed=packed,
        transformed=tuple(one for one in went if not _is_first_packing(one)),
        shipped=sold,
        received=tuple(sorted((*bought, *back), key=lambda one: one.entry.seq)),
        areas=_growing_areas(picked),
    )


def _is_first_packing(one: Went) -> bool:
    """Packing what was picked is; packing what was dried changes food that was made before."""
    return one.entry.kind == PACK and one.src.card.stage == Stage.CROP


def _went(asked: Asked) -> list[Went]:
    """What packing and drying put in and got out; packaging is not food and stays out."""
    edges = Edge.objects.filter(
        entry__in=asked.places,
        entry__kind__in=(PACK, DRY),
        src__card__stage__in=(Stage.CROP, Stage.DRIED, Stage.PACKS),
    ).select_related("entry", *_related("src"), *_related("dst"))
    rows = edges.order_by("entry_id", "dst_id", "src_id")
    made = Flow.objects.filter(entry__in=asked.places, role=Role.MADE)
    quantities = made.values_list("entry_id", "lot_id", "quantity")
    whole = {(place, lot): quantity for place, lot, quantity in quantities}
    return [
        Went(edge.entry, edge.src, edge.quantity, edge.dst, whole[edge.entry_id, edge.dst_id])
        for edge in rows
        if asked.is_about(edge.dst_id)
    ]


def _moved(asked: Asked, *, role: str, kind: str | None = None) -> tuple[Moved, ...]:
    flows = Flow.objects.filter(entry__in=asked.places, role=role).exclude(quantity=0)
    if kind:
        flows = flows.filter(entry__kind=kind)
    rows = flows.select_related("entry", *_related("lot")).order_by("entry_id", "lot_id")
    return tuple(
        Moved(flow.entry, flow.lot, abs(flow.quantity), None)
        for flow in rows
        if asked.is_about(flow.lot_id)
    )


def _trade(asked: Asked, *, role: str) -> tuple[Moved, ...]:
    """What went to kitchens and shops, or came back: who buys to eat is no recipient here."""
    sales = _sales(asked.places)
    return tuple(
        Moved(one.entry, one.lot, one.quantity, sale)
        for one in _moved(asked, role=role)
        if (sale := sales.get((one.entry.seq, one.lot.pk)))
        and sale.place.kind == PlaceKind.KITCHENS
    )


def _sales(places: Places) -> dict[tuple[int, int], Sale]:
    """The sale behind each entry and lot; money beside it is not looked at."""
    lines = SaleLine.objects.standing_at(places, "line__entry").order_by("-pk")
    rows = lines.select_related("line__entry", "sale__place", "sale__customer")
    return {(row.line.entry.place, row.line.lot_id): row.sale for row in rows}


def _growing_areas(lots: Iterable[Lot]) -> dict[int, str]:
    """Say where the blocks stood that lots were picked from, at the time; two queries."""
    edges = Edge.objects.filter(dst__in={lot.pk for lot in lots})
    rows = list(edges.values_list("dst_id", "src_id", "entry_id").order_by("entry_id", "pk"))
    stood = _placings({src for _, src, _ in rows})
    areas: dict[int, dict[str, None]] = defaultdict(dict)
    for dst, src, at in rows:
        before = [shelf for entry, shelf in stood[src] if entry < at]
        if before:
            areas[dst][before[-1]] = None
    return {dst: "; ".join(found) for dst, found in areas.items()}


def _placings(lots: set[int]) -> dict[int, list[tuple[int, str]]]:
    placings = Placing.objects.filter(lot__in=lots).select_related("shelf__room")
    standing = placings.standing().order_by("entry_id", "pk")
    found: dict[int, list[tuple[int, str]]] = defaultdict(list)
    for placing in standing:
        found[placing.lot_id].append((placing.entry_id, str(placing.shelf)))
    return found


def _related(name: str) -> list[str]:
    return [f"{name}__item", f"{name}__made_by", *(f"{name}__card__{fact}" for fact in _CARD)]
