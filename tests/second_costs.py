"""Work every cost of the book a second time, from lines and charges alone.

The rules are those of the design's section 4, in whole ten-thousandths: what is drawn takes its
part of what stood at the start of the stretch, running sums rounded down; a planned loss leaves
free; picks share by what is still expected, once spent by what was picked; a by-product that is
taken off takes its worth first, of each kind of cost its part, and no more than there is. No code
of the ledger is used, so that a rule that is changed there is missed here.
"""

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, field
from operator import add, neg, sub

from ledger.models import Charge, Line, Lot

KINDS = ("materials", "paid", "own", "energy", "room")
# Within one entry a lot's lines work in this order.
ORDER = ("bought", "made", "back", "counted", "shrunk", "lost", "used", "sold")
SUMMED = (
    "quantity", "money", "basis", "given_mg", "turn", "pieces", "turn_mg",
    "later_mg", "worth", "planned_loss_ppm", "planned_loss_count", "closes",
)  # fmt: skip
Key = tuple[int, int, str]  # entry, lot, role
Cost = tuple[int, ...]  # in the order of KINDS
NONE: Cost = (0,) * len(KINDS)


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
        """What a pick gave; what is taken at a stated worth without a quantity is one too.

        What takes its worth off shares with nobody.
        """
        if self.role != "used" or self.worth:
            return 0
        return self.given_mg or (0 if self.quantity else self.basis)


@dataclass
class Book:
    """``steps``: each lot's, in order. ``born``: at which entry. ``whole``: what it was part of.

    ``charged`` and ``used``: the cost that an entry has to share; charged on a lot or on all.
    """

    steps: dict[int, list[Step]]
    born: dict[int, int]
    whole: dict[int, int | None]
    charged: dict[tuple[int, int | None], Cost]
    made: dict[int, dict[int, Step]] = field(default_factory=lambda: defaultdict(dict))
    used: dict[int, Cost] = field(default_factory=lambda: defaultdict(lambda: NONE))


def second_costs(known: Collection[int] | None = None) -> dict[Key, int]:
    """Say what each entry moved into or out of each lot; ``known``: the entries to work with."""
    book = _read(known)
    for lot, steps in sorted(book.steps.items()):
        for step in steps:
            if step.role == "made":
                book.made[step.entry][lot] = step
    total: dict[Key, int] = {}
    for lot in sorted(book.steps, key=lambda lot: (book.born[lot], lot)):
        walk = Walk(book.born[lot], _earlier(book, lot))
        for (entry, role), cost in walk.through(book.steps[lot], _inflow(book, lot)).items():
            total[entry, lot, role] = sum(cost)
            if role == "used":
                book.used[entry] = each(sub, book.used[entry], cost)
    return total


def _read(known: Collection[int] | None) -> Book:
    steps = _steps(known)
    charged: dict[tuple[int, int | None], Cost] = defaultdict(lambda: NONE)
    for charge in Charge.objects.select_related("entry"):
        if known is None or charge.entry_id in known:
            at = charge.entry.place, charge.lot_id
            amounts = tuple(charge.amount if kind == charge.kind else 0 for kind in KINDS)
            charged[at] = each(add, charged[at], amounts)
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


def _inflow(book: Book, lot: int) -> dict[int, Cost]:
    """What a lot is given: its share of what an entry used and charged, and what falls on it."""
    given = {}
    for step in book.steps[lot]:
        if step.role == "made":
            pool = each(add, book.used[step.entry], book.charged.get((step.entry, None), NONE))
            falls = book.charged.get((step.entry, lot), NONE)
            given[step.entry] = each(add, falls, _share(book.made[step.entry], lot, pool))
    return given


def _share(made: dict[int, Step], lot: int, pool: Cost) -> Cost:
    """By-products take their worth, the earlier lot first; the rest goes by basis."""
    for one, step in sorted(made.items()):
        taken = off(step.worth, pool)
        if one == lot and step.worth:
            return taken
        pool = each(sub, pool, taken)
    bases = {one: step.basis for one, step in made.items() if step.basis > 0}
    if lot not in bases:
        return NONE
    before, whole = sum(basis for one, basis in bases.items() if one < lot), sum(bases.values())
    return each(lambda all_of_it: running(all_of_it, before, bases[lot], whole), pool)


def each(rule: Callable[..., int], *costs: Cost) -> Cost:
    return tuple(map(rule, *costs))


def running(total: int, before: int, part: int, whole: int) -> int:
    """The part of a total by running sums, each rounded down."""
    return total * (before + part) // whole - total * before // whole


def off(worth: int, cost: Cost) -> Cost:
    """What a worth takes of a cost: all kinds in their parts, and no more than there is."""
    whole = sum(cost)
    if whole <= 0:
        return NONE
    least = min(worth, whole)
    return tuple(running(least, sum(cost[:at]), one, whole) for at, one in enumerate(cost))


class Walk:
    """One lot's life."""

    def __init__(self, born: int, earlier: Sequence[Step]) -> None:
        self.born, self.earlier = born, list(earlier)
        self.cost = NONE
        self.quantity = self.allowed = self.drawn = 0
        self.stretch = (NONE, 0)
        self.moved: dict[tuple[int, str], Cost] = defaultdict(lambda: NONE)
        self.picks: list[Step] = []
        # Whatever was weighed out, by-products too; and what took its worth off after a pick.
        self.given: list[Step] = []
        self.taken_off: list[Step] = []
        self.scrapped = 0
        self.spent = False
        self.returned: dict[int, int] = defaultdict(int)
        self.sold: dict[int, int] = {}

    def through(
        self, steps: Sequence[Step], inflow: dict[int, Cost]
    ) -> dict[tuple[int, str], Cost]:
        for step in steps:
            self.take(step, inflow.get(step.entry, NONE))
            if self.quantity <= 0 and not self.picks and any(self.cost):
                self.out(step.entry, "stranded", self.cost)
                self.begin()
        if self.picks and (self.spent or self.quantity <= 0):
            self.settle()
        return self.moved

    def take(self, step: Step, given: Cost) -> None:
        if step.role in ("bought", "made"):
            self.allowed += step.quantity * step.planned_loss_ppm // 10**6 + step.planned_loss_count
            paid = tuple(step.money if kind == "materials" else 0 for kind in KINDS)
            self.come(step, each(add, given if step.role == "made" else NONE, paid))
        elif step.role in ("counted", "shrunk"):
            self.come(step, NONE)
        elif step.role == "back":
            self.come_back(step)
        elif step.role == "lost":
            self.lose(step)
        elif step.worth:
            self.by_product(step)
        elif step.weight:
            self.pick(step)
        else:
            self.leave(step)

    def begin(self) -> None:
        self.stretch, self.drawn = (self.cost, self.quantity), 0

    def move(self, entry: int, role: str, cost: Cost) -> None:
        self.moved[entry, role] = each(add, self.moved[entry, role], cost)

    def come(self, step: Step, cost: Cost) -> None:
        self.quantity += step.quantity
        self.cost = each(add, self.cost, cost)
        self.move(step.entry, step.role, cost)
        if step.quantity or any(cost):
            self.begin()

    def out(self, entry: int, role: str, cost: Cost) -> None:
        self.cost = each(sub, self.cost, cost)
        self.move(entry, role, each(neg, cost))

    def draw(self, step: Step, quantity: int) -> None:
        start, whole = self.stretch
        before, self.drawn = self.drawn, self.drawn + quantity
        self.quantity -= quantity
        if whole > 0 and self.drawn == whole:
            part = self.cost
        elif whole > 0:
            part = each(lambda cost: running(cost, before, quantity, whole), start)
        else:
            part = NONE
        self.out(step.entry, step.role, part)

    def free(self, step: Step, quantity: int) -> None:
        self.quantity -= quantity
        self.move(step.entry, step.role, NONE)
        if quantity:
            self.begin()

    def leave(self, step: Step) -> None:
        """Used or sold; at a stated worth, against what stays."""
        if step.role == "used" and step.basis > 0:
            self.quantity += step.quantity
            whole = step.basis + max(self.quantity, 0)
            self.out(step.entry, "used", each(lambda cost: cost * step.basis // whole, self.cost))
            self.begin()
            return
        if step.role == "sold":
            self.sold[step.entry] = -step.quantity
        self.allowed = max(self.allowed - step.planned_loss_count, 0)
        self.draw(step, -step.quantity)

    def by_product(self, step: Step) -> None:
        """Trim alone or spent blocks take their worth; what was binned took its own as lost."""
        self.given.append(step)
        if step.entry != self.scrapped:
            self.take_off(step, step.worth)

    def take_off(self, step: Step, worth: int) -> None:
        if self.picks:
            self.taken_off.append(step)
        self.out(step.entry, "used", off(worth, self.cost))
        self.begin()

    def pick(self, step: Step) -> None:
        self.picks.append(step)
        self.given.append(step)
        given = sum(
            one.given_mg * step.pieces // one.pieces
            for one in (*self.earlier, *self.given)
            if one.turn == step.turn and one.pieces
        )
        whole = step.weight + max(0, step.turn_mg - given) + step.later_mg
        self.out(step.entry, "used", each(lambda cost: cost * step.weight // whole, self.cost))
        self.begin()

    def lose(self, step: Step) -> None:
        quantity = -step.quantity
        self.spent = self.spent or step.closes > 0
        self.scrapped = step.entry if step.worth else self.scrapped
        # Of the crop: trim alone is no pick.
        before_split = any(one.weight for one in self.earlier)
        if self.picks or (before_split and step.closes <= 0):
            if step.worth:
                self.take_off(step, step.worth)
            self.free(step, quantity)
        elif step.closes > 0:
            self.quantity -= quantity
            self.out(step.entry, "lost", self.cost)
            self.begin()
        else:
            self.lose_by_plan(step, quantity)

    def lose_by_plan(self, step: Step, quantity: int) -> None:
        free = min(quantity, self.allowed)
        self.allowed -= free
        if step.entry == self.born:  # a check that passes the rest finds what is beyond plan first
            self.draw(step, quantity - free)
            self.free(step, free)
            return
        planned = step.worth * free // quantity if quantity else 0
        stays = self.quantity - quantity
        if planned and step.basis and stays > 0:  # one more share, by worth, of what bears cost
            whole = planned + step.basis * (stays + quantity - free)
            self.out(step.entry, "used", each(lambda cost: cost * planned // whole, self.cost))
            self.begin()
        elif planned:
            self.take_off(step, planned)
        self.free(step, free)
        before = self.cost
        self.draw(step, quantity - free)
        # What those beyond plan are worth is no loss: it goes into what is made of them.
        saved = off(step.worth - planned, each(sub, before, self.cost))
        self.move(step.entry, "lost", saved)
        self.move(step.entry, "used", each(neg, saved))

    def come_back(self, step: Step) -> None:
        sold, before = self.sold.get(step.returns, 0), self.returned[step.returns]
        self.returned[step.returns] += step.quantity
        whole = self.moved.get((step.returns, "sold"), NONE)
        self.come(
            step,
            each(lambda cost: running(-cost, before, step.quantity, sold), whole) if sold else NONE,
        )

    def settle(self) -> None:
        """Once spent, all cost ever on the lot is shared by picked weight, less what is taken off.

        What was taken off before the first pick stands as it was then.
        """
        keys = {(step.entry, "used") for step in (*self.picks, *self.taken_off)}
        left = NONE
        for key, cost in self.moved.items():
            left = left if key in keys else each(add, left, cost)
        for step in self.taken_off:
            part = off(step.worth, left)
            left = each(sub, left, part)
            self.moved[step.entry, "used"] = each(neg, part)
        weights = [pick.weight for pick in self.picks]
        for at, pick in enumerate(self.picks):
            before, weight, whole = sum(weights[:at]), weights[at], sum(weights)
            self.moved[pick.entry, "used"] = tuple(
                -running(cost, before, weight, whole) for cost in left
            )


def differences(
    costs: dict[Key, int], flows: Iterable[tuple[Key, int]]
) -> dict[Key, tuple[int, int]]:
    """Where the book's own flows say something else."""
    told = dict(flows)
    return {
        key: (costs.get(key, 0), told.get(key, 0))
        for key in costs.keys() | told.keys()
        if costs.get(key, 0) != told.get(key, 0)
    }
