"""How far suspects reach: what is made of them, what is still here, who received it.

A mixed lot counts whole. *Certain* must hold some of a suspect, *possible* may
(``ledger.tracing``). At a stall every lot loaded and not wholly brought back is possible there.
Whoever was given a sample or a gift, or ate of it at home, received it too.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from farm.models import LotCard
from farm.queries.finding import Amount
from farm.queries.tracing.balance import Balance, balances_of
from farm.queries.tracing.suspects import Suspects
from farm.queries.tracing.trace_events import Happened, Lost, SoldTo, happened_to, moved_of
from farm.queries.tracing.traces import (
    NOTHING,
    TracedLink,
    TracedLot,
    cards_of,
    links_between,
    traced_lots,
)
from ledger import tracing, waiting


@dataclass(frozen=True)
class Recipient:
    """A customer who received lots of the reach, by number (a name may be erased).

    ``certain_mg``, ``possible_mg``: what was received of lots of each kind; ``back_mg`` of it
    came back.
    """

    customer_id: int
    number: str
    place: str
    codes: tuple[str, ...]
    products: tuple[str, ...]
    first: date
    last: date
    certain_mg: int
    possible_mg: int
    back_mg: int

    @property
    def kept_mg(self) -> int:
        return self.certain_mg + self.possible_mg - self.back_mg


@dataclass(frozen=True)
class Unnamed:
    """A lot that went where no customer's name is known.

    Sold, loaded and not wholly brought back, or given away for a reason (``why``); ``place`` is
    empty for what was given at no stall, ``loaded`` for a sale without a load. ``settled``: it is
    known what was sold.
    """

    entry: int
    day: date
    recorded_at: datetime
    place: str
    name: str
    lot_code: str
    loaded: Amount
    sold: Amount
    given: Amount
    settled: bool
    certain: bool
    why: str = ""


@dataclass(frozen=True)
class Lists:
    """``lots`` by stage; ``sold_mg``: all that was sold of them, less what came back."""

    codes: tuple[str, ...]
    lots: tuple[TracedLot, ...]
    recipients: tuple[Recipient, ...]
    unnamed: tuple[Unnamed, ...]
    sales: tuple[SoldTo, ...]
    balances: tuple[Balance, ...]
    sold_mg: int
    waiting: int

    @property
    def still_here(self) -> tuple[TracedLot, ...]:
        return tuple(lot for lot in self.lots if lot.is_here)


@dataclass(frozen=True)
class Reach(Lists):
    """The lists as they are now, with what a drawing of them needs."""

    suspects: Suspects
    links: tuple[TracedLink, ...]
    losses: tuple[Lost, ...]

    @property
    def to_hold(self) -> tuple[TracedLot, ...]:
        return tuple(lot for lot in self.still_here if not lot.held)


def reach_of(suspects: Suspects, kin: tracing.Kin | None = None) -> Reach:
    """Follow suspects to everyone who received them; as many queries for one lot as for many.

    ``kin``: all ahead of these and other lots, where it was found already.
    """
    found = tracing.reach(suspects.lots, kin)
    cards = cards_of(found.lots)
    lists, losses = _listed(cards, suspects.lots, found.certain)
    return Reach(
        **vars(lists),
        suspects=suspects,
        links=links_between(cards, found.kin.edges, found.certain),
        losses=losses,
    )


def lists_of(lots: Sequence[int], suspects: Iterable[int], certain: frozenset[int]) -> Lists:
    """List what became of lots that are known to be reached; six queries."""
    return _listed(cards_of(lots), suspects, certain)[0]


def _listed(
    cards: dict[int, LotCard], suspects: Iterable[int], certain: frozenset[int]
) -> tuple[Lists, tuple[Lost, ...]]:
    moved = moved_of(cards)
    traced = traced_lots(cards, moved, certain=certain, shares={})
    lots = {pk: card.lot for pk, card in cards.items()}
    happened = happened_to(lots, moved, certain=certain)
    lists = Lists(
        codes=tuple(lots[pk].code for pk in suspects if pk in lots),
        lots=tuple(sorted(traced.values(), key=lambda lot: lot.stage)),
        sales=happened.sales,
        recipients=_recipients(happened.sales),
        unnamed=_unnamed(happened, {lots[pk].code for pk in certain if pk in lots}),
        balances=tuple(sorted(balances_of(cards, moved), key=lambda balance: balance.stage)),
        sold_mg=sum(sale.amount.mass_mg or 0 for sale in happened.sales),
        waiting=waiting.about(cards).count(),
    )
    return lists, happened.losses


def _recipients(sales: Iterable[SoldTo]) -> tuple[Recipient, ...]:
    """Add up what each named customer received, in the order of their numbers."""
    received: dict[int, list[SoldTo]] = defaultdict(list)
    for sale in sales:
        if sale.customer_id is not None:
            received[sale.customer_id].append(sale)
    return tuple(_recipient(pk, rows) for pk, rows in sorted(received.items()))


def _recipient(customer_id: int, rows: Sequence[SoldTo]) -> Recipient:
    given = [row for row in rows if row.what == "sold"]
    days = [row.day for row in given or rows]
    return Recipient(
        customer_id=customer_id,
        number=rows[0].customer_number,
        place=rows[0].place,
        codes=tuple(dict.fromkeys(row.lot_code for row in rows)),
        products=tuple(dict.fromkeys(row.name for row in rows)),
        first=min(days),
        last=max(days),
        certain_mg=sum(row.amount.mass_mg or 0 for row in given if row.certain),
        possible_mg=sum(row.amount.mass_mg or 0 for row in given if not row.certain),
        back_mg=-sum(row.amount.mass_mg or 0 for row in rows if row.what != "sold"),
    )


def _unnamed(happened: Happened, sure: set[str]) -> tuple[Unnamed, ...]:
    """Loads by the load rule, and what was sold or given to nobody named with no load behind it."""
    rows = [*_loaded(happened, sure), *_sold_unnamed(happened), *_given_unnamed(happened)]
    return tuple(sorted(rows, key=lambda row: (row.day, row.place, row.name, row.lot_code)))


def _loaded(happened: Happened, sure: set[str]) -> list[Unnamed]:
    return [
        Unnamed(
            load.entry,
            load.day,
            load.recorded_at,
            load.place,
            load.name,
            load.lot_code,
            loaded=load.loaded,
            sold=load.sold,
            given=load.given,
            settled=load.settled,
            certain=load.lot_code in sure,
        )
        for load in happened.loads
    ]


def _sold_unnamed(happened: Happened) -> list[Unnamed]:
    return [
        Unnamed(
            sale.entry,
            sale.day,
            sale.recorded_at,
            sale.place,
            sale.name,
            sale.lot_code,
            loaded=NOTHING,
            sold=sale.amount,
            given=NOTHING,
            settled=True,
            certain=sale.certain,
        )
        for sale in happened.sales
        if sale.customer_id is None and not sale.at_stall
    ]


def _given_unnamed(happened: Happened) -> list[Unnamed]:
    return [
        Unnamed(
            one.entry,
            one.day,
            one.recorded_at,
            "",
            one.name,
            one.lot_code,
            loaded=NOTHING,
            sold=NOTHING,
            given=one.amount,
            settled=True,
            certain=one.certain,
            why=one.why,
        )
        for one in happened.given
        if not one.place
    ]
