"""Share what was counted by product out over the lots that were loaded, the oldest sold first."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from farm.actions.common import Draw, amount_words
from farm.models import LoadLine
from ledger.amounts import in_turn, split
from ledger.errors import Malformed
from ledger.models import Lot


@dataclass(frozen=True)
class ItemDay:
    """What became of one product of a load, all its lots together, in their own unit."""

    back: int = 0
    given: Mapping[str, int] = field(default_factory=dict)
    off_money: int = 0


@dataclass(frozen=True)
class Counted:
    """The same, lot by lot, as `settle_stall` asks for it."""

    back: Mapping[int, int]
    given: Mapping[str, list[Draw]]
    off_money: Mapping[int, int]
    by_item: tuple[Lot, ...]


def share_out(loaded: Sequence[LoadLine], said: Mapping[int, ItemDay]) -> Counted:
    """Sell the oldest lots first, give away next, bring the newest back; ``said`` by item pk.

    30 of an older lot and 10 of a newer, 9 back, 1 sample: 30 sold of the older, of the newer none,
    1 given and 9 back. An item not named came back with nothing. A discount is shared by what was
    sold, rounded to the cent; the last takes the rest.
    """
    back: dict[int, int] = {}
    given: dict[str, list[Draw]] = defaultdict(list)
    off: dict[int, int] = {}
    together: list[Lot] = []
    for item, lines in _by_item(loaded).items():
        day = said.get(item, ItemDay())
        sold = _sold(lines, day)
        rest = [Draw(line.lot, line.quantity) for line in lines]
        taken, rest = _take(rest, sold)
        off |= _shared_off(day.off_money, taken)
        for why, quantity in day.given.items():
            gone, rest = _take(rest, quantity)
            given[why] += gone
        back |= {draw.lot.pk: draw.quantity for draw in rest}
        together += [line.lot for line in lines] if len(lines) > 1 else []
    return Counted(back, dict(given), off, tuple(together))


def _by_item(loaded: Iterable[LoadLine]) -> dict[int, list[LoadLine]]:
    """Lots of one item, the oldest first: by the day of the pick, then as they were made."""
    found: dict[int, list[LoadLine]] = defaultdict(list)
    for line in loaded:
        found[line.lot.item_id].append(line)
    for lines in found.values():
        lines.sort(key=lambda line: (_picked(line.lot), line.lot_id))
    return found


def _picked(lot: Lot) -> str:
    return str(lot.card.harvested_on or lot.made_by.happened_on)


def _sold(lines: Sequence[LoadLine], day: ItemDay) -> int:
    loaded, gone = sum(line.quantity for line in lines), day.back + sum(day.given.values())
    lot = lines[0].lot
    if gone > loaded or day.back < 0:
        codes = [line.lot.code for line in lines]
        there, back, given = (
            amount_words(amount, lot.item.dimension)
            for amount in (loaded, day.back, gone - day.back)
        )
        raise Malformed(
            f"{lot.item} (lot {', '.join(codes)}): {there} loaded, {back} brought back and {given} "
            "given away. Together they are at most what was loaded.",
            codes,
        )
    if day.off_money and gone == loaded:
        raise Malformed(f"{lot.item}: none was sold, so nothing was taken off. Leave it blank.")
    return loaded - gone


def _take(rest: Sequence[Draw], wanted: int) -> tuple[list[Draw], list[Draw]]:
    """Take so much from the first draws; return what was taken and what is left."""
    parts, _ = in_turn(wanted, [draw.quantity for draw in rest])
    taken, left = [], []
    for draw, part in zip(rest, parts, strict=True):
        if part:
            taken.append(Draw(draw.lot, part))
        if draw.quantity > part:
            left.append(Draw(draw.lot, draw.quantity - part))
    return taken, left


def _shared_off(off_money: int, sold: Sequence[Draw]) -> dict[int, int]:
    """Share a discount by quantity sold, in whole cents where it is stated in cents."""
    if not off_money or not sold:
        return {}
    step = 100 if off_money % 100 == 0 else 1
    parts = split(off_money // step, [draw.quantity for draw in sold])
    return {draw.lot.pk: part * step for draw, part in zip(sold, parts, strict=True)}
