"""What the book itself says that belongs in the binder: runs, drying, picks, packing, shipping."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import Sum

from farm.kinds.particulars import Particulars
from farm.models import LotCard, Placing, RunReadings, Sale, Stage, StallDay
from farm.queries.entries import EntryRow, entries, particulars, rows_of
from ledger.models import Entry, Line, Lot
from ledger.tracing import behind


@dataclass(frozen=True)
class Moved:
    """What an entry says of a lot, as corrected since; ``gave_mg``: what was picked off it."""

    lot: Lot
    role: str
    quantity: int
    gave_mg: int


@dataclass(frozen=True)
class Version:
    """What an entry said of a lot from one entry on, until it was corrected or taken back.

    ``by``: the entry that said it; ``gone``: it says nothing any more, as it was taken back.
    """

    moved: Moved
    by: Entry
    is_struck: bool
    gone: bool = False


@dataclass(frozen=True)
class BookRow:
    """``strains``: species and strain of its lots; ``rooms``: where they stood and were put.

    ``versions``: of each number that was corrected, what it was, one after the other.
    """

    row: EntryRow
    moved: tuple[Moved, ...]
    said: Particulars
    strains: tuple[str, ...]
    rooms: tuple[str, ...]
    to: str
    versions: tuple[Version, ...]

    @property
    def is_corrected(self) -> bool:
        return any(not version.gone and not version.is_struck for version in self.versions)


def book_rows(kinds: Sequence[str], first: date, last: date) -> list[BookRow]:
    """Entries of some kinds on some days, oldest first, as they stand; a dozen queries."""
    found = entries().filter(kind__in=kinds, amends=None, happened_on__range=(first, last))
    rows = rows_of(found.order_by("happened_at", "seq"))
    seqs = [row.entry.seq for row in rows]
    moved, lots = _moved(seqs)
    strains, rooms, to = _strains(lots), _Rooms.of(lots), _receivers(seqs)
    versions = _versions(seqs, lots)
    return [
        BookRow(
            row,
            tuple(moved[row.entry.seq]),
            particulars(row.entry),
            tuple(
                sorted(
                    {name for one in moved[row.entry.seq] for name in strains.get(one.lot.pk, ())}
                )
            ),
            rooms.at(row.entry.seq, [one.lot.pk for one in moved[row.entry.seq]]),
            to.get(row.entry.seq, ""),
            tuple(versions[row.entry.seq]),
        )
        for row in rows
    ]


def readings_in(first: date, last: date) -> dict[int, RunReadings]:
    """The standing set of readings of each run on some days, by the run's entry."""
    rows = RunReadings.objects.filter(entry__happened_on__range=(first, last))
    return {row.entry_id: row for row in rows.select_related("entry").order_by("pk")}


# --- species, strain, room, receiver ---------------------------------------------------------


def _strains(lots: Mapping[int, Lot]) -> dict[int, tuple[str, ...]]:
    """Name the species and strain of each lot; what was mixed names the strains behind it."""
    cards = LotCard.objects.filter(lot__in=lots).select_related("species", "strain__species")
    found = {card.lot_id: card for card in cards}
    mixed = [pk for pk, one in found.items() if one.species_id and not one.strain_id]
    blocks = _blocks_behind(mixed)
    names: dict[int, tuple[str, ...]] = {}
    for pk, card in found.items():
        if card.strain:
            names[pk] = (str(card.strain),)
        elif card.species:
            names[pk] = tuple(sorted(blocks[pk])) or (f"{card.species}, strain not known",)
    return names


def _blocks_behind(lots: Iterable[int]) -> dict[int, set[str]]:
    """The strains of the blocks that each lot came from; two queries a lot, and two more."""
    kin = {lot: set(behind([lot]).born_at) for lot in lots}
    every = set().union(*kin.values())
    cards = LotCard.objects.filter(lot__in=every, stage=Stage.BLOCKS).exclude(strain=None)
    strains = {card.lot_id: str(card.strain) for card in cards.select_related("strain__species")}
    found: dict[int, set[str]] = defaultdict(set)
    for lot, sources in kin.items():
        found[lot] = {strains[source] for source in sources & strains.keys()}
    return found


@dataclass(frozen=True)
class _Rooms:
    """Each lot's placings that stand: the entry that put it there, and the room; in order."""

    placed: Mapping[int, Sequence[tuple[int, str]]]

    @classmethod
    def of(cls, lots: Iterable[int]) -> "_Rooms":
        rows = Placing.objects.filter(lot__in=lots).standing()
        placed: dict[int, list[tuple[int, str]]] = defaultdict(list)
        told = rows.order_by("entry", "pk").values_list("lot", "entry", "shelf__room__name")
        for lot, entry, room in told:
            placed[lot].append((entry, room))
        return cls(placed)

    def at(self, seq: int, lots: Sequence[int]) -> tuple[str, ...]:
        """Where the lots of an entry stood before it, then where it put what it made."""
        stood = [
            [room for entry, room in self.placed.get(lot, ()) if entry < seq][-1:] for lot in lots
        ]
        put = [[room for entry, room in self.placed.get(lot, ()) if entry == seq] for lot in lots]
        before = dict.fromkeys(room for rooms in stood for room in rooms)
        after = dict.fromkeys(room for rooms in put for room in rooms if room not in before)
        return (*before, *(f"to {room}" if before else room for room in after))


def _receivers(seqs: Sequence[int]) -> dict[int, str]:
    """Where goods went: the place, and the customer by number, as a name may be erased."""
    days = StallDay.objects.filter(entry__in=seqs).select_related("place")
    found = {one.entry_id: str(one.place) for one in days}
    for sale in Sale.objects.filter(entry__in=seqs).select_related("place"):
        customer = f", customer {sale.customer_id}" if sale.customer_id else ""
        found[sale.entry_id] = f"{sale.place}{customer}"
    return found


# --- what moved, as it stands and as it was --------------------------------------------------


def _moved(seqs: Sequence[int]) -> tuple[dict[int, list[Moved]], dict[int, Lot]]:
    """Add up the lines of entries with those of their amendments, lot by lot; two queries."""
    sums = (
        Line.objects.standing_at(seqs)
        .values_list("entry__place", "lot", "role")
        .annotate(Sum("quantity"), Sum("given_mg"))
        .order_by("entry__place", "lot")
    )
    rows = list(sums)
    lots = Lot.objects.select_related("item", "card").in_bulk({row[1] for row in rows})
    found: dict[int, list[Moved]] = defaultdict(list)
    for seq, lot, role, quantity, given_mg in rows:
        found[seq].append(Moved(lots[lot], role, quantity, given_mg))
    return found, lots


def _versions(seqs: Sequence[int], lots: Mapping[int, Lot]) -> dict[int, list[Version]]:
    """Tell each number that was changed as it was and as it is, in the order of the changes."""
    amended = Entry.objects.filter(amends__in=seqs).values("amends")
    lines = Line.objects.standing_at(amended).select_related("entry")
    told: dict[tuple[int, int, str], list[Version]] = defaultdict(list)
    sums: dict[tuple[int, int, str], tuple[int, int]] = {}
    for line in lines.order_by("entry__place", "lot", "role", "entry", "pk"):
        key = (line.entry.place, line.lot_id, line.role)
        quantity, gave_mg = sums.get(key, (0, 0))
        sums[key] = (quantity + line.quantity, gave_mg + line.given_mg)
        if sums[key] != (quantity, gave_mg):
            moved = Moved(lots[line.lot_id], line.role, *sums[key])
            told[key].append(Version(moved, line.entry, True, line.entry.takes_back))
    found: dict[int, list[Version]] = defaultdict(list)
    for (place, _, _), one in told.items():
        if len(one) > 1:
            last = one[-1]
            standing = Version(last.moved, last.by, False, last.gone)
            found[place] += [*one[:-1], standing]
    return found
