"""What is usual on this farm: the newest entries of a kind, and what blocks of a species gave."""

import json
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

from farm.models import Species, Supply
from farm.queries.growing.experience import weights_a_block_mg
from ledger.models import Entry, Line, Role

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


def usual_stated(kind: str, name: str, **also: object) -> Usual | None:
    """What the newest entries of a kind stated under a name, where they state ``also``; a query."""
    alike = _alike(kind, also)
    return usual_of([one[name] for one in alike if isinstance(one.get(name), int)])


def usual_worked(
    kind: str, work: Callable[[Mapping[str, Any]], int], **also: object
) -> Usual | None:
    """What is worked from what the newest entries of a kind stated, where they state ``also``."""
    return usual_of([work(one) for one in _alike(kind, also)])


def usual_share_ppm(kind: str, part: str, whole: str) -> Usual | None:
    """What share of one number another was, in the newest entries of a kind; one query."""
    said = [one for one in _stated(kind) if one.get(whole)]
    return usual_of([one[part] * 1_000_000 // one[whole] for one in said])


def _alike(kind: str, also: Mapping[str, object]) -> list[dict[str, Any]]:
    """The newest entries of a kind that state all of this."""
    said = _stated(kind)
    return [one for one in said if all(one.get(key) == value for key, value in also.items())]


def _stated(kind: str) -> list[dict[str, Any]]:
    standing = Entry.objects.filter(kind=kind, amends=None).standing()
    newest = standing.order_by("-seq").values_list("particulars", flat=True)[:NEWEST]
    return [json.loads(words) for words in newest]


def last_price(supply: Supply, *, before: Entry | None = None) -> tuple[int, int] | None:
    """Money and quantity of the last delivery of a supply that cost anything; one query.

    ``before``: of those older than that one.
    """
    lines = Line.objects.filter(lot__item=supply.item, role=Role.BOUGHT, quantity__gt=0)
    bought = lines.filter(money__gt=0, entry__amends=None).order_by("-entry_id")
    if before:
        bought = bought.filter(entry__lt=before)
    return bought.values_list("money", "quantity").first()
