"""Where a lot came from, and where it went: lots by stage, sales, loads, losses, runs, entries.

Back: everything behind the lot, with how much of each is in it. Forward: everything made of it,
what is still here and where, who received it, what was lost; these add up to the lot. A mixed lot
counts whole. *Certain* is what must hold some of it, *possible* what may (``ledger.tracing``).
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from django.db.models import Sum

from farm.models import LotCard, Stage
from farm.queries.finding import Amount, amount_in
from farm.queries.stock import shelf_of
from farm.queries.trace_events import (
    Loaded,
    Lost,
    Run,
    SoldTo,
    Work,
    loads_of,
    losses_of,
    runs_of,
    sales_of,
    works_on,
)
from farm.units import show_count
from ledger import waiting
from ledger.models import Edge, Flow, Lot, Role
from ledger.tracing import Carried, ancestors, composition, follow, reach

NOTHING = Amount(None, None)


@dataclass(frozen=True)
class TracedLot:
    """A lot of the trace. ``share``: back, how much of it is in the lot asked for, in its own unit;
    forward, how much of the lot asked for is still in it, in that lot's unit.
    """

    code: str
    name: str
    stage: Stage
    made_on: date
    made: Amount
    on_hand: Amount
    share: Amount
    certain: bool
    held: bool
    shelf: str
    supplier: str
    facts: str


@dataclass(frozen=True)
class TracedLink:
    """So much of one lot went into another."""

    src: str
    dst: str
    amount: Amount
    certain: bool


@dataclass(frozen=True)
class Trace:
    """One lot's way back or forward; ``whole``: all of it, in its own unit."""

    lot: TracedLot
    forward: bool
    whole: Amount
    lots: tuple[TracedLot, ...]
    links: tuple[TracedLink, ...]
    runs: tuple[Run, ...]
    sales: tuple[SoldTo, ...]
    loads: tuple[Loaded, ...]
    losses: tuple[Lost, ...]
    works: tuple[Work, ...]
    waiting: int


@dataclass(frozen=True)
class _Reached:
    """Lots in the order of making, which of them are certain, and the shares by lot."""

    order: tuple[int, ...]
    certain: frozenset[int]
    shares: dict[int, int]
    carried: Carried


def trace_of(lot: Lot, *, forward: bool) -> Trace:
    """Trace a lot one way; about twenty queries, however many lots are reached."""
    reached = _forward(lot) if forward else _back(lot)
    cards = cards_of(reached.order)
    shares = {
        pk: amount_in(lot if forward else card.lot, reached.shares.get(pk, 0))
        for pk, card in cards.items()
    }
    lots = traced_lots(cards, certain=reached.certain, shares=shares)
    codes = {pk: traced.code for pk, traced in lots.items()}
    sold_lots = codes if forward else {lot.pk: lot.code}
    return Trace(
        lot=lots[lot.pk],
        forward=forward,
        whole=amount_in(lot, reached.carried.total),
        lots=tuple(sorted(lots.values(), key=lambda traced: traced.stage)),
        links=links_between(cards, reached.certain),
        runs=runs_of(codes),
        sales=sales_of(sold_lots, certain=reached.certain, carried=reached.carried, asked=lot),
        loads=loads_of(sold_lots),
        losses=losses_of(sold_lots, reached.carried, lot),
        works=works_on(codes),
        waiting=waiting.about(reached.order).count(),
    )


def _forward(lot: Lot) -> _Reached:
    reached = reach([lot.pk])
    carried = follow(lot.pk)
    return _Reached(reached.lots, reached.certain, carried.on_hand, carried)


def _back(lot: Lot) -> _Reached:
    """Everything behind a lot; certain is what every unit of it must hold some of.

    The rule of recall, asked of each lot behind: would it make the lot asked for certain?
    """
    shares = composition(lot.pk)
    order = tuple(shares)
    inputs: dict[int, dict[int, list[int]]] = defaultdict(lambda: defaultdict(list))
    rows = Edge.objects.filter(dst__in=ancestors([lot.pk]))
    for dst, item, src in rows.values_list("dst_id", "src__item_id", "src_id"):
        inputs[dst][item].append(src)
    certain = frozenset(
        suspect for suspect in order if _must_hold(suspect, lot.pk, order=order, inputs=inputs)
    )
    return _Reached(order, certain, shares, follow(lot.pk))


def _must_hold(
    suspect: int, target: int, *, order: Iterable[int], inputs: dict[int, dict[int, list[int]]]
) -> bool:
    certain = {suspect}
    for lot in order:
        by_item = inputs.get(lot, {})
        if any(all(src in certain for src in sources) for sources in by_item.values()):
            certain.add(lot)
    return target in certain


def cards_of(lot_ids: Iterable[int]) -> dict[int, LotCard]:
    """Fetch lots with what is known of them, in the order asked for; one query."""
    asked = list(lot_ids)
    cards = LotCard.objects.filter(lot__in=asked).select_related(
        "lot__item", "lot__made_by", "strain__species", "supplier", "recipe__recipe", "product"
    )
    found = {card.pk: card for card in cards}
    return {pk: found[pk] for pk in asked}


def traced_lots(
    cards: dict[int, LotCard], *, certain: frozenset[int], shares: Mapping[int, Amount]
) -> dict[int, TracedLot]:
    """Say of each lot what it is, how much was made and where the rest stands; two queries."""
    shelves = shelf_of([card.lot for card in cards.values()])
    made = _made(cards)
    return {
        pk: _traced(
            card,
            made=amount_in(card.lot, made.get(pk, 0)),
            share=shares.get(pk, NOTHING),
            certain=pk in certain,
            shelf=str(shelves.get(pk, "")),
        )
        for pk, card in cards.items()
    }


def _made(lot_ids: Iterable[int]) -> dict[int, int]:
    """How much each lot was when made: blocks started, kilos picked."""
    flows = Flow.objects.filter(lot__in=list(lot_ids), role__in=(Role.MADE, Role.BOUGHT))
    return dict(flows.values_list("lot_id").annotate(Sum("quantity")).order_by())


def _traced(card: LotCard, *, made: Amount, share: Amount, certain: bool, shelf: str) -> TracedLot:
    lot = card.lot
    return TracedLot(
        code=lot.code,
        name=lot.item.name,
        stage=Stage(card.stage),
        made_on=lot.made_by.happened_on,
        made=made,
        on_hand=amount_in(lot, lot.quantity),
        share=share,
        certain=certain,
        held=lot.held,
        shelf=shelf,
        supplier=_supplier(card),
        facts=_facts(card),
    )


def _supplier(card: LotCard) -> str:
    name = card.supplier.name if card.supplier else ""
    marked = f"lot {card.supplier_lot}" if card.supplier_lot else ""
    return ", ".join(part for part in (name, marked) if part)


def _facts(card: LotCard) -> str:
    """Say what an inspector asks of each stage, in few words."""
    facts = [
        str(card.strain) if card.strain else "",
        f"generation {card.generation}" if card.generation else "",
        "" if card.transfers is None else show_count(card.transfers, "transfer", "transfers"),
        str(card.recipe) if card.recipe else "",
        f"flush {card.flush}" if card.flush else "",
        f"harvested {card.harvested_on}" if card.harvested_on else "",
        f"best before {card.best_before}" if card.best_before else "",
    ]
    return " · ".join(fact for fact in facts if fact)


def links_between(cards: dict[int, LotCard], certain: frozenset[int]) -> tuple[TracedLink, ...]:
    """Say how much of each lot went into each, several entries added up; one query."""
    rows = Edge.objects.filter(src__in=cards, dst__in=cards).order_by("entry_id", "pk")
    edges = rows.values_list("src_id", "dst_id", "quantity")
    sums: dict[tuple[int, int], int] = defaultdict(int)
    for src, dst, quantity in edges:
        sums[src, dst] += quantity
    return tuple(
        TracedLink(
            cards[src].lot.code,
            cards[dst].lot.code,
            _went_over(cards[src], cards[dst], quantity),
            src in certain and dst in certain,
        )
        for (src, dst), quantity in sums.items()
    )


def _went_over(source: LotCard, made: LotCard, quantity: int) -> Amount:
    """What blocks give to a pick is weighed; all else goes over in the lot's own unit."""
    if source.stage == Stage.BLOCKS and made.stage > Stage.BLOCKS:
        return Amount(None, quantity)
    return amount_in(source.lot, quantity)
