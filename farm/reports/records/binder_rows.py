"""What is in the binder of records, section by section; each is put together when it is written.

So that a hundred pages never stand in memory at once, a section is a title and how to build it.
Illness notes are kept apart: an inspector who may see them asks the owner.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import partial

from django.utils import timezone

from farm import habits
from farm.kinds.growing import CHECK, PICK, STERILISER_RUN
from farm.kinds.selling import GIVE_AWAY, LOAD_STALL, SELL, SETTLE_STALL, TAKE_BACK, Load
from farm.kinds.store import DRY, PACK
from farm.models import Farm, Person, Photo, Room, RunReadings
from farm.queries.entries import signature
from farm.queries.recording.phone import pictures_of
from farm.queries.records.binders import BookRow, Moved, book_rows, readings_in
from farm.queries.records.records import missing_days, records, to_review
from farm.queries.records.run_readings import course_of
from farm.queries.records.store_temperatures import excursions, store_readings, store_rooms
from farm.queries.store.counts import count_rows
from farm.records import OPEN_KINDS, RecordKind
from farm.reports.curves import store_curve
from farm.reports.prints import prints
from farm.reports.records.record_rows import excursion_table, gap_table, record_table, through_table
from farm.reports.records.run_rows import RUN_CAUTION, minutes, run_content
from farm.reports.report_heading import Made
from farm.reports.rows import Column, Content, Fact, Kind, Report, Row, Section, Table
from farm.reports.store.count_rows import counts_table
from farm.templatetags.farm_format import amount_of, both, reading, temperature_unit
from ledger.models import Entry

STANDING_CAUTION = (
    "This is the farm's own record and arithmetic. It informs and does not certify: it is not "
    "legal, medical, engineering or food-safety advice. Follow your local code and your inspector; "
    "use licensed practitioners where the law requires."
)
# Kinds of entries of the book that belong in the binder, and their title there.
FROM_THE_BOOK = {
    "Steriliser runs": (STERILISER_RUN,),
    "Checks while growing": (CHECK,),
    "Drying": (DRY,),
    "Picks": (PICK,),
    "Packing": (PACK,),
    "Shipping": (SELL, LOAD_STALL, SETTLE_STALL, GIVE_AWAY, TAKE_BACK),
}


@dataclass(frozen=True)
class Span:
    first: date
    last: date

    def __str__(self) -> str:
        return habits.days(self.first, self.last)


def binder_report(span: Span, farm: Farm, made: Made) -> Report:
    """The binder as one report with all its tables, for the spreadsheet."""
    tables = [table for section in sections(span, farm) for table in section.build().tables]
    return replace(binder_cover(span, farm, made), tables=tuple(tables))


def binder_cover(span: Span, farm: Farm, made: Made) -> Report:
    """What stands on the cover: whose records, of which days, and how to read them."""
    return Report(
        title="Binder of records",
        subtitle=f"{span}",
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        facts=(
            Fact("Farm and place", made.farm_name),
            Fact("Records of", f"{span}, both days included"),
            Fact("Clock", f"the farm's own, {farm.time_zone}"),
            Fact(
                "Signed",
                "by the doer's own sign-in, or by PIN at another's, who stands in brackets",
            ),
            Fact("Recorded late", "more than a day after it was done: said in the last column"),
            Fact("Corrected", "struck through, and kept with the record that corrects it"),
            Fact("Second signature", "where 21 CFR 112.161(b) asks for one; else “missing”"),
            Fact("Kept apart", "illness notes, which only owners see"),
        ),
        cautions=(STANDING_CAUTION, RUN_CAUTION),
        currency=made.currency,
    )


def sections(span: Span, farm: Farm) -> Iterator[Section]:
    """Every section in order; building one asks the database only for its own rows."""
    yield Section("Missing", partial(_missing, span, farm))
    yield Section("Signatures", _signatures)
    for kind in OPEN_KINDS:
        yield Section(kind.title, partial(_of_kind, kind, span, farm))
    for room in store_rooms():
        yield Section(f"Temperature of {room}", partial(store_content, room, span, farm))
    yield Section("Stock counts", partial(_counts, span, farm))
    for title in FROM_THE_BOOK:
        yield Section(title, partial(_of_book, title, span, farm))
    for seq, kept in readings_in(span.first, span.last).items():
        yield Section(f"Readings of run {seq}", partial(_of_run, kept, farm))


def store_content(room: Room, span: Span, farm: Farm) -> Content:
    """A store's curve, its excursions, and the lots that sat through them."""
    read = store_readings(room, span.first, span.last)
    found = excursions([room], span.first, span.last, now=timezone.now())[room]
    unit = temperature_unit(farm)
    curves = (store_curve(read, unit, name=str(room)),) if read else ()
    return Content((excursion_table(found, farm), through_table(found, farm)), curves)


# --- sections --------------------------------------------------------------------------------


def _missing(span: Span, farm: Farm) -> Content:
    """Declare gaps: days, kinds without any record, signatures, runs without readings."""
    today = timezone.now().astimezone(farm.zone).date()
    gaps = gap_table(missing_days(span.first, span.last, today=today))
    days = {"happened_on__range": (span.first, span.last)}
    there = set(records(**days).values_list("kind", flat=True))
    other: list[Row] = [
        (f"no record of {kind.title.lower()}", "") for kind in OPEN_KINDS if kind.slug not in there
    ]
    other += [
        (f"no second signature on record {record.pk}", record.kind)
        for record in to_review().filter(**days).order_by("pk")
    ]
    kept = readings_in(span.first, span.last)
    other += [
        (f"no readings of run {one.row.entry.seq}", habits.short_day(one.row.entry.happened_on))
        for one in book_rows(FROM_THE_BOOK["Steriliser runs"], span.first, span.last)
        if one.row.entry.seq not in kept and not one.row.taken_back
    ]
    other += [
        (
            f"no reading for {minutes(after - before)} min in run {seq}",
            f"{habits.short_moment(before)} to {after:%H:%M}",
        )
        for seq, readings in kept.items()
        for before, after in course_of(readings, farm).gaps
    ]
    also = Table("Also missing", (Column("What is missing"), Column("Where")), tuple(other))
    return Content((gaps, also))


def _counts(span: Span, farm: Farm) -> Content:
    return Content((counts_table(count_rows(span.first, span.last), farm),))


def _signatures() -> Content:
    """Say whose initials are whose, as the signatures stand for names."""
    people = Person.objects.select_related("user").order_by("initials")
    rows = tuple((one.initials, one.full_name, str(one), one.get_role_display()) for one in people)
    columns = (Column("Initials"), Column("Name"), Column("Signs in as"), Column("Role"))
    return Content((Table("Signatures", columns, rows),))


def _of_kind(kind: RecordKind, span: Span, farm: Farm) -> Content:
    found = records(kind=kind.slug, happened_on__range=(span.first, span.last))
    listed = list(found)
    beside = {
        one.pk: f"No. {one.pk}" + (f", lot {one.lot.code}" if one.lot else "") for one in listed
    }
    pictures = (
        (bytes(photo.image), _caption(photo, beside[photo.record_id or 0], farm))
        for photo in pictures_of(listed)
    )
    return Content((record_table(kind, listed, farm),), prints=prints(pictures))


def _of_run(kept: RunReadings, farm: Farm) -> Content:
    return run_content(course_of(kept, farm), farm)


def _of_book(title: str, span: Span, farm: Farm) -> Content:
    rows = book_rows(FROM_THE_BOOK[title], span.first, span.last)
    table = Table(
        title=title,
        columns=(
            Column("Entry"),
            Column("Done", Kind.DATE),
            Column("Species and strain"),
            Column("Room"),
            Column("Lots"),
            Column("Particulars"),
            Column("Note"),
            Column("Signed"),
            Column("Recorded", Kind.DATE),
            Column("State"),
        ),
        rows=tuple(_book_row(row, farm) for row in rows),
        struck=tuple(at for at, row in enumerate(rows) if row.row.taken_back),
    )
    lots = {
        one.row.entry.pk: ", ".join(dict.fromkeys(moved.lot.code for moved in one.moved))
        for one in rows
    }
    pictures = (
        (
            bytes(photo.image),
            _caption(photo, f"Entry {photo.entry_id}, lot {lots[photo.entry_id or 0]}", farm),
        )
        for photo in pictures_of([one.row.entry for one in rows])
    )
    return Content((table, *_corrections(title, rows, farm)), prints=prints(pictures))


def _corrections(title: str, rows: Sequence[BookRow], farm: Farm) -> tuple[Table, ...]:
    """Show each number that was corrected as it was, struck, above what it is; by whom and why."""
    told = [(row, version) for row in rows for version in row.versions]
    if not told:
        return ()
    people = {one.pk: one for one in Person.objects.select_related("user")}
    columns = (
        Column("Entry"),
        Column("What"),
        Column("Said by entry"),
        Column("By"),
        Column("When", Kind.DATE),
        Column("Why"),
    )
    cells: list[Row] = [
        (
            str(row.row.entry.seq),
            "taken back" if version.gone else _moved_words(version.moved, farm),
            str(version.by.seq),
            _by(version.by, people),
            version.by.recorded_at.astimezone(farm.zone),
            version.by.reason,
        )
        for row, version in told
    ]
    struck = tuple(at for at, (_, version) in enumerate(told) if version.is_struck)
    note = "Struck through: as it was recorded before. Below it: as it stands since."
    return (Table(f"Corrected: {title.lower()}", columns, tuple(cells), note=note, struck=struck),)


def _by(entry: Entry, people: Mapping[int, Person]) -> str:
    """Name who signed, the full name beside the initials."""
    signed = signature(entry, {pk: person.initials for pk, person in people.items()})
    return f"{signed}, {people[entry.by].full_name}" if entry.by in people else signed


def _caption(photo: Photo, beside: str, farm: Farm) -> str:
    """Say beside what a photo stands, and when and by whom it was added."""
    day = habits.day(photo.added_at.astimezone(farm.zone))
    return f"{beside}: {day}, {photo.by.initials}"


def _book_row(row: BookRow, farm: Farm) -> Row:
    entry = row.row.entry
    states = (
        ("recorded late", row.row.late),
        ("corrected since: as it stands now, see below", row.is_corrected),
        ("taken back", row.row.taken_back),
    )
    return (
        str(entry.seq),
        entry.happened_at.astimezone(farm.zone),
        ", ".join(row.strains),
        ", ".join(row.rooms) or "not stated",
        ", ".join(_lots_words(row, farm)),
        "; ".join(_particulars(row, farm)),
        entry.reason,
        row.row.by,
        entry.recorded_at.astimezone(farm.zone),
        "; ".join(words for words, holds in states if holds),
    )


def _particulars(row: BookRow, farm: Farm) -> Iterator[str]:
    """Say what was stated beside it; of what was shipped, how and where it went."""
    if row.row.entry.kind in FROM_THE_BOOK["Shipping"]:
        yield f"{row.row.entry.kind}: {row.to}" if row.to else row.row.entry.kind
    for _, said, value in row.said.stated():
        if said.binder is not None:
            yield f"{said.binder} {reading(said.unit, value, farm)}".strip()


def _lots_words(row: BookRow, farm: Farm) -> list[str]:
    """Name each lot with what moved; one of which nothing moved as well is named once.

    A load takes lots along and moves nothing in the book: it says how much was loaded.
    """
    told = {one.lot.pk for one in row.moved if one.quantity or one.gave_mg}
    loaded = row.said.loaded if isinstance(row.said, Load) else {}
    return [
        f"{one.lot.code} loaded {amount_of(loaded[one.lot.code], one.lot, farm)}"
        if one.lot.code in loaded
        else _moved_words(one, farm)
        for one in row.moved
        if one.quantity or one.gave_mg or one.lot.pk not in told
    ]


def _moved_words(moved: Moved, farm: Farm) -> str:
    if moved.gave_mg:
        return f"{moved.lot.code} gave {both(moved.gave_mg, farm)}"
    if not moved.quantity:
        return str(moved.lot.code)
    return f"{moved.lot.code} {moved.role} {amount_of(abs(moved.quantity), moved.lot, farm)}"
