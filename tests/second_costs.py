"""Work every cost of the book a second time, from lines and charges alone, one kind at a time.

The rules are those of the design's section 4, in whole ten-thousandths: what is drawn takes its
part of what stood at the start of the stretch, running sums rounded down; a planned loss leaves
free; picks share by what is still expected, once spent by what was picked. No code of the ledger
is used, so that a rule that is changed there is missed here.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field

from ledger.models import Charge, Line, Lot

KINDS = ("materials", "paid", "own", "energy", "room")
# Within one entry a lot's lines work in this order.
ORDER = ("bought", "made", "back", "counted", "shrunk", "lost", "used", "sold")
SUMMED = (
    "quantity", "money", "basis", "given_mg", "turn", "pieces", "turn_mg",
    "later_mg", "planned_loss_ppm", "planned_loss_count", "closes",
)  # fmt: skip
Key = tuple[int, int, str]  # entry, lot, role


@dataclass
class Step:
    """A line with its corrections added up."""

    entry: int
    role: str
    numbers: dict[str, int] = field(default_factory=lambda: dict.fromkeys(SUMMED, 0))
    returns: int = 0

    def __getattr__(self, name: str) -> int:
        return self.numbers[name]

    @property
    def weight(self) -> int:
        """What a pick gave; what is taken at a stated worth without a quantity is one too."""
        if self.role != "used":
            return 0
        return self.given_mg or (0 if self.quantity else self.basis)


@dataclass
class Book:
    """``steps``: each lot's, in order. ``born``: at which entry. ``whole``: what it was part of."""

    steps: dict[int, list[Step]]
    born: dict[int, int]
    whole: dict[int, int | None]
    charged: dict[tuple[int, int | None], dict[str, int]]


def second_costs(known: Collection[int] | None = None) -> dict[Key, int]:
    """Say what each entry moved into or out of each lot; ``known``: the entries to work with."""
    book = _read(known)
    made: dict[int, dict[int, int]] = defaultdict(dict)
    for lot, steps in sorted(book.steps.items()):
        for step in steps:
            if step.role == "made":
                made[step.entry][lot] = step.basis
    total: dict[Key, int] = defaultdict(int)
    for kind in KINDS:
        used: dict[int, int] = defaultdict(int)
        for lot in sorted(book.steps, key=lambda lot: (book.born[lot], lot)):
            walk = Walk(book.born[lot], _earlier(book, lot))
            inflow = _inflow(book, lot, kind, made=made, used=used)
            for key, cost in walk.through(book.steps[lot], inflow, kind).items():
                total[key[0], lot, key[1]] += cost
                if key[1] == "used":
                    used[key[0]] -= cost
    return total


def _read(known: Collection[int] | None) -> Book:
    steps = _steps(known)
    charged: dict[tuple[int, int | None], dict[str, int]] = defaultdict(lambda: defaultdict(int))
    for charge in Charge.objects.select_related("entry"):
        if known is None or charge.entry_id in known:
            at = charge.entry.place, charge.lot_id
            charged[at][str(charge.kind)] += charge.amount
    for entry, lot in charged:
        if lot is not None:  # comes into that lot before anything else is done with it
            steps.setdefault((entry, lot, "made"), Step(entry, "made"))
    by_lot: dict[int, list[Step]] = defaultdict(list)
    for key in sorted(steps, key=lambda key: (key[0], ORDER.index(key[2]))):
        by_lot[key[1]].append(steps[key])
    lots = Lot.objects.in_bulk(list(by_lot))
    wholes = {pk: lot.part_of_id for pk, lot in lots.items()}
    return Book(dict(by_lot), {pk: lot.made_by_id for pk, lot in lots.items()}, wholes, charged)


def _steps(known: Collection[int] | None) -> dict[Key, Step]:
    """Add every line and its corrections up, at the place of what they correct."""
    steps: dict[Key, Step] = {}
    lines = Line.objects.order_by("entry_id", "pk").select_related("entry", "returns__entry")
    for line in lines:
        if known is not None and line.entry_id not in known:
            continue
        key = (line.entry.place, line.lot_id, str(line.role))
        step = steps.setdefault(key, Step(key[0], key[2]))
        if line.returns and not step.returns:
            step.returns = line.returns.entry.place
        for name in SUMMED:
            step.numbers[name] += getattr(line, name)
    return steps


def _earlier(book: Book, lot: int) -> list[Step]:
    """What was picked of the whole before a part of it became a lot of its own."""
    whole = book.whole.get(lot)
    if whole is None:
        return []
    before = [*_earlier(book, whole), *book.steps[whole]]
    return [step for step in before if step.given_mg and step.entry < book.born[lot]]


def _inflow(
    book: Book, lot: int, kind: str, *, made: dict[int, dict[int, int]], used: dict[int, int]
) -> dict[int, int]:
    """What a lot is given: its share of what an entry used and charged, and what falls on it."""
    given = {}
    for step in book.steps[lot]:
        if step.role != "made":
            continue
        sharers = {one: basis for one, basis in made[step.entry].items() if basis > 0}
        pool = used[step.entry] + book.charged.get((step.entry, None), {}).get(kind, 0)
        given[step.entry] = book.charged.get((step.entry, lot), {}).get(kind, 0)
        if lot in sharers:
            before = sum(basis for one, basis in sharers.items() if one < lot)
            given[step.entry] += running(pool, before, sharers[lot], sum(sharers.values()))
    return given


def running(total: int, before: int, part: int, whole: int) -> int:
    """The part of a total by running sums, each rounded down."""
    return total * (before + part) // whole - total * before // whole


class Walk:
    """One lot's life, one kind of cost."""

    def __init__(self, born: int, earlier: Sequence[Step]) -> None:
        self.born, self.earlier = born, list(earlier)
        self.cost = self.quantity = self.allowed = 0
        self.stretch = (0, 0)
        self.drawn = 0
        self.moved: dict[tuple[int, str], int] = defaultdict(int)
        self.picks: list[Step] = []
        self.spent = False
        self.returned: dict[int, int] = defaultdict(int)
        self.sold: dict[int, int] = {}

    def through(
        self, steps: Sequence[Step], inflow: dict[int, int], kind: str
    ) -> dict[tuple[int, str], int]:
        for step in steps:
            money = step.money if kind == "materials" else 0
            self.take(step, inflow.get(step.entry, 0), money)
            if self.quantity <= 0 and not self.picks and self.cost:
                self.out(step.entry, "stranded", self.cost)
                self.begin()
        if self.picks and (self.spent or self.quantity <= 0):
            self.settle()
        return self.moved

    def take(self, step: Step, given: int, money: int) -> None:
        if step.role in ("bought", "made"):
            self.allowed += step.quantity * step.planned_loss_ppm // 10**6 + step.planned_loss_count
            self.come(step, step.quantity, (given if step.role == "made" else 0) + money)
        elif step.role in ("counted", "shrunk"):
            self.come(step, step.quantity, 0)
        elif step.role == "back":
            self.come_back(step)
        elif step.role == "lost":
            self.lose(step)
        elif step.weight:
            self.pick(step)
        else:
            self.leave(step)

    def begin(self) -> None:
        self.stretch, self.drawn = (self.cost, self.quantity), 0

    def come(self, step: Step, quantity: int, cost: int) -> None:
        self.quantity += quantity
        self.cost += cost
        self.moved[step.entry, step.role] += cost
        self.changed = bool(quantity or cost)
        if self.changed:
            self.begin()

    def out(self, entry: int, role: str, cost: int) -> None:
        self.cost -= cost
        self.moved[entry, role] -= cost

    def draw(self, step: Step, quantity: int) -> None:
        cost, whole = self.stretch
        part = running(cost, self.drawn, quantity, whole) if whole > 0 else 0
        self.drawn += quantity
        self.quantity -= quantity
        self.out(step.entry, step.role, self.cost if whole > 0 and self.drawn == whole else part)

    def free(self, step: Step, quantity: int) -> None:
        self.quantity -= quantity
        self.moved[step.entry, step.role] += 0
        if quantity:
            self.begin()

    def leave(self, step: Step) -> None:
        """Used or sold; at a stated worth, against what stays."""
        if step.role == "used" and step.basis > 0:
            self.quantity += step.quantity
            self.out(
                step.entry, "used", self.cost * step.basis // (step.basis + max(self.quantity, 0))
            )
            self.begin()
            return
        if step.role == "sold":
            self.sold[step.entry] = -step.quantity
        self.allowed = max(self.allowed - step.planned_loss_count, 0)
        self.draw(step, -step.quantity)

    def pick(self, step: Step) -> None:
        self.picks.append(step)
        given = sum(
            one.given_mg * step.pieces // one.pieces
            for one in (*self.earlier, *self.picks) if one.turn == step.turn and one.pieces
        )  # fmt: skip
        expected = max(0, step.turn_mg - given) + step.later_mg
        self.out(step.entry, "used", self.cost * step.weight // (step.weight + expected))
        self.begin()

    def lose(self, step: Step) -> None:
        quantity = -step.quantity
        self.spent = self.spent or step.closes > 0
        if self.picks or (self.earlier and step.closes <= 0):
            self.free(step, quantity)
        elif step.closes > 0:
            self.quantity -= quantity
            self.out(step.entry, "lost", self.cost)
            self.begin()
        else:
            free = min(quantity, self.allowed)
            self.allowed -= free
            parts = [(self.free, free), (self.draw, quantity - free)]
            # A check that passes the rest finds what is beyond plan first.
            for taken, part in reversed(parts) if step.entry == self.born else parts:
                taken(step, part)

    def come_back(self, step: Step) -> None:
        sold, before = self.sold.get(step.returns, 0), self.returned[step.returns]
        self.returned[step.returns] += step.quantity
        cost = -self.moved.get((step.returns, "sold"), 0)
        part = running(cost, before, step.quantity, sold) if sold else 0
        self.come(step, step.quantity, part)

    def settle(self) -> None:
        """Once spent, all cost ever on the lot is shared by picked weight."""
        keys = {(pick.entry, "used") for pick in self.picks}
        total = sum(cost for key, cost in self.moved.items() if key not in keys)
        weights = [pick.weight for pick in self.picks]
        for at, pick in enumerate(self.picks):
            part = running(total, sum(weights[:at]), weights[at], sum(weights))
            self.moved[pick.entry, "used"] = -part


def differences(
    costs: dict[Key, int], flows: Iterable[tuple[Key, int]]
) -> dict[Key, tuple[int, int]]:
    """Where the book's own flows say something else."""
    told = dict(flows)
    return {
        key: (costs.get(key, 0), told.get(key, 0))
        for key in costs.keys() | told.keys() if costs.get(key, 0) != told.get(key, 0)
    }  # fmt: skip
