"""Which part of some lots is trim: it is in no kilo but picked; what it sold for stands beside.

A lot of trim is trim whole. What is made of trim and other crop together is trim by weight; of its
cost the part that the trim brought along, and of what the work added the part by weight.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction

from django.db.models import Sum

from farm.models import Grade, LotCard, SaleLine, Stage
from ledger.models import KINDS, Flow, Role
from ledger.tracing import Kin

NONE, ALL = Fraction(0), Fraction(1)


@dataclass(frozen=True)
class Untrimmed:
    """The part of a lot that is no trim: of its weight, and of each kind of its cost."""

    mass: Fraction
    cost: tuple[Fraction, ...]


@dataclass(frozen=True)
class TrimSold:
    """So much trim was sold, less what came back, for so much without tax."""

    mass_mg: int
    net: int


def untrimmed_of(kin: Kin, cards: Mapping[int, LotCard]) -> dict[int, Untrimmed]:
    """Say of every lot which part is no trim; one query where trim was mixed with other crop."""
    inputs: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for edge in kin.edges:
        if min(cards[edge.src].stage, cards[edge.dst].stage) >= Stage.CROP:
            inputs[edge.dst].append((edge.src, edge.quantity))
    mass: dict[int, Fraction] = {}
    for lot in sorted(cards, key=lambda one: (kin.born_at.get(one, 0), one)):
        parts = inputs.get(lot, ())
        whole = sum(quantity for _, quantity in parts)
        if cards[lot].grade == Grade.TRIM:
            mass[lot] = NONE
        elif not whole:
            mass[lot] = ALL
        else:
            mass[lot] = sum((mass[src] * q for src, q in parts), NONE) / whole
    mixed = {kin.born_at[lot]: lot for lot, part in mass.items() if NONE < part < ALL}
    moved = _moved_at(mixed)
    found: dict[int, Untrimmed] = {}
    for lot, part in mass.items():
        cost = (part,) * len(KINDS)
        if NONE < part < ALL:
            crop = [src for src, _ in inputs[lot]]
            cost = _cost_part(moved[kin.born_at[lot]], {src: found[src] for src in crop}, part)
        found[lot] = Untrimmed(part, cost)
    return found


Moved = dict[str, dict[int, tuple[int, ...]]]


def _moved_at(places: Iterable[int]) -> dict[int, Moved]:
    """Cost used and made in some entries, by lot."""
    wanted = list(places)
    found: dict[int, Moved] = defaultdict(lambda: {Role.USED: {}, Role.MADE: {}})
    if wanted:
        flows = Flow.objects.filter(entry__in=wanted, role__in=(Role.USED, Role.MADE))
        for place, role, lot, *cost in flows.values_list("entry_id", "role", "lot_id", *KINDS):
            found[place][role][lot] = tuple(cost)
    return found


def _cost_part(moved: Moved, crop: Mapping[int, Untrimmed], part: Fraction) -> tuple[Fraction, ...]:
    """What the crop that is no trim brought along, and its part by weight of the rest."""
    cost = []
    for kind in range(len(KINDS)):
        made = sum(one[kind] for one in moved[Role.MADE].values())
        came = {lot: -moved[Role.USED][lot][kind] for lot in crop if lot in moved[Role.USED]}
        kept = sum((crop[lot].cost[kind] * brought for lot, brought in came.items()), NONE)
        kept += part * (made - sum(came.values()))
        cost.append(kept / made if made else part)
    return tuple(cost)


def trim_sold(
    shares: Mapping[int, Fraction], untrimmed: Mapping[int, Untrimmed], sold_mg: Fraction
) -> TrimSold | None:
    """What trim sold for, each lot's part of it; None where none was. One query where there is."""
    trim = {lot: shares[lot] * (1 - untrimmed[lot].mass) for lot in shares if lot in untrimmed}
    lots = [lot for lot, part in trim.items() if part]
    if not lots or not sold_mg:
        return None
    rows = SaleLine.objects.filter(line__lot__in=lots).values_list("line__lot")
    sums = rows.annotate(Sum("net")).order_by()
    return TrimSold(round(sold_mg), round(sum((trim[lot] * net for lot, net in sums), NONE)))
