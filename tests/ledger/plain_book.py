"""A second book, of plain dicts: it knows what was stated of each lot, and no database.

It foretells what the real book must refuse and what is left in each lot, by adding up the whole
history anew each time; it shares no code with the real one. `plain_costs` works its costs.
"""

from collections import Counter, defaultdict
from copy import deepcopy
from dataclasses import dataclass, field

ADDS = {"bought", "made", "back", "counted"}


@dataclass
class Happening:
    """One entry, as amended. ``lines``: quantity by (lot, role). ``returns``: the sale's entry.

    ``said``: the other numbers of a line. ``charged``: what the entry's outputs share; ``falls``:
    what falls on one lot.
    """

    lines: dict[tuple[int, str], int] = field(default_factory=dict)
    said: dict[tuple[int, str], dict[str, int]] = field(default_factory=dict)
    charged: int = 0
    falls: dict[int, int] = field(default_factory=dict)
    returns: int = 0
    standing: bool = True

    @property
    def picked(self) -> set[int]:
        return {lot for (lot, _), said in self.said.items() if said.get("given_mg")}


@dataclass
class PlainBook:
    """``happened``: by place. ``marks``: place, lot, and whether it is put on hold; in order.

    ``part_of``: the whole that a lot was split off.
    """

    happened: dict[int, Happening] = field(default_factory=dict)
    marks: list[tuple[int, int, bool]] = field(default_factory=list)
    part_of: dict[int, int] = field(default_factory=dict)

    def held(self) -> set[int]:
        """The lots whose last mark that was not taken back puts them on hold."""
        last = {
            lot: held
            for place, lot, held in self.marks
            if place not in self.happened or self.happened[place].standing
        }
        return {lot for lot, held in last.items() if held}

    def quantities(self) -> Counter[int]:
        total: Counter[int] = Counter()
        for happening in self.happened.values():
            for (lot, _), quantity in happening.lines.items():
                total[lot] += quantity
        return total

    def came_in(self) -> tuple[int, int, int]:
        """Money paid, hours charged, and room that fell on one lot."""
        standing = [h for h in self.happened.values() if h.standing]
        return (
            sum(said.get("money", 0) for h in standing for said in h.said.values()),
            sum(h.charged for h in standing),
            sum(sum(h.falls.values()) for h in standing),
        )

    def is_sound(self) -> bool:
        """No lot is ever below zero or picked when empty; no more comes back than was sold."""
        return self._never_short() and self._returns_fit()

    def with_one_more(self, happening: Happening) -> "PlainBook":
        return self.with_change(max(self.happened, default=0) + 1, happening)

    def with_change(self, place: int, happening: Happening) -> "PlainBook":
        changed = PlainBook(dict(self.happened), self.marks, self.part_of)
        changed.happened[place] = happening
        return changed

    def without(self, place: int) -> "PlainBook":
        """What is left when an entry is taken back: it happened, and did nothing."""
        before = self.happened[place]
        lines = dict.fromkeys(before.lines, 0)
        nothing = Happening(lines, returns=before.returns, standing=False)
        return self.with_change(place, nothing)

    def stood_on(self, place: int) -> bool:
        """Say whether something later that stands names a lot that was made here."""
        lots = {lot for (lot, _) in self.happened[place].lines}
        made = {lot for lot in lots if lot not in self._named_before(place)}
        later = [h for at, h in self.happened.items() if at > place and h.standing]
        return any(lot in made for happening in later for (lot, _) in happening.lines)

    def _named_before(self, place: int) -> set[int]:
        earlier = [h for at, h in self.happened.items() if at < place]
        return {lot for happening in earlier for (lot, _) in happening.lines}

    def amended(self, place: int, key: tuple[int, str], by: int) -> Happening:
        happening = deepcopy(self.happened[place])
        happening.lines[key] += by
        return happening

    def weighed_anew(self, place: int, lot: int, by: int) -> Happening:
        happening = deepcopy(self.happened[place])
        happening.said[lot, "used"]["given_mg"] += by
        return happening

    def _never_short(self) -> bool:
        running: Counter[int] = Counter()
        for _, happening in sorted(self.happened.items()):
            for (lot, _), quantity in happening.lines.items():
                running[lot] += quantity
            if any(running[lot] < 0 for lot, _ in happening.lines):
                return False
            if any(running[lot] <= 0 for lot in happening.picked):
                return False
        return True

    def _returns_fit(self) -> bool:
        back: dict[tuple[int, int], int] = defaultdict(int)
        for happening in self.happened.values():
            for (lot, role), quantity in happening.lines.items():
                if role == "back":
                    back[happening.returns, lot] += quantity
        return all(
            quantity <= -self.happened[sale].lines.get((lot, "sold"), 0)
            for (sale, lot), quantity in back.items()
        )


def turns_round(happening: Happening) -> bool:
    """Say whether some line now does the opposite of what its role says."""
    return any(q < 0 if role in ADDS else q > 0 for (_, role), q in happening.lines.items())
