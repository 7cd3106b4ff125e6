"""What more may be touched than some lots: all of the pick, the blocks, the grain, the runs behind.

A fault comes with a lot from somewhere; its sisters came from there as well.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from farm.models import LotCard, Stage
from farm.queries.suspects import Suspects, runs_kept, suspect_run
from ledger.models import Entry, Flow, Lot, Role
from ledger.tracing import ancestors, descendants


@dataclass(frozen=True)
class Wider:
    """Suspects that take the first ones in: ``run`` of the steriliser, or else lots by ``codes``.

    ``here``: lots of their reach still on hand; ``customers``: named ones who received of it.
    """

    words: str
    codes: tuple[str, ...]
    run: int | None
    here: int
    customers: int


def wider_than(suspects: Suspects) -> list[Wider]:
    """Say what reaches further than some suspects, the nearest first; what does not is left out."""
    behind = ancestors(suspects.lots)
    reached = descendants(suspects.lots)
    found = []
    for words, lots, run in _shared(behind):
        reach = descendants(lots)
        if run is None and lots:
            beside = [lot for lot in suspects.lots if lot not in reach]
            lots, reach = (*lots, *beside), reach | descendants(beside)
        if reach - reached:
            found.append(_wider(words, lots, run, reach=reach))
    return found


def _shared(behind: set[int]) -> Iterator[tuple[str, tuple[int, ...], int | None]]:
    """What stands behind some lots, each with its lots; the run by its entry."""
    of_stage: dict[int, list[int]] = defaultdict(list)
    cards = LotCard.objects.filter(lot__in=behind).order_by("lot_id")
    for lot, stage in cards.values_list("lot_id", "stage"):
        of_stage[stage].append(lot)
    picks = Entry.objects.filter(lots_made__in=of_stage[Stage.CROP]).values("pk")
    yield "the same pick", _keys(Lot.objects.filter(made_by__in=picks)), None
    yield "the same blocks", tuple(of_stage[Stage.BLOCKS]), None
    grain = of_stage[Stage.GRAIN] or of_stage[Stage.SPAWN]
    yield "the same grain batch", tuple(grain), None
    for run in runs_kept().filter(lines__lot__in=behind).distinct():
        yield f"the {suspect_run(run).words}", suspect_run(run).lots, run.seq


def _wider(words: str, lots: tuple[int, ...], run: int | None, *, reach: set[int]) -> Wider:
    sold = Flow.objects.filter(lot__in=reach, role=Role.SOLD, entry__sale__customer__isnull=False)
    return Wider(
        words=words,
        codes=tuple(Lot.objects.filter(pk__in=lots).order_by("pk").values_list("code", flat=True)),
        run=run,
        here=Lot.objects.filter(pk__in=reach, quantity__gt=0).count(),
        customers=sold.exclude(quantity=0).values("entry__sale__customer").distinct().count(),
    )


def _keys(lots: Iterable[Lot]) -> tuple[int, ...]:
    return tuple(lot.pk for lot in lots)
