"""What every line of a plain book moves in cost, worked with exact fractions.

Written anew from the rules, without a line of the real book's arithmetic: nothing is rounded but
planned losses and what earlier picks count for, whose rounding is part of their rule. The real
book rounds each division down to a whole unit, so it is off by less than one unit a division.
"""

from collections import defaultdict
from fractions import Fraction
from math import floor

from tests.ledger.plain_book import Happening, PlainBook

ROLES = ("bought", "made", "back", "counted", "shrunk", "lost", "used", "sold")
Key = tuple[int, int, str]


class _Pick:
    """A weight picked at a place, with what is still to come of so many pieces."""

    def __init__(self, place: int, said: dict[str, int]) -> None:
        self.place, self.given = place, said["given_mg"]
        self.turn, self.pieces = said["turn"], said["pieces"]
        self.planned, self.later = said["turn_mg"], said["later_mg"]
        self.shares = not said["worth"]

    def share(self, before: list["_Pick"]) -> Fraction:
        """Say which part of what is left it takes, after these."""
        gone = sum(
            floor(Fraction(one.given * self.pieces, one.pieces))
            for one in [*before, self]
            if one.turn == self.turn and one.pieces
        )
        return Fraction(self.given, self.given + max(0, self.planned - gone) + self.later)


class PlainCosts:
    """``moved``: by lot, place and role, signed as seen from the lot."""

    def __init__(self, plain: PlainBook) -> None:
        self.plain = plain
        self.moved: dict[Key, Fraction] = defaultdict(Fraction)
        self.picks: dict[int, list[_Pick]] = {}
        born: dict[int, int] = {}
        for place, happening in sorted(plain.happened.items()):
            for lot, _ in happening.lines:
                born.setdefault(lot, place)
        self.born = born
        for lot in sorted(born, key=lambda one: (born[one], one)):
            _Life(self, lot).walk()

    def share(self, place: int, lot: int) -> Fraction:
        """What a lot takes of an entry: its worth, by-products first, or its part of the rest."""
        made = {
            key[0]: said
            for key, said in self.plain.happened[place].said.items()
            if key[1] == "made"
        }
        left = self.pool(place)
        for one in sorted(made):
            worth = min(left, Fraction(made[one].get("worth", 0)))
            left -= worth
            if one == lot and made[one].get("worth"):
                return worth
        return left * made[lot]["basis"] / sum(said.get("basis", 0) for said in made.values())

    def pool(self, place: int) -> Fraction:
        """What an entry has to share: what it used of other lots, and what was charged."""
        used = [m for (_, at, role), m in self.moved.items() if (at, role) == (place, "used")]
        return self.plain.happened[place].charged - sum(used, Fraction())


class _Life:
    def __init__(self, costs: PlainCosts, lot: int) -> None:
        self.costs, self.lot = costs, lot
        self.cost, self.quantity, self.free = Fraction(), 0, 0
        self.spent = False
        self.picks: list[_Pick] = []
        self.given: list[_Pick] = []
        self.worths: list[tuple[int, int]] = []
        self.scrapped = 0
        whole = costs.plain.part_of.get(lot)
        self.earlier = [p for p in costs.picks.get(whole or 0, []) if p.place < costs.born[lot]]
        self.was_picked = any(p.shares for p in self.earlier)

    def walk(self) -> None:
        for place, happening in sorted(self.costs.plain.happened.items()):
            self.fall(place, happening)
            for role in ROLES:
                if (self.lot, role) in happening.lines:
                    self.step(place, happening, role)
                    if self.quantity <= 0 and not self.picks:
                        self.move(place, "stranded", -self.cost)
        if self.picks and (self.spent or self.quantity <= 0):
            self.settle()
        self.costs.picks[self.lot] = [*self.earlier, *self.given]

    def move(self, place: int, role: str, cost: Fraction) -> None:
        self.cost += cost
        if cost:
            self.costs.moved[self.lot, place, role] += cost

    def fall(self, place: int, happening: Happening) -> None:
        self.move(place, "made", Fraction(happening.falls.get(self.lot, 0)))

    def step(self, place: int, happening: Happening, role: str) -> None:
        quantity = happening.lines[self.lot, role]
        said = happening.said.get((self.lot, role), {})
        if role in ("bought", "made"):
            self.come_in(place, happening, quantity, said)
        elif role == "back":
            self.come_back(place, happening, quantity)
        elif role == "lost":
            self.lose(place, -quantity, said)
        elif role in ("used", "sold"):
            self.go(place, role, -quantity, said=said)
        else:
            self.quantity += quantity

    def go(self, place: int, role: str, quantity: int, *, said: dict[str, int]) -> None:
        if said.get("worth"):
            if said["given_mg"]:
                self.given.append(_Pick(place, said))
            if place != self.scrapped:
                self.by_product(place, said["worth"])
        elif said.get("given_mg"):
            self.pick(place, said)
        else:
            self.free = max(0, self.free - said.get("planned_loss_count", 0))
            self.draw(place, role, quantity)

    def come_in(
        self, place: int, happening: Happening, quantity: int, said: dict[str, int]
    ) -> None:
        role = "bought" if (self.lot, "bought") in happening.lines else "made"
        self.quantity += quantity
        self.free += quantity * said.get("planned_loss_ppm", 0) // 10**6
        self.free += said.get("planned_loss_count", 0)
        self.move(place, role, Fraction(said.get("money", 0)))
        if role == "made" and (said.get("basis") or said.get("worth")):
            self.move(place, role, self.costs.share(place, self.lot))

    def come_back(self, place: int, happening: Happening, quantity: int) -> None:
        sale = happening.returns
        sold = -self.costs.plain.happened[sale].lines.get((self.lot, "sold"), 0)
        whole = -self.costs.moved[self.lot, sale, "sold"]
        self.quantity += quantity
        if sold:
            self.move(place, "back", whole * quantity / sold)

    def draw(self, place: int, role: str, quantity: int) -> None:
        if self.quantity > 0:
            self.move(place, role, -self.cost * quantity / self.quantity)
        self.quantity -= quantity

    def pick(self, place: int, said: dict[str, int]) -> None:
        one = _Pick(place, said)
        self.move(place, "used", -self.cost * one.share([*self.earlier, *self.given]))
        self.picks.append(one)
        self.given.append(one)

    def by_product(self, place: int, worth: Fraction | int) -> None:
        """It takes its worth, and no more than there is; once spent, before the picks share."""
        if self.picks:
            self.worths.append((place, int(worth)))
        self.move(place, "used", -min(self.cost, Fraction(worth)))

    def lose(self, place: int, quantity: int, said: dict[str, int]) -> None:
        closes, worth = bool(said.get("closes")), said.get("worth", 0)
        self.spent |= closes
        self.scrapped = place if worth else self.scrapped
        if self.picks or (self.was_picked and not closes):
            self.by_product(place, worth)
            self.quantity -= quantity
        elif closes:
            self.quantity -= quantity
            self.move(place, "lost", -self.cost)
        else:
            free = min(quantity, self.free)
            self.free -= free
            if place == self.costs.born[self.lot]:  # found by what made it: beyond plan first
                self.draw(place, "lost", quantity - free)
                self.quantity -= free
            else:
                planned = worth * free // quantity if quantity else 0
                bearing = said.get("basis", 0) * (self.quantity - free)
                if planned and bearing and self.quantity > quantity:
                    part = Fraction(planned, planned + bearing)
                    self.move(place, "used", -self.cost * part)
                else:
                    self.by_product(place, planned)
                self.quantity -= free
                before = self.cost
                self.draw(place, "lost", quantity - free)
                saved = min(before - self.cost, Fraction(worth - planned))
                self.costs.moved[self.lot, place, "lost"] += saved
                self.costs.moved[self.lot, place, "used"] -= saved

    def settle(self) -> None:
        """Once spent, all cost ever on the lot is shared by the weight picked."""
        at = {(self.lot, pick.place, "used") for pick in self.picks}
        at |= {(self.lot, place, "used") for place, _ in self.worths}
        ever = [m for key, m in self.costs.moved.items() if key[0] == self.lot and key not in at]
        left = sum(ever, Fraction())
        for place, worth in self.worths:
            self.costs.moved[self.lot, place, "used"] = -min(left, Fraction(worth))
            left -= min(left, Fraction(worth))
        weight = sum(pick.given for pick in self.picks)
        for pick in self.picks:
            share = left * pick.given / weight
            self.costs.moved[self.lot, pick.place, "used"] = -share
