"""The book as a graph, built from entries and lines alone: what a trace and a recall must find.

It shares no code with the site: no query of the farm, no worked edge, flow or walk. Corrections and
reversals are added up by the place of their entry; networkx walks.
"""

import json
from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

import networkx as nx

from farm.models import GivenAway, LoadLine, Recall, Sale, Stage, StallDay
from ledger.models import Entry, Line, Lot, Mark, Role

CROP = (Stage.CROP, Stage.DRIED, Stage.PACKS)
Nameless = tuple[date, str, int]


@dataclass
class Expected:
    """What a recall must say. ``lots``: on its list; ``left``: struck since it was opened.

    ``customers`` by key, ``nameless`` by place or reason, each with the lots they received.
    """

    lots: set[int]
    left: set[int]
    here: set[int]
    customers: dict[int, set[int]]
    nameless: dict[str, set[int]]


class Graph:
    """``ways``: used lot to made lot, with the place of the entry; all else read off the lines."""

    def __init__(self) -> None:
        self.lots = {lot.pk: lot for lot in Lot.objects.select_related("item", "card")}
        self.entries = {entry.seq: entry for entry in Entry.objects.all()}
        self.gone = {e.place for e in self.entries.values() if e.takes_back}
        self.moved: Counter[tuple[int, int, str]] = Counter()
        self.taken: Counter[tuple[int, int]] = Counter()
        self.sale_of: dict[int, int] = {}
        self._add_lines()
        self.sales = {sale.entry_id: sale for sale in Sale.objects.select_related("place")}
        self.given = {
            given.entry_id: given for given in GivenAway.objects.select_related("sale__place")
        }
        self.ways: Any = nx.DiGraph()
        self.choices: dict[int, dict[str, set[int]]] = defaultdict(lambda: defaultdict(set))
        self._add_ways()

    # --- read ---------------------------------------------------------------------------------

    def _add_lines(self) -> None:
        stated: dict[tuple[int, int], list[int]] = defaultdict(lambda: [0, 0, 0])
        for line in Line.objects.select_related("entry", "returns__entry"):
            place = line.entry.place
            self.moved[place, line.lot_id, str(line.role)] += line.quantity
            if line.role == Role.USED:
                numbers = (line.given_mg, -line.quantity, line.basis)
                stated[place, line.lot_id] = [
                    a + b for a, b in zip(stated[place, line.lot_id], numbers, strict=True)
                ]
            if line.returns:
                self.sale_of[place] = line.returns.entry.place
        for key, numbers_of in stated.items():
            self.taken[key] = next((number for number in numbers_of if number), 0)

    def _add_ways(self) -> None:
        self.ways.add_nodes_from(self.lots)
        made: dict[int, set[int]] = defaultdict(set)
        for (place, lot, role), quantity in self.moved.items():
            if role == Role.MADE and quantity > 0:
                made[place].add(lot)
        for (place, src), quantity in self.taken.items():
            for dst in made[place] if quantity > 0 else set():
                self.ways.add_edge(src, dst, place=place)
                self.choices[dst][self._choice(src)].add(src)

    def _choice(self, pk: int) -> str:
        """What a lot can stand in for: all crop, loose or packed; else its stage, or its name."""
        lot = self.lots[pk]
        stage = Stage(lot.card.stage)
        if stage == Stage.SUPPLY:
            return lot.item.name
        return "crop" if stage in CROP else stage.label

    # --- ask ----------------------------------------------------------------------------------

    def ahead(self, suspects: Iterable[int]) -> set[int]:
        found = set(suspects)
        return found.union(*(nx.descendants(self.ways, lot) for lot in found))

    def behind(self, lots: Iterable[int]) -> set[int]:
        found = set(lots)
        return found.union(*(nx.ancestors(self.ways, lot) for lot in found))

    def certain(self, suspects: Iterable[int]) -> set[int]:
        """Lots of which no unit can be clean.

        A unit may be clean if of every kind that went in there was something clean to go in.
        """
        bad, clean = set(suspects), set[int]()
        for lot in nx.topological_sort(self.ways):
            kinds = self.choices[lot].values()
            if lot not in bad and all(kind & clean for kind in kinds):
                clean.add(lot)
        return self.ahead(bad) - clean

    def on_hand(self) -> Counter[int]:
        held: Counter[int] = Counter()
        for (_, lot, _), quantity in self.moved.items():
            held[lot] += quantity
        return held

    def mass_mg(self, lot: int, quantity: int) -> int:
        return quantity * (self.lots[lot].unit_mass_mg or 1)

    def kept_mg(self, lots: set[int]) -> dict[int, int]:
        """What each named customer received of some lots, less what came back."""
        kept: Counter[int] = Counter()
        for (place, lot, role), quantity in self.moved.items():
            sale = self.sales.get(self.sale_of.get(place, place))
            moved = lot in lots and role in (Role.SOLD, Role.BACK) and quantity
            if moved and sale and sale.customer_id:
                kept[sale.customer_id] -= self.mass_mg(lot, quantity)
        return dict(kept)

    def received(self, lots: set[int]) -> dict[int, set[int]]:
        """Which lots each named customer received, also those that came back since."""
        found: dict[int, set[int]] = defaultdict(set)
        for (place, lot, role), quantity in self.moved.items():
            sale = self.sales.get(place)
            if role == Role.SOLD and quantity and lot in lots and sale and sale.customer_id:
                found[sale.customer_id].add(lot)
        return dict(found)

    def nameless(self, lots: set[int]) -> set[Nameless]:
        """Day, place (or why it was given) and lot, where nobody's name is known."""
        found = set(self._loaded(lots))
        for (place, lot, role), quantity in self.moved.items():
            if lot not in lots or not quantity:
                continue
            sale, given = self.sales.get(place), self.given.get(place)
            day = self.entries[place].happened_on
            if role == Role.SOLD and sale and not sale.customer_id and not sale.stall_day_id:
                found.add((day, sale.place.name, lot))
            elif role == Role.LOST and given and not given.sale:
                found.add((day, given.why, lot))
        return found

    def _loaded(self, lots: set[int]) -> Iterable[Nameless]:
        """Every lot loaded for a stall of which not all came back, as far as is known."""
        settled = {
            sale.stall_day_id: place for place, sale in self.sales.items() if place not in self.gone
        }
        for day in StallDay.objects.select_related("place").exclude(entry__in=self.gone):
            place = settled.get(day.pk)
            for load in LoadLine.objects.filter(stall_day=day, lot__in=lots):
                if place is None or self._left(place, load.lot_id):
                    yield (day.day, day.place.name, load.lot_id)

    def _left(self, settling: int, lot: int) -> bool:
        """Some of it was sold or given away there, or may have been: it was counted with others."""
        codes = json.loads(self.entries[settling].particulars).get("counted_together", ())
        together = {pk for pk, one in self.lots.items() if one.code in codes}
        alike = {pk for pk in together if self.lots[pk].item_id == self.lots[lot].item_id}
        candidates = alike if lot in alike else {lot}
        places = [
            settling,
            *(
                at
                for at, given in self.given.items()
                if given.sale and given.sale.entry_id == settling
            ),
        ]
        return any(
            self.moved[at, pk, role]
            for at in places
            for pk in candidates
            for role in (Role.SOLD, Role.LOST)
        )

    # --- recalls ------------------------------------------------------------------------------

    def held(self) -> set[int]:
        marks = Mark.objects.exclude(entry__place__in=self.gone).order_by("pk")
        last = dict(marks.values_list("lot_id", "held"))
        return {lot for lot, held in last.items() if held}

    def expected(self, recall: Recall) -> Expected:
        """What a recall lists now: frozen lots, and what was made of those still on the list."""
        said = json.loads(recall.frozen)
        codes = {lot["code"] for lot in said["lots"]}
        start = {pk for pk, lot in self.lots.items() if lot.code in codes}
        released = self._released(recall)
        found: set[int] = set()
        for lot in nx.topological_sort(self.ways):
            if lot in start or any(
                src in found and self.ways[src][lot]["place"] < released.get(src, float("inf"))
                for src in self.ways.predecessors(lot)
            ):
                found.add(lot)
        left = found & set(released)
        lots = found - left
        nameless: dict[str, set[int]] = defaultdict(set)
        for _, where, lot in self.nameless(lots):
            nameless[where].add(lot)
        held = self.on_hand()
        return Expected(
            lots, left, {lot for lot in lots if held[lot]}, self.received(lots), dict(nameless)
        )

    def _released(self, recall: Recall) -> dict[int, int]:
        marks = Mark.objects.filter(held=False, entry__gt=recall.entry_id)
        standing = marks.exclude(entry__place__in=self.gone).order_by("-pk")
        return dict(standing.values_list("lot_id", "entry_id"))
