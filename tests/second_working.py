"""Work a month's figures a second time, from entries, lines, charges and sale lines alone.

Nothing of `farm.queries` is imported: what a day or a month comes to is added up here anew, line
by line, whole grams and cents are handed out anew by exact fractions, and `tests/printed_tables`
reads what page and files say. ``until`` works with what the book knew then, as a closing did.
"""

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction

from farm.models import ClosedMonth, LotCard, SaleLine, SellingCost
from ledger.models import Charge, Entry, Line
from tests.second_costs import second_costs

GRAM, CENT = 1_000, 100
# What is handed out, of which exact number, in steps of how much.
HANDED = (("grams", "mg", GRAM), ("cents", "cost", CENT))
GRADES = ("firsts", "seconds", "trim")
STAGES = {
    1: "supplies", 2: "culture", 3: "prepared grain", 4: "grain spawn", 5: "filled bags",
    6: "blocks", 7: "picked", 8: "dried", 9: "packed", 10: "spent blocks",
}  # fmt: skip
CROP = 7
GOING = {"sold", "back", "lost", "shrunk", "stranded", "used"}


@dataclass
class Moved:
    """What an entry, with its corrections, did to a lot in one role."""

    day: date
    entry: int
    kind: str
    reason: str
    role: str
    lot: int
    card: LotCard
    quantity: int = 0
    cost: int = 0
    grams: int = 0
    cents: int = 0
    sales: list[SaleLine] = field(default_factory=list)

    @property
    def pieces(self) -> int:
        return self.quantity if self.card.lot.item.dimension == "count" else 0

    @property
    def mg(self) -> int:
        return mass(self.card, self.quantity)

    @property
    def month(self) -> tuple[int, int]:
        return self.day.year, self.day.month

    @property
    def is_loss(self) -> bool:
        """Blocks binned once spent are none: they carry nothing any more."""
        if self.role not in ("lost", "shrunk", "stranded"):
            return False
        return bool(self.cost) or (self.kind != "spent" and self.quantity != 0)


@dataclass
class Facts:
    """All that moved, in the order of days and entries, and what a pick's blocks gave."""

    moved: list[Moved]
    given: dict[int, dict[int, int]]
    selling: list[tuple[date, str, bool, str, int]]
    charged: list[tuple[date, str, int]]
    hours: list[tuple[date, int]]
    cards: dict[int, LotCard]


def mass(card: LotCard, quantity: int) -> int:
    lot = card.lot
    if lot.item.dimension == "mass":
        return quantity
    return quantity * (lot.unit_mass_mg or 0) if lot.item.dimension == "count" else 0


Stays = dict[tuple[int, int, str, str], tuple[int, int]]


def read_facts(until: int | None = None, stays: Stays | None = None) -> Facts:
    """Read the book up to an entry; what it corrects counts at the place of what it corrects.

    ``stays``: what closed months handed out, which stays where nothing changed since.
    """
    entries = {one.seq: one for one in Entry.objects.all() if until is None or one.seq <= until}
    cards = LotCard.objects.select_related(
        "lot__item", "species", "strain", "product", "lot__made_by"
    ).in_bulk()
    moved: dict[tuple[int, int, str], Moved] = {}
    given: dict[int, dict[int, int]] = defaultdict(Counter)
    places: dict[int, Moved] = {}
    for line in Line.objects.order_by("entry_id", "pk"):
        if line.entry_id not in entries:
            continue
        root = entries[entries[line.entry_id].place]
        key = (root.seq, line.lot_id, str(line.role))
        one = moved.setdefault(
            key,
            Moved(
                root.happened_on,
                root.seq,
                root.kind,
                root.reason,
                str(line.role),
                line.lot_id,
                cards[line.lot_id],
            ),
        )
        one.quantity += line.quantity
        places[line.pk] = one
        if line.role == "used" and line.given_mg:
            given[root.seq][line.lot_id] += line.given_mg
    for sale in SaleLine.objects.select_related(
        "sale__place", "sale__customer", "product"
    ).order_by("pk"):
        if sale.line_id in places:
            places[sale.line_id].sales.append(sale)
    _add_costs(moved, entries, cards)
    rows = sorted(moved.values(), key=lambda one: (one.day, one.entry, one.lot))
    facts = Facts(rows, given, *_money(entries), cards)
    hand_out(facts, stays or {})
    return facts


def read_as_shown() -> Facts:
    """Read all of the book, with what its closed months handed out when they were closed."""
    stays: Stays = {}
    for closed in ClosedMonth.objects.all():
        then = read_facts(closed.until_seq)
        stays |= {
            (one.entry, one.lot, one.role, name): (getattr(one, exact), getattr(one, name))
            for one in then.moved
            if one.day.replace(day=1) == closed.month
            for name, exact, _ in HANDED
        }
    return read_facts(stays=stays)


def _add_costs(
    moved: dict[tuple[int, int, str], Moved], entries: dict[int, Entry], cards: dict[int, LotCard]
) -> None:
    """Cost that lands on an emptied lot moves by itself: no line states it."""
    for key, cost in second_costs(entries).items():
        if key not in moved and cost:
            root = entries[key[0]]
            moved[key] = Moved(
                root.happened_on, root.seq, root.kind, root.reason, key[2], key[1], cards[key[1]]
            )
        if key in moved:
            moved[key].cost = cost


def _money(
    entries: dict[int, Entry],
) -> tuple[
    list[tuple[date, str, bool, str, int]], list[tuple[date, str, int]], list[tuple[date, int]]
]:
    def day(one: SellingCost | Charge) -> date:
        return entries[entries[one.entry_id].place].happened_on

    selling = [
        (day(one), one.place.name, one.own, one.what, one.amount)
        for one in SellingCost.objects.select_related("place")
        if one.entry_id in entries
    ]
    charges = [one for one in Charge.objects.all() if one.entry_id in entries]
    hours = [(day(one), one.quantity_milli) for one in charges if one.kind in ("paid", "own")]
    return selling, [(day(one), str(one.kind), one.amount) for one in charges], hours


# --- whole grams and cents -------------------------------------------------------------------


def shared(whole: int, parts: Sequence[Fraction]) -> list[int]:
    """Round parts down and give what is missing to the largest rests, the earlier on a tie."""
    floors = [part.numerator // part.denominator for part in parts]
    rests = [part - floor for part, floor in zip(parts, floors, strict=True)]
    order = sorted(range(len(parts)), key=lambda at: (-rests[at], at))
    # More than once around, or less than once, where others stay as they were handed out.
    around, more = divmod(whole - sum(floors), len(parts)) if parts else (0, 0)
    for rank, at in enumerate(order):
        floors[at] += around + (1 if rank < more else 0)
    return floors


def hand_out(facts: Facts, stays: Stays) -> None:
    """A month's total of each measure, rounded half to even, over its days' lots, then lines."""
    for name, exact, step in HANDED:
        wholes: dict[tuple[object, ...], list[Moved]] = defaultdict(list)
        for one in facts.moved:
            wholes[one.month, *measure(one)].append(one)
        for all_of_it in wholes.values():
            rest = whole = round(sum(signed(one, exact, step) for one in all_of_it))
            open_ones = []
            for one in all_of_it:
                then, handed = stays.get((one.entry, one.lot, one.role, name), (None, 0))
                if getattr(one, exact) in (0, then):
                    handed = handed if getattr(one, exact) else 0
                    setattr(one, name, handed)
                    rest -= -handed if one.role in GOING else handed
                else:
                    open_ones.append(one)
            if rest and not open_ones:  # what changed is gone: all is handed out again
                rest, open_ones = whole, all_of_it
            _over_cells(open_ones, rest, (name, exact, step))


def _over_cells(rows: list[Moved], whole: int, handed: tuple[str, str, int]) -> None:
    name, exact, step = handed
    cells: dict[tuple[date, int], list[Moved]] = defaultdict(list)
    for one in rows:
        cells[one.day, one.lot].append(one)
    within = [[signed(one, exact, step) for one in cells[key]] for key in sorted(cells)]
    sums = [sum(parts, Fraction()) for parts in within]
    for key, parts, steps in zip(sorted(cells), within, shared(whole, sums), strict=True):
        for one, at in zip(cells[key], shared(steps, parts), strict=True):
            setattr(one, name, -at if one.role in GOING else at)


def signed(one: Moved, number: str, step: int) -> Fraction:
    """What is told as going out is shared as such."""
    exact = Fraction(getattr(one, number), step)
    return -exact if one.role in GOING else exact


def measure(one: Moved) -> tuple[str, int]:
    if one.role in ("sold", "back"):
        return "sold", 0
    if one.role in ("lost", "shrunk", "stranded"):
        return ("lost", 0) if one.cost or one.kind != "spent" else ("binned", 0)
    return one.role, one.card.stage
