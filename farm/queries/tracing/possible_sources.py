"""What more may be touched than some lots: the pick, blocks, grain, runs, deliveries behind them.

A fault comes with a lot from somewhere; its sisters came from there as well.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from django.db.models import FilteredRelation, Q

from farm.models import LotCard, Stage
from farm.queries.tracing.suspects import Suspects, run_words, runs_kept
from ledger.models import Entry, Line, Lot, Role
from ledger.tracing import Kin, ahead, ancestors, within


@dataclass(frozen=True)
class Wider:
    """Some suspects; ``asked``: what the page of a reach is asked for them.

    ``here``: lots of their reach still on hand; ``customers``: named ones who received of it.
    """

    words: str
    asked: tuple[tuple[str, str], ...]
    here: int
    customers: int


@dataclass(frozen=True)
class FarBack:
    """How far back a fault may lie; ``kin``: all that is made of any of it."""

    ways: tuple[Wider, ...]
    kin: Kin


@dataclass(frozen=True)
class _Source:
    """What stands behind some lots; ``asked``: blank where it is asked for by its codes."""

    words: str
    lots: tuple[int, ...]
    asked: tuple[tuple[str, str], ...] = ()


def how_far_back(suspects: Suspects) -> FarBack:
    """List how far back a fault may lie: in the suspects alone, then in what reaches further.

    The nearest first; what reaches no further is left out. Six queries.
    """
    behind = ancestors(suspects.lots)
    cards = list(
        LotCard.objects.filter(Q(lot__in=behind) | Q(supplier__cards__lot__in=behind))
        .select_related("supplier")
        .distinct()
        .order_by("lot_id")
    )
    fixed = [*_runs(behind), *_deliveries(cards, behind)]
    kin = ahead({*behind, *(lot for source in fixed for lot in source.lots)})
    known = _Known.read(kin)
    alone = set(within(kin, suspects.lots).born_at)
    words = "this lot alone" if len(suspects.lots) == 1 else "these lots alone"
    found = [known.wider(_Source(words, suspects.lots), alone)]
    for source in (*_shared(cards, behind, kin), *fixed):
        reach = set(within(kin, source.lots).born_at)
        if not source.asked and source.lots:
            beside = tuple(lot for lot in suspects.lots if lot not in reach)
            reach |= set(within(kin, beside).born_at)
            source = _Source(source.words, (*source.lots, *beside))
        further = reach - alone
        if further - set(source.lots) or further & known.here:
            found.append(known.wider(source, reach))
    return FarBack(tuple(found), kin)


def _shared(cards: Iterable[LotCard], behind: set[int], kin: Kin) -> Iterator[_Source]:
    """What stands behind some lots on the farm: the pick, the blocks, the grain."""
    of_stage: dict[int, list[int]] = defaultdict(list)
    for card in cards:
        if card.lot_id in behind:
            of_stage[card.stage].append(card.lot_id)
    picks = {kin.born_at[lot] for lot in of_stage[Stage.CROP]}
    picked = sorted(lot for lot, born in kin.born_at.items() if born in picks)
    yield _Source("the same pick", tuple(picked))
    yield _Source("the same blocks", tuple(of_stage[Stage.BLOCKS]))
    grain = of_stage[Stage.GRAIN] or of_stage[Stage.SPAWN]
    yield _Source("the same grain batch", tuple(grain))


def _runs(behind: set[int]) -> Iterator[_Source]:
    """The steriliser runs that some lots were in, with all that was in each; one query."""
    runs: dict[Entry, list[int]] = defaultdict(list)
    lines = Line.objects.filter(entry__in=runs_kept().filter(lines__lot__in=behind).values("pk"))
    for line in lines.select_related("entry").order_by("-entry_id", "pk"):
        runs[line.entry].append(line.lot_id)
    for run, lots in runs.items():
        yield _Source(f"the {run_words(run)}", tuple(lots), (("run", str(run.seq)),))


def _deliveries(cards: Iterable[LotCard], behind: set[int]) -> Iterator[_Source]:
    """All deliveries of the suppliers' lots that some are of."""
    of_marks: dict[tuple[int | None, str], list[LotCard]] = defaultdict(list)
    for card in cards:
        if card.supplier and card.supplier_lot:
            of_marks[card.supplier_id, card.supplier_lot.lower()].append(card)
    for alike in of_marks.values():
        lots = tuple(card.lot_id for card in alike)
        if behind.intersection(lots):
            card = alike[0]
            asked = (("supplier", str(card.supplier_id)), ("supplier_lot", card.supplier_lot))
            yield _Source(f"{card.supplier}’s lot {card.supplier_lot}", lots, asked)


@dataclass(frozen=True)
class _Known:
    """The codes of lots, which are here, and which customers received of each."""

    codes: Mapping[int, str]
    here: frozenset[int]
    customers: Mapping[int, frozenset[int]]

    @classmethod
    def read(cls, kin: Kin) -> "_Known":
        """One query."""
        sold = FilteredRelation("flows", condition=Q(flows__role=Role.SOLD) & ~Q(flows__quantity=0))
        rows = list(
            Lot.objects.filter(pk__in=kin.born_at)
            .annotate(sold=sold)
            .values_list("pk", "code", "quantity", "sold__entry__sale__customer")
        )
        customers: dict[int, set[int]] = defaultdict(set)
        for pk, _, _, customer in rows:
            customers[pk] |= {customer} - {None}
        return cls(
            codes={row[0]: row[1] for row in rows},
            here=frozenset(row[0] for row in rows if row[2]),
            customers={pk: frozenset(found) for pk, found in customers.items()},
        )

    def wider(self, source: _Source, reach: set[int]) -> Wider:
        codes = " ".join(self.codes[lot] for lot in sorted(set(source.lots)))
        return Wider(
            words=source.words,
            asked=source.asked or (("codes", codes),),
            here=len(reach & self.here),
            customers=len(frozenset().union(*(self.customers[lot] for lot in reach))),
        )
