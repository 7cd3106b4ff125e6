"""What went into what: the edges of one entry, worked from what its lines state.

Items of one word stand in for one another; whatever of them goes into one making are alternatives,
and share the credit for what is made. All other items are in every unit, each credited whole.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, NamedTuple

from ledger.amounts import largest_remainder, split
from ledger.models import Dimension, Edge, Role

# What a line states for the edges of its entry, as `EdgeLine` takes it.
EDGE_FIELDS = (
    "lot_id", "lot__item_id", "lot__item__alike", "lot__item__dimension", "lot__unit_mass_mg",
    "role", "quantity", "given_mg", "basis",
)  # fmt: skip
# Items of one word stand in for one another, an item without a word only for itself.
Alike = tuple[str, int]


class _Stated(NamedTuple):
    """A line, in the order of `EDGE_FIELDS`."""

    lot: int
    item: int
    alike: str
    dimension: str
    unit_mass_mg: int | None
    role: str
    quantity: int
    given_mg: int
    basis: int


@dataclass
class _Taken:
    """What an entry, as amended, took of a lot."""

    dimension: str
    piece_mg: int
    quantity: int = 0
    given_mg: int = 0
    basis: int = 0

    @property
    def amount(self) -> int:
        """In its own unit; for a pick the weight it gave, or what it is worth as much as."""
        return self.given_mg or self.quantity or self.basis

    @property
    def mass_mg(self) -> int:
        """As weight: a piece weighs what one does, a microlitre as of water."""
        counted = self.dimension == Dimension.COUNT and not self.given_mg
        return self.quantity * self.piece_mg if counted and self.quantity else self.amount


def alike_of(word: str, item: int) -> Alike:
    """Say which items stand in for this one: those of its word, or itself alone."""
    return (word, 0 if word else item)


def edges_at(place: int, rows: Iterable[tuple[Any, ...]]) -> list[Edge]:
    """List the edges of one entry, as amended: from every lot used to every lot made from it.

    ``rows``: as `EDGE_FIELDS` names them. What was used is split over the lots made by their
    quantity; a made lot is credited over the used lots that can stand in for one another, by
    quantity, or by weight where these are in different units. Both add up.
    """
    used: dict[Alike, dict[int, _Taken]] = defaultdict(dict)
    made: dict[int, int] = defaultdict(int)
    for line in map(_Stated._make, rows):
        if str(line.role) == Role.USED:
            lots = used[alike_of(line.alike, line.item)]
            _add(lots.setdefault(line.lot, _Taken(line.dimension, line.unit_mass_mg or 1)), line)
        elif str(line.role) == Role.MADE:
            made[line.lot] += line.quantity
    made = {lot: quantity for lot, quantity in sorted(made.items()) if quantity > 0}
    if not made:
        return []
    return [edge for _, lots in sorted(used.items()) for edge in _edges_from(place, lots, made)]


def _add(taken: _Taken, line: _Stated) -> None:
    taken.quantity -= line.quantity
    taken.given_mg += line.given_mg
    taken.basis += line.basis


def _edges_from(place: int, lots: dict[int, _Taken], made: dict[int, int]) -> list[Edge]:
    """List the edges from lots that can stand in for one another, to each lot made."""
    used = {lot: taken for lot, taken in sorted(lots.items()) if taken.amount > 0}
    if not used:
        return []
    one_unit = len({taken.dimension for taken in used.values()}) == 1
    weights = [taken.amount if one_unit else taken.mass_mg for taken in used.values()]
    parts = [largest_remainder(whole, weights) for whole in made.values()]
    return [
        Edge(entry_id=place, src_id=lot, dst_id=target, quantity=quantity, part=parts[k][n])
        for n, (lot, taken) in enumerate(used.items())
        for k, (target, quantity) in enumerate(
            zip(made, split(taken.amount, list(made.values())), strict=True)
        )
    ]
