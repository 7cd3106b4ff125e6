"""Where a lot came from, and where it went: lots by stage, sales, loads, losses, runs, entries.

Back: everything behind the lot, with how much of each is in it. Forward: everything made of it,
what is still here and where, who received it, what was given away or lost; these add up to the
lot. A mixed lot counts whole. *Certain* is what must hold some of it, *possible* what may
(``ledger.tracing``).
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from farm import habits
from farm.models import LotCard, Stage
from farm.queries.finding import Amount, amount_in
from farm.queries.keeping import past_words
from farm.queries.stock import shelf_of
from farm.queries.tracing.balance import Balance, balances_of
from farm.queries.tracing.loads_left import Loaded
from farm.queries.tracing.trace_events import (
    GivenAs,
    Lost,
    Moved,
    Run,
    SoldTo,
    Work,
    happened_to,
    moved_of,
    works_on,
)
from farm.units import show_count
from ledger import waiting
from ledger.models import Lot, Role
from ledger.tracing import Into, Kin, around, certain_of, composition, dye, follow

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

    @property
    def is_here(self) -> bool:
        return bool(self.on_hand.pieces or self.on_hand.mass_mg)


@dataclass(frozen=True)
class TracedLink:
    """So much of one lot went into another."""

    src: str
    dst: str
    amount: Amount
    certain: bool


@dataclass(frozen=True)
class Side:
    """One way of a trace: its lots by stage, the one asked for among them, and what joins them."""

    lots: tuple[TracedLot, ...]
    links: tuple[TracedLink, ...]


@dataclass(frozen=True)
class Trace:
    """What is behind one lot, and what became of it; ``whole``: all of it, in its own unit.

    Runs and works are of either side. ``balances``: of the lot and of those made of it.
    """

    lot: TracedLot
    whole: Amount
    behind: Side
    made_of: Side
    runs: tuple[Run, ...]
    works: tuple[Work, ...]
    sales: tuple[SoldTo, ...]
    loads: tuple[Loaded, ...]
    given: tuple[GivenAs, ...]
    losses: tuple[Lost, ...]
    balances: tuple[Balance, ...]
    waiting: int

    @property
    def to_hold(self) -> tuple[TracedLot, ...]:
        """The lot and what is made of it, as far as it is here and free."""
        return tuple(lot for lot in self.made_of.lots if lot.is_here and not lot.held)


def trace_of(lot: Lot) -> Trace:
    """Trace a lot both ways; fifteen queries at most, however many lots are reached."""
    back, ahead = around(lot.pk)
    story = dye([*back.born_at, *ahead.born_at])
    carried = follow(lot.pk, ahead, story)
    # Behind it is certain what every unit of it must hold some of: the rule of recall, asked of
    # each lot behind, whether it would make the lot asked for certain.
    behind_sure = frozenset(pk for pk in back.born_at if lot.pk in certain_of([pk], back))
    ahead_sure = certain_of([lot.pk], ahead)
    cards = cards_of([*back.born_at, *(pk for pk in ahead.born_at if pk != lot.pk)])
    moved = moved_of(cards)
    inside = composition(lot.pk, back, story)
    shares = {pk: amount_in(cards[pk].lot, inside[pk]) for pk in back.born_at}
    shares |= {pk: amount_in(lot, carried.on_hand.get(pk, 0)) for pk in ahead.born_at}
    lots = traced_lots(cards, moved, certain=behind_sure | ahead_sure, shares=shares)
    of_it = {pk: cards[pk] for pk in ahead.born_at}
    happened = happened_to(
        {pk: card.lot for pk, card in of_it.items()},
        moved,
        certain=ahead_sure,
        carried=carried,
        asked=lot,
    )
    runs, works = works_on({pk: card.lot for pk, card in cards.items()}, moved)
    return Trace(
        lot=lots[lot.pk],
        whole=amount_in(lot, carried.total),
        behind=_side(lots, cards, back, certain=behind_sure),
        made_of=_side(lots, cards, ahead, certain=ahead_sure),
        runs=runs,
        works=works,
        **vars(happened),
        balances=balances_of(of_it, [row for row in moved if row.lot in of_it]),
        waiting=waiting.about(cards).count(),
    )


def _side(
    lots: Mapping[int, TracedLot],
    cards: dict[int, LotCard],
    kin: Kin,
    *,
    certain: frozenset[int],
) -> Side:
    return Side(
        lots=tuple(sorted((lots[pk] for pk in kin.born_at), key=lambda lot: lot.stage)),
        links=links_between(
            cards, [edge for edge in kin.edges if edge.src in kin.born_at], certain
        ),
    )


def cards_of(lot_ids: Iterable[int]) -> dict[int, LotCard]:
    """Fetch lots with what is known of them, in the order asked for; one query."""
    asked = list(lot_ids)
    cards = LotCard.objects.filter(lot__in=asked).select_related(
        "lot__item", "lot__made_by", "strain__species", "supplier", "recipe__recipe", "product"
    )
    found = {card.pk: card for card in cards}
    return {pk: found[pk] for pk in asked}


def traced_lots(
    cards: dict[int, LotCard],
    moved: Iterable[Moved],
    *,
    certain: frozenset[int],
    shares: Mapping[int, Amount],
) -> dict[int, TracedLot]:
    """Say of each lot what it is, how much was made and where the rest stands; one query."""
    shelves = shelf_of([card.lot for card in cards.values()])
    made = _made(moved)
    return {
        pk: _traced(
            card,
            made=amount_in(card.lot, made[pk]),
            share=shares.get(pk, NOTHING),
            certain=pk in certain,
            shelf=str(shelves.get(pk, "")),
        )
        for pk, card in cards.items()
    }


def _made(moved: Iterable[Moved]) -> dict[int, int]:
    """How much each lot was when made: blocks started, kilos picked."""
    made: dict[int, int] = defaultdict(int)
    for row in moved:
        if row.role in (Role.MADE, Role.BOUGHT):
            made[row.lot] += row.quantity
    return made


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
        f"harvested {habits.short_day(card.harvested_on)}" if card.harvested_on else "",
        f"best before {habits.short_day(card.best_before)}" if card.best_before else "",
        f"made of what was past its days: {past}" if (past := past_words(card.lot)) else "",
    ]
    return " · ".join(fact for fact in facts if fact)


def links_between(
    cards: dict[int, LotCard], edges: Iterable[Into], certain: frozenset[int]
) -> tuple[TracedLink, ...]:
    """Say how much of each lot went into each, several entries added up."""
    sums: dict[tuple[int, int], int] = defaultdict(int)
    for edge in edges:
        if edge.src in cards:
            sums[edge.src, edge.dst] += edge.quantity
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
