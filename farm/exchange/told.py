"""What entries say, told in the order in which the book learned it: first so, then corrected so.

An export states the past as it was recorded, and each correction as one. So an entry has as many
versions as it was corrected, plus one.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TypeVar

from django.db.models import Q, QuerySet, Sum

from farm.exchange.choosing import Places, places_of
from farm.kinds.particulars import Particulars
from farm.models import GivenAway, LoadLine, Placing, Sale, SellingPlace, Shelf
from farm.queries.entries import particulars
from ledger.models import Entry, Line, Lot, Mark, Role

Row = TypeVar("Row")
_CARD = ("species", "strain__species", "recipe__recipe", "supplier", "product")


@dataclass(frozen=True)
class Stated:
    """What a version says of one lot in one role; ``given_mg``: the weight that a pick took."""

    lot: Lot
    role: str
    quantity: int
    given_mg: int
    basis: int = 0


@dataclass(frozen=True)
class Version:
    """``entry``: the one that said so, the first or a correction of it."""

    entry: Entry
    lines: tuple[Stated, ...]


@dataclass
class Told:
    """One thing that happened. ``place``: where goods were sold or loaded for.

    ``loaded``: what the stall day took along, by lot id; ``given``: of a settling, what was given
    away there. ``given_as``: of what was given away, as what.
    """

    root: Entry
    versions: list[Version] = field(default_factory=list)
    taken_back_by: Entry | None = None
    marks: list[Mark] = field(default_factory=list)
    shelves: dict[int, Shelf] = field(default_factory=dict)
    sale: Sale | None = None
    place: SellingPlace | None = None
    loaded: dict[int, int] = field(default_factory=dict)
    given: dict[int, int] = field(default_factory=dict)
    given_as: str = ""

    @property
    def particulars(self) -> Particulars:
        return particulars(self.root)


def tell(entries: QuerySet[Entry]) -> list[Told]:
    """Tell what some entries say, each with all its corrections; ten queries, however many."""
    places = places_of(entries)
    rows = list(Entry.objects.standing_at(places).order_by("seq"))
    lines = _lines_by_entry(places)
    told: dict[int, Told] = {}
    said: dict[int, list[Line]] = defaultdict(list)
    for entry in rows:
        if entry.takes_back:
            told[entry.place].taken_back_by = entry
            continue
        one = told.setdefault(entry.place, Told(entry))
        said[entry.place] += lines[entry.seq]
        one.versions.append(Version(entry, _added_up(said[entry.place])))
    _add_beside(told, places)
    _add_sales(told, said, places)
    _add_given(told, places)
    return list(told.values())


def _lines_by_entry(places: Places) -> dict[int, list[Line]]:
    lines = Line.objects.standing_at(places).order_by("entry_id", "pk")
    related = [f"lot__card__{name}" for name in _CARD]
    return _grouped(lines.select_related("lot__item", "returns__entry", *related), "entry_id")


def _added_up(lines: Iterable[Line]) -> tuple[Stated, ...]:
    """Add an entry's lines and those of its corrections, by lot and role."""
    sums: dict[tuple[int, str], tuple[Lot, int, int, int]] = {}
    for line in lines:
        key = (line.lot_id, str(line.role))
        lot, quantity, given_mg, basis = sums.get(key, (line.lot, 0, 0, 0))
        numbers = (quantity + line.quantity, given_mg + line.given_mg, basis + line.basis)
        sums[key] = (lot, *numbers)
    return tuple(Stated(lot, key[1], *numbers) for key, (lot, *numbers) in sums.items())


def _add_beside(told: dict[int, Told], places: Places) -> None:
    """Add holds and shelves."""
    marks = Mark.objects.standing_at(places).order_by("pk")
    for mark in marks.select_related("lot__item", "lot__card__supplier", "entry"):
        if not mark.entry.takes_back:
            told[mark.entry.place].marks.append(mark)
    placings = Placing.objects.filter(entry__in=places).select_related("shelf__room")
    for placing in placings:
        told[placing.entry_id].shelves[placing.lot_id] = placing.shelf


def _add_sales(told: dict[int, Told], said: dict[int, list[Line]], places: Places) -> None:
    """Add the sale that an entry is, or that goods came back from, and what a stall day loaded."""
    sold_at = {
        place: lines[0].returns.entry.place if lines and lines[0].returns else place
        for place, lines in said.items()
    }
    returned = Line.objects.standing_at(places).values("returns__entry__place")
    sales = Sale.objects.filter(
        Q(entry__in=places) | Q(entry__in=returned.exclude(returns=None))
    ).select_related("place", "customer")
    by_entry = {sale.entry_id: sale for sale in sales}
    by_day, by_load = _loads(places)
    for place, one in told.items():
        one.sale = by_entry.get(sold_at[place])
        if one.sale:
            one.place = one.sale.place
        loads = by_day.get(one.sale.stall_day_id or 0, []) if one.sale else by_load.get(place, [])
        for load in loads:
            one.place = load.stall_day.place
            one.loaded[load.lot_id] = load.quantity


def _add_given(told: dict[int, Told], places: Places) -> None:
    """Add as what something was given away, and to a settling what was given away with it."""
    rows = GivenAway.objects.filter(entry__in=places).select_related("sale__place")
    for row in rows:
        told[row.entry_id].given_as = row.why
        told[row.entry_id].place = row.sale.place if row.sale else None
    of_settling = GivenAway.objects.filter(sale__entry__in=places)
    settled_by = dict(of_settling.values_list("entry", "sale__entry"))
    lines = Line.objects.standing_at(settled_by).filter(role=Role.LOST).order_by()
    for entry, lot, quantity in lines.values_list("entry__place", "lot").annotate(Sum("quantity")):
        given = told[settled_by[entry]].given
        given[lot] = given.get(lot, 0) - quantity


def _loads(places: Places) -> tuple[dict[int, list[LoadLine]], dict[int, list[LoadLine]]]:
    """What was loaded, by stall day and by the loading's entry."""
    lines = LoadLine.objects.filter(
        Q(stall_day__entry__in=places)
        | Q(stall_day__in=Sale.objects.filter(entry__in=places).values("stall_day"))
    ).select_related("stall_day__place")
    by_day = _grouped(lines.order_by("pk"), "stall_day_id")
    return by_day, {loads[0].stall_day.entry_id: loads for loads in by_day.values()}


def _grouped(rows: Iterable[Row], name: str) -> dict[int, list[Row]]:
    found: dict[int, list[Row]] = defaultdict(list)
    for row in rows:
        found[getattr(row, name)].append(row)
    return found
