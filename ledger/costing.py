"""The arithmetic of one lot's whole life: which cost each line carries in or out.

Pure: takes the lot's steps in order, returns what each moved. Costs are vectors of whole numbers
(the book uses five kinds; a trace by quantity uses one, as a dye), each kind conserved alone.

* Within a stretch, draw k takes C*cum_k//M - C*cum_(k-1)//M; anything but a draw that changes
  quantity or cost starts a new stretch at what is on hand. The last draw takes all.
* Losses: the planned number leaves without cost, each further piece carries its share out.
  40 pieces at 210.80, 7 %: two free, the next three carry 16.6421. A loss found by the very
  entry that made the lot (an inspection) takes the pieces beyond plan out first, at the cost
  sunk so far, so that the planned loss falls on the passed only.
* Picks share the lot's cost by weight: until it is spent, weight / (weight + weight still
  expected) of what is left; afterwards all cost ever on the lot by picked weight. A lot gives in
  turns, each picked over days: 40 pieces at 200.0000, planned 0.5 and 0.2 kg a piece; 8 kg take
  57.1428 and 9 kg more of the first turn 64.2857.
* What is used at a stated worth states it as the quantity that is worth as much (basis): of a
  picked lot it is one more pick of that weight, of any other basis / (basis + what stays).
* A by-product takes its stated worth out, and no more than there is, before picks share. What is
  lost and worth something still: the part of what leaves free lowers what stays, the part of what
  is beyond plan lowers that loss. 1,000 at 70,000, 100 planned, 120 lost and worth 600: 69,500
  over 900; 20 carry 1,544.44, of which 100 are no loss. Where a loss states what one of the rest
  is worth (basis), what leaves free shares by worth: at 99.50 each, 500 of 90,050 parts.
* Pieces binned after the first pick, of the lot or of the whole that it was split off, carry no
  cost; cost on an emptied lot is stranded, a loss.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from ledger.amounts import part_worth, rate_of, split
from ledger.models import Role

Cost = tuple[int, ...]

RANK: dict[str, int] = {role.value: rank for rank, role in enumerate(Role)}
_BOUGHT, _MADE, _BACK, _LOST = (r.value for r in (Role.BOUGHT, Role.MADE, Role.BACK, Role.LOST))
_USED, _SOLD = Role.USED.value, Role.SOLD.value
_STRANDED = Role.STRANDED.value


@dataclass(slots=True)
class Step:
    """One effective line of a lot: the original and its amendments added up."""

    place: int
    role: str
    quantity: int = 0
    money: int = 0
    basis: int = 0
    given_mg: int = 0
    turn: int = 0
    pieces: int = 0
    turn_mg: int = 0
    later_mg: int = 0
    worth: int = 0
    planned_loss_ppm: int = 0
    planned_loss_count: int = 0
    closes: int = 0
    returns_place: int = 0

    @property
    def picked_mg(self) -> int:
        """The weight that a pick shares cost by; 0 where this is none, or takes its worth."""
        return 0 if self.worth else self.weight_mg

    @property
    def weight_mg(self) -> int:
        """The weight that a pick took, or what it took is worth as much as."""
        takes_none = self.role == _USED and not self.quantity
        return self.given_mg or (self.basis if takes_none else 0)


@dataclass(slots=True)
class Life:
    """What a lot came to. ``moved``: cost by (place, role), signed as seen from the lot."""

    moved: dict[tuple[int, str], Cost]
    quantity: int = 0
    cost: Cost = ()
    shares_open: bool = False
    # The first place where the lot falls below zero or is picked when empty, and by how much.
    short: tuple[int, int] | None = None


@dataclass(slots=True)
class _Hand:
    """What is on hand while a life is walked through."""

    zero: Cost
    born_at: int
    life: Life
    cost: Cost
    earlier: Sequence[Step] = ()
    quantity: int = 0
    # The stretch: what was on hand at its start, and how much was drawn since.
    start_cost: Cost = ()
    start_quantity: int = 0
    drawn: int = 0
    allowed: int = 0
    sold: dict[int, int] = field(default_factory=dict)
    returned: dict[int, int] = field(default_factory=dict)
    picks: list[Step] = field(default_factory=list)
    # By-products that were taken out after the first pick, where a lost part is, and its worth.
    worths: list[Step] = field(default_factory=list)
    scrapped_at: int = 0
    # Every weight that was given, of a by-product too: what is still expected is less by it.
    given: list[Step] = field(default_factory=list)
    spent: bool = False

    @property
    def was_picked(self) -> bool:
        """Say whether it was picked, or the whole before it was split off; of a main crop."""
        return bool(self.picks) or any(step.picked_mg for step in self.earlier)

    def restart(self) -> None:
        self.start_cost, self.start_quantity, self.drawn = self.cost, self.quantity, 0

    def receive(self, step: Step, quantity: int, cost: Cost) -> None:
        self.quantity += quantity
        self.note(step, cost)
        if quantity or any(cost):
            self.cost = _add(self.cost, cost)
            self.restart()

    def draw(self, step: Step, quantity: int) -> None:
        """Take a share out by the rule of the stretch."""
        before, self.drawn = self.drawn, self.drawn + quantity
        whole, now = self.start_quantity, self.drawn
        if whole <= 0:
            out = self.zero
        elif now == whole:
            out = self.cost  # what the rule comes to: the last draw takes all that is left
        else:
            out = tuple([c * now // whole - c * before // whole for c in self.start_cost])
        self.quantity -= quantity
        self.give(step, out)

    def give(self, step: Step, out: Cost) -> None:
        self.cost = tuple([a - b for a, b in zip(self.cost, out, strict=True)])
        self.note(step, tuple([-c for c in out]))

    def leave_free(self, step: Step, quantity: int) -> None:
        self.quantity -= quantity
        self.note(step, self.zero)
        if quantity:
            self.restart()

    def note(self, step: Step, cost: Cost) -> None:
        key = (step.place, step.role)
        known = self.life.moved.get(key)
        self.life.moved[key] = cost if known is None else _add(known, cost)


def still_expected(pick: Step, picks: Iterable[Step]) -> int:
    """Work out what a lot still gives after a pick: max(0, planned of its turn - given) + later.

    ``picks``: those up to it, itself included; also what was picked of the whole that the lot was
    split off. Each counts by pieces, now / then, rounded down: 8 kg of 40 pieces are 4 kg of 20.
    """
    same = (one for one in picks if one.turn == pick.turn and one.pieces)
    given_mg = sum(one.given_mg * pick.pieces // one.pieces for one in same)
    return max(0, pick.turn_mg - given_mg) + pick.later_mg


def work(
    steps: Sequence[Step],
    inflow: dict[int, Cost],
    born_at: int,
    *,
    earlier: Sequence[Step] = (),
    kinds: int = 5,
) -> Life:
    """Walk through a lot's steps, in order, and say what each moved.

    ``inflow``: the cost that the lot is given by place: its share of the making entry's inputs
    and charges, and of later charges. A bought step's own money comes on top as materials.
    ``born_at``: the place of the entry that made the lot. ``earlier``: what was picked of the
    whole before this part was split off.
    """
    zero = (0,) * kinds
    hand = _Hand(zero, born_at, Life({}), zero, earlier, start_cost=zero)
    for step in steps:
        _take(hand, step, inflow.get(step.place, zero))
        if hand.quantity < 0:
            hand.life.short = (step.place, -hand.quantity)
        if hand.life.short:
            break  # refused: what would follow means nothing
        if hand.quantity <= 0 and not hand.picks and any(hand.cost):
            _strand(hand, step)
    life = hand.life
    if hand.picks and (hand.spent or hand.quantity <= 0):
        _settle(hand)
    life.quantity, life.cost = hand.quantity, hand.cost
    life.shares_open = bool(hand.picks) and not (hand.spent or hand.quantity <= 0)
    return life


def _take(hand: _Hand, step: Step, given: Cost) -> None:
    """Let one step act on what is on hand."""
    role = step.role
    if role in (_USED, _SOLD):
        _draw_or_pick(hand, step)
    elif role in (_BOUGHT, _MADE):
        hand.allowed += rate_of(step.quantity, step.planned_loss_ppm) + step.planned_loss_count
        money = (step.money, *hand.zero[1:])
        hand.receive(step, step.quantity, _add(given, money) if step.money else given)
    elif role == _BACK:
        _come_back(hand, step)
    elif role == _LOST:
        _lose(hand, step)
    else:  # counted adds and shrunk takes away, both without cost
        hand.receive(step, step.quantity, hand.zero)


def _draw_or_pick(hand: _Hand, step: Step) -> None:
    if step.worth:
        _give_worth(hand, step)
    elif step.picked_mg > 0:
        _pick(hand, step)
    elif step.role == _USED and step.basis > 0:
        _draw_by_worth(hand, step)
    else:
        if step.role == _SOLD:
            hand.sold[step.place] = -step.quantity
        # What is split off takes its part of the planned loss along.
        hand.allowed = max(hand.allowed - step.planned_loss_count, 0)
        hand.draw(step, -step.quantity)


def _draw_by_worth(hand: _Hand, step: Step) -> None:
    """Take out the share of a stated worth against what stays; all where nothing does."""
    hand.quantity += step.quantity
    whole = step.basis + max(hand.quantity, 0)
    hand.give(step, tuple([c * step.basis // whole for c in hand.cost]))
    hand.restart()


def _give_worth(hand: _Hand, step: Step) -> None:
    """Let a by-product take its worth; what was lost and worth something took its own by then."""
    if step.given_mg and hand.quantity <= 0:
        hand.life.short = (step.place, 0)
    hand.given.append(step)
    if step.place != hand.scrapped_at:
        _take_out(hand, step.place, step.worth)


def _take_out(hand: _Hand, place: int, worth: int, *, beside: int = 0) -> None:
    """Take a worth out, or where it shares with the worth of what is ``beside`` it, its part."""
    step = Step(place, _USED, worth=worth)
    if hand.picks:
        hand.worths.append(step)
    if beside:
        hand.give(step, tuple([c * worth // (worth + beside) for c in hand.cost]))
    else:
        hand.give(step, part_worth(worth, hand.cost))
    hand.restart()


def _pick(hand: _Hand, step: Step) -> None:
    # What only shares as a pick would may be all that was left, binned in the same entry.
    if step.given_mg and hand.quantity <= 0:
        hand.life.short = (step.place, 0)
    hand.picks.append(step)
    hand.given.append(step)
    whole = step.picked_mg + still_expected(step, (*hand.earlier, *hand.given))
    out = tuple([c * step.picked_mg // whole for c in hand.cost])
    hand.give(step, out)
    hand.restart()


def _lose(hand: _Hand, step: Step) -> None:
    """Bin pieces: free within the plan or after the first pick, else with their cost."""
    quantity = -step.quantity
    if step.worth:
        hand.scrapped_at = step.place
    if step.closes > 0:
        hand.spent = True
    if hand.was_picked and (hand.picks or not step.closes):
        _leave_free(hand, step, quantity, worth=step.worth)
    elif step.closes > 0:  # spent without a pick: all is loss
        hand.quantity -= quantity
        hand.give(step, hand.cost)
        hand.restart()
    else:
        _lose_unpicked(hand, step, quantity)


def _lose_unpicked(hand: _Hand, step: Step, quantity: int) -> None:
    free = min(quantity, hand.allowed)
    hand.allowed -= free
    if step.place == hand.born_at:
        hand.draw(step, quantity - free)
        hand.leave_free(step, free)
        return
    worth = step.worth * free // quantity if free else 0
    stays = hand.quantity > quantity  # where nothing does, there is nothing to share with
    beside = step.basis * (hand.quantity - free) if stays else 0
    _leave_free(hand, step, free, worth=worth, beside=beside)
    before = hand.cost
    hand.draw(step, quantity - free)
    if step.worth > worth:  # what is beyond plan: not a loss, but part of what is made of it
        lost = [a - b for a, b in zip(before, hand.cost, strict=True)]
        part = part_worth(step.worth - worth, lost)
        hand.note(step, part)
        hand.note(Step(step.place, _USED), tuple([-c for c in part]))


def _leave_free(hand: _Hand, step: Step, quantity: int, *, worth: int, beside: int = 0) -> None:
    """Bin pieces without cost, but for what they are worth still."""
    if worth:
        _take_out(hand, step.place, worth, beside=beside)
    hand.leave_free(step, quantity)


def _come_back(hand: _Hand, step: Step) -> None:
    """Take a return in with its part of the sale's worked cost."""
    place = step.returns_place
    sold = hand.sold.get(place, 0)
    before = hand.returned.get(place, 0)
    now = hand.returned[place] = before + step.quantity
    if now > sold:
        hand.life.short = (step.place, now - sold)
    whole = [-c for c in hand.life.moved.get((place, _SOLD), hand.zero)]
    part = tuple([c * now // sold - c * before // sold for c in whole]) if sold else hand.zero
    hand.receive(step, step.quantity, part)


def _strand(hand: _Hand, step: Step) -> None:
    """Cost that lands on an empty lot is a loss of the period."""
    hand.give(Step(step.place, _STRANDED), hand.cost)
    hand.restart()


def _settle(hand: _Hand) -> None:
    """Share all cost ever on a spent lot by picked weight, once by-products took their worth."""
    moved = hand.life.moved
    for step in (*hand.picks, *hand.worths):
        moved.pop((step.place, step.role), None)
    whole: Cost = tuple([sum(amounts) for amounts in zip(*moved.values(), hand.zero, strict=True)])
    for step in hand.worths:
        part = part_worth(step.worth, whole)
        whole = tuple([a - b for a, b in zip(whole, part, strict=True)])
        moved[step.place, step.role] = tuple([-c for c in part])
    weights = [pick.picked_mg for pick in hand.picks]
    shares = zip(*(split(total, weights) for total in whole), strict=True)
    for pick, share in zip(hand.picks, shares, strict=True):
        moved[pick.place, pick.role] = tuple([-c for c in share])
    hand.cost = hand.zero


def _add(one: Cost, other: Cost) -> Cost:
    return tuple([a + b for a, b in zip(one, other, strict=True)])
