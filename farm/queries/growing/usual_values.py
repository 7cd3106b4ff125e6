"""What is usual on this farm: the newest entries of a kind, and what blocks of a species gave."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from statistics import median
from typing import TypeVar

from farm.kinds.growing import CHECK, INOCULATE_BLOCKS, STERILISER_RUN, Checked, Run, SpawnRates
from farm.kinds.kind import Kind
from farm.kinds.particulars import Particulars
from farm.models import Species, Steriliser, Supply
from farm.queries.growing.experience import weights_a_block_mg
from ledger.models import Entry, Line, Role

Shape = TypeVar("Shape", bound=Particulars)

NEWEST = 20
# Fewer say too little of what is usual: then what is believed is asked by.
ENOUGH = 5


@dataclass(frozen=True)
class Usual:
    """The middle one of what was stated before, with the least and the most of it."""

    middle: int
    least: int
    most: int
    count: int


def usual_of(stated: Sequence[int]) -> Usual | None:
    """Say what is usual of some numbers; nothing where they are too few. Rounded down."""
    if len(stated) < ENOUGH:
        return None
    return Usual(int(median(stated)), min(stated), max(stated), len(stated))


def usual_weight_mg(species: Species, flush: int, *, besides: Collection[int] = ()) -> Usual | None:
    """What a block of a species gave in a flush, by the other lots that are finished."""
    return usual_of(weights_a_block_mg(species, flush, besides=besides))


def usual_spawn_ppm() -> Usual | None:
    """What share of the wet substrate spawn was, in the newest inoculations; one query."""
    return usual_of([said.of_wet_substrate_ppm for said in _stated(INOCULATE_BLOCKS, SpawnRates)])


def usual_run(steriliser: Steriliser, work: Callable[[Run], int]) -> Usual | None:
    """What is worked from what the newest runs of a steriliser stated; one query."""
    runs = _stated(STERILISER_RUN, Run)
    return usual_of([work(said) for said in runs if said.steriliser == steriliser.name])


def usual_lost_ppm() -> Usual | None:
    """What share of what was looked at was lost, in the newest checks; one query."""
    checks = [said for said in _stated(CHECK, Checked) if said.checked]
    return usual_of([said.lost * 1_000_000 // said.checked for said in checks])


def _stated(kind: Kind, shape: type[Shape]) -> list[Shape]:
    standing = Entry.objects.filter(kind=kind, amends=None).standing()
    newest = standing.order_by("-seq").values_list("particulars", flat=True)[:NEWEST]
    return [shape.read(words) for words in newest]


def last_price(supply: Supply, *, before: Entry | None = None) -> tuple[int, int] | None:
    """Money and quantity of the last delivery of a supply that cost anything; one query.

    ``before``: of those older than that one.
    """
    lines = Line.objects.filter(lot__item=supply.item, role=Role.BOUGHT, quantity__gt=0)
    bought = lines.filter(money__gt=0, entry__amends=None).order_by("-entry_id")
    if before:
        bought = bought.filter(entry__lt=before)
    return bought.values_list("money", "quantity").first()
