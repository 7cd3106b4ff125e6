"""What was recorded: entries as they were written, and as they stand."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from uuid import UUID

from django.db.models import Exists, OuterRef, QuerySet, Sum

from farm.kinds import kind_named
from farm.kinds.particulars import Particulars
from farm.kinds.selling import Load
from farm.models import Person, Stage
from ledger.models import Entry, Line, Lot, Role

# What is done often is read from so many entries.
NEWEST = 300
# Recorded more than a day after it happened: the record shows that it is late.
LATE = timedelta(days=1)


@dataclass(frozen=True)
class Standing:
    """What an entry says about a lot in one role: as written, and as corrected since.

    ``loaded``: how much of it a load took along, which moves nothing in the book.
    ``is_correctable``: the kind of the entry says that this number can be stated anew.
    """

    lot: Lot
    role: str
    written: int
    now: int
    money_written: int
    money_now: int
    gave_written_mg: int
    gave_now_mg: int
    loaded: int = field(default=0, kw_only=True)
    is_correctable: bool = field(default=False, kw_only=True)

    @property
    def says_something(self) -> bool:
        return any(
            (
                self.written,
                self.now,
                self.money_written,
                self.money_now,
                self.gave_written_mg,
                self.gave_now_mg,
            )
        )

    @property
    def is_corrected(self) -> bool:
        written = (self.written, self.money_written, self.gave_written_mg)
        return written != (self.now, self.money_now, self.gave_now_mg)

    @property
    def can_be_corrected(self) -> bool:
        """Say whether there is a quantity to state anew; what is only named has none.

        What was corrected to nothing can be stated again, unless it was made or given: the cost
        is shared by that number, and nothing shares none.
        """
        restores = self.written and self.role != Role.MADE
        return self.is_correctable and bool(self.now or self.gave_now_mg or restores)


@dataclass(frozen=True)
class EntryRow:
    """One line of a list of entries: who by initials, the lots by code, whether it still stands."""

    entry: Entry
    by: str
    lots: tuple[Lot, ...]
    taken_back: bool
    late: bool


def entries() -> QuerySet[Entry]:
    """All entries, newest first, each marked ``taken_back``."""
    backs = Entry.objects.filter(amends=OuterRef("pk"), takes_back=True)
    return Entry.objects.annotate(taken_back=Exists(backs)).order_by("-seq")


def amendments_of(entry: Entry) -> QuerySet[Entry]:
    """What corrected an entry or took it back, oldest first."""
    return entries().filter(amends=entry).order_by("seq")


def rows_of(found: Iterable[Entry]) -> list[EntryRow]:
    """Complete entries for a list; three queries, however many there are."""
    listed = list(found)
    lots: dict[int, dict[int, Lot]] = {entry.pk: {} for entry in listed}
    lines = Line.objects.filter(entry__in=listed).select_related("lot__item").order_by("pk")
    for line in lines:
        lots[line.entry_id][line.lot_id] = line.lot
    who = initials()
    return [
        EntryRow(
            entry,
            signature(entry, who),
            tuple(lots[entry.pk].values()),
            getattr(entry, "taken_back", False),
            is_late(entry),
        )
        for entry in listed
    ]


def recent(count: int = 5) -> list[EntryRow]:
    """The last entries that were recorded."""
    return rows_of(entries()[:count])


def initials() -> Mapping[int, str]:
    return dict(Person.objects.values_list("pk", "initials"))


def signature(entry: Entry, who: Mapping[int, str]) -> str:
    """Say who signed, and in brackets under whose sign-in where that was another's."""
    signed = who.get(entry.by, "?")
    typed_by = particulars(entry).typed_by
    if typed_by is None:
        return signed
    return f"{signed} by PIN ({who.get(typed_by, '?')})"


def is_late(entry: Entry) -> bool:
    return entry.recorded_at - entry.happened_at > LATE


def standing(entry: Entry) -> list[Standing]:
    """Add up an entry's lines with its amendments, lot by lot; what was taken back comes to 0.

    A lot that is only named is listed where the entry says nothing else of it.
    """
    lines = Line.objects.standing_at(entry.place).select_related("lot__item", "lot__card")
    sums: dict[tuple[int, str], list[int]] = {}
    lots: dict[int, Lot] = {}
    for line in lines.order_by("entry_id", "pk"):
        lots[line.lot_id] = line.lot
        at = sums.setdefault((line.lot_id, line.role), [0] * 6)
        is_first = line.entry_id == entry.place
        for place, value in enumerate((line.quantity, line.money, line.given_mg)):
            at[place * 2] += value if is_first else 0
            at[place * 2 + 1] += value
    loaded = Load.read(entry.particulars).loaded or {}
    corrects = kind_named(entry.kind).corrects
    found = [
        Standing(
            lots[lot],
            role,
            *numbers,
            loaded=loaded.get(lots[lot].code, 0),
            is_correctable=role in corrects,
        )
        for (lot, role), numbers in sums.items()
    ]
    told = {line.lot.pk for line in found if line.says_something}
    return [line for line in found if line.says_something or line.lot.pk not in told]


def on_hand_before(entry: Entry) -> dict[int, int]:
    """What was there of each lot of an entry before it, by pk, as it stands now; one query."""
    lots = Line.objects.filter(entry=entry).order_by().values("lot")
    before = Line.objects.filter(lot__in=lots, entry__place__lt=entry.place).order_by()
    return dict(before.values_list("lot_id").annotate(Sum("quantity")))


def particulars(entry: Entry) -> Particulars:
    """Read what was stated beside an entry, in the shape of its kind."""
    return kind_named(entry.kind).particulars.read(entry.particulars)


def entry_of(uuid: str) -> Entry | None:
    """Find the entry that a form made."""
    try:
        return Entry.objects.filter(uuid=UUID(uuid)).first()
    except ValueError:
        return None


def lots_touched(entry: Entry) -> list[int]:
    """The lots that an entry names, in lines or in marks."""
    named = {*entry.lines.values_list("lot_id", flat=True)}
    return sorted(named | {*entry.marks.values_list("lot_id", flat=True)})


def often(by: Person, before: date) -> Counter[str]:
    """How often a person's newest entries of the days before are of each kind; one query."""
    own = Entry.objects.filter(by=by.pk, happened_on__lt=before).order_by("-seq")
    return Counter(own.values_list("kind", flat=True)[:NEWEST])


def kinds() -> list[str]:
    """The kinds of entries there are, for a filter."""
    return list(Entry.objects.order_by("kind").values_list("kind", flat=True).distinct())


def marked_by(entry: Entry) -> list[Lot]:
    """The lots that an entry puts on hold or releases."""
    return [mark.lot for mark in entry.marks.select_related("lot__item").order_by("pk")]


def gave_in(entry: Entry) -> dict[Lot, int]:
    """The mg that each block lot of a pick gave, as corrected; empty for what is no pick."""
    lines = Line.objects.standing_at(entry.place).filter(role=Role.USED)
    picks = lines.filter(lot__in=lines.filter(given_mg__gt=0).values("lot"))
    sums = dict(picks.order_by().values_list("lot_id").annotate(Sum("given_mg")))
    return {lot: sums[lot.pk] for lot in Lot.objects.filter(pk__in=sums).order_by("pk")}


def what_follows(entry: Entry, line: Standing) -> str:
    """Say what else changes when a line is corrected; empty where nothing does."""
    gave = gave_in(entry)
    others = ", ".join(lot.code for lot in gave if lot != line.lot)
    if line.role == Role.LOST:
        scrap = [one.lot for one in standing(entry) if one.role == Role.MADE and one.now]
        kept = ", ".join(lot.code for lot in scrap if lot.card.stage == Stage.SPENT)
        return f"The weight of {kept} and what it is worth follow the count." if kept else ""
    if line.role == Role.SOLD:
        return "The money of the sale, and of what came back of it, is worked anew."
    if line.role == Role.MADE and gave:
        return f"What {others} gave follows, so that it comes to what was picked."
    if line.lot not in gave:
        return ""
    if others:
        return f"What was picked stays; {others} share the difference by what they gave."
    return "No other lot gave any: correct the weight of the picked lot, and this follows it."


def correctable(entry: Entry) -> list[Standing]:
    """Lines whose quantity can be corrected."""
    return [line for line in standing(entry) if line.can_be_corrected]
