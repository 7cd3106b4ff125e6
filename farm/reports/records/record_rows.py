"""Records as tables: one a kind, each row with its times, its signatures and where it stands."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from farm import habits
from farm.models import Farm, Record
from farm.queries.records.records import (
    Gap,
    correction_of,
    private_of,
    review_of,
    values_of,
)
from farm.queries.records.store_temperatures import Excursion
from farm.readings import in_fahrenheit
from farm.records import Field, Holds, RecordKind
from farm.reports.report_heading import Made
from farm.reports.rows import Cell, Column, Kind, Report, Row, Table, show_cell, unit_of
from farm.templatetags.farm_format import temperature_unit

ERASED = "erased on request"


def record_table(kind: RecordKind, records: Iterable[Record], farm: Farm) -> Table:
    """Lay records of one kind out, oldest first; a field that no row fills has no column."""
    listed = sorted(records, key=lambda record: (record.happened_at, record.pk))
    said = [values_of(record) for record in listed]
    filled = {name for values in said for name, value in values.items() if value not in (None, "")}
    fields = [field for field in kind.fields if field.required or field.name in filled]
    noted = any(record.note for record in listed)
    rows = [
        _row(record, _Row(kind, fields, values, noted), farm)
        for record, values in zip(listed, said, strict=True)
    ]
    return Table(
        title=kind.title,
        columns=(
            Column("No."),
            Column("Done", Kind.DATE),
            *([Column("Room")] if kind.asks_room else []),
            *([Column("Lot")] if kind.asks_lot else []),
            *[Column(one.label, column_kind(one, farm)) for one in fields],
            *([Column("Note")] if noted else []),
            Column("Signed"),
            Column("Recorded", Kind.DATE),
            *([Column("Second signature")] if kind.review else []),
            Column("State"),
        ),
        rows=tuple(rows),
        struck=tuple(at for at, one in enumerate(listed) if correction_of(one)),
    )


@dataclass(frozen=True)
class _Row:
    """Which columns a record's row has, and what it says."""

    kind: RecordKind
    fields: Sequence[Field]
    values: Mapping[str, Any]
    noted: bool


def _row(record: Record, row: _Row, farm: Farm) -> Row:
    kind = row.kind
    return (
        str(record.pk),
        record.happened_at.astimezone(farm.zone),
        *([str(record.room or "")] if kind.asks_room else []),
        *([record.lot.code if record.lot else ""] if kind.asks_lot else []),
        *[cell_of(one, row.values.get(one.name), farm) for one in row.fields],
        *([record.note] if row.noted else []),
        signature(record),
        record.recorded_at.astimezone(farm.zone),
        *([second_signature(record, farm)] if kind.review else []),
        state_words(record),
    )


def column_kind(field: Field, farm: Farm) -> Kind:
    if field.holds in (Holds.TEMPERATURE, Holds.RISE):
        return Kind.CELSIUS if temperature_unit(farm) == "C" else Kind.FAHRENHEIT
    return Kind.MASS if field.holds is Holds.MASS else Kind.TEXT


def cell_of(field: Field, value: object, farm: Farm) -> Cell:
    """Give a value as a table's cell, a temperature in the farm's own unit."""
    if isinstance(value, int) and column_kind(field, farm) is Kind.FAHRENHEIT:
        return in_fahrenheit(value, is_rise=field.holds is Holds.RISE)
    return value if isinstance(value, int) else str(value or "")


def words_of(field: Field, value: object, farm: Farm) -> str:
    """Say one value with its unit: “3.4 °C”."""
    kind = column_kind(field, farm)
    shown = show_cell(Column(field.label, kind), cell_of(field, value, farm))
    return f"{shown} {unit_of(kind, '')}".strip() if shown else ""


def signature(record: Record) -> str:
    """Say who signed, and in brackets under whose sign-in where that was another's."""
    if record.by_id == record.typed_by_id:
        return record.initials
    return f"{record.initials} by PIN ({record.typed_by.initials})"


def second_signature(record: Record, farm: Farm) -> str:
    review = review_of(record)
    if review is None:
        return "" if correction_of(record) else "missing"
    return f"{review.initials}, {habits.short_moment(review.reviewed_at.astimezone(farm.zone))}"


def state_words(record: Record) -> str:
    """Say what is to be known of a row: late, corrected, correcting, erased."""
    after, private = correction_of(record), private_of(record)
    return "; ".join(
        words
        for words, holds in (
            ("recorded late", record.is_late),
            (f"corrected by {after.pk}" if after else "", after is not None),
            (f"corrects {record.corrects_id}", record.corrects_id is not None),
            (ERASED, private is not None and private.erased_at is not None),
        )
        if holds
    )


# --- gaps and excursions ---------------------------------------------------------------------


def gap_table(gaps: Sequence[Gap]) -> Table:
    """Declare what is missing, in words: “no store temperature in Fridge on 2026-05-03”."""
    return Table(
        title="Missing",
        columns=(
            Column("What is missing"),
            Column("From", Kind.DATE),
            Column("To", Kind.DATE),
            Column("Days", Kind.COUNT),
        ),
        rows=tuple(
            (gap_words(gap), gap.first, gap.last, (gap.last - gap.first).days + 1) for gap in gaps
        ),
    )


def gap_words(gap: Gap) -> str:
    what = f"no {gap.kind.title.lower()} in {gap.room}"
    if gap.first == gap.last:
        return f"{what} on {habits.short_day(gap.first)}"
    return f"{what} from {habits.days(gap.first, gap.last)}"


def excursion_table(excursions: Sequence[Excursion], farm: Farm) -> Table:
    unit = Kind.CELSIUS if temperature_unit(farm) == "C" else Kind.FAHRENHEIT
    return Table(
        title="Outside the limits",
        columns=(
            Column("Began after", Kind.DATE),
            Column("Ended before", Kind.DATE),
            Column("Worst", unit),
            Column("Limit", unit),
            Column("What was done"),
            Column("What became of the mushrooms"),
            Column("Lots that sat through it"),
        ),
        rows=tuple(
            (
                one.since.astimezone(farm.zone),
                one.until.astimezone(farm.zone) if one.is_over else None,
                _in_unit(one.worst_milli_c, unit),
                _in_unit(one.limit_milli_c, unit),
                _joined(one, "done"),
                _joined(one, "disposition"),
                ", ".join(through.lot.code for through in one.lots) or "none known",
            )
            for one in excursions
        ),
        note="From the last reading within the limits to the next. What became of the mushrooms "
        "is the farm's own decision, by its own plan; nothing here says that they were safe. Only "
        "lots whose shelf was recorded are known to have sat there.",
    )


def through_table(excursions: Sequence[Excursion], farm: Farm) -> Table:
    """Name each lot that sat through an excursion, how much of it there was, and how long."""
    return Table(
        title="Lots that sat through it",
        columns=(
            Column("Lot"),
            Column("What it is"),
            Column("In the store from", Kind.DATE),
            Column("To", Kind.DATE),
            Column("Most it held", Kind.MASS),
            Column("Most it held, pieces", Kind.COUNT),
            Column("On hold"),
        ),
        rows=tuple(
            (
                one.lot.code,
                one.lot.item.name,
                one.since.astimezone(farm.zone),
                one.until.astimezone(farm.zone),
                one.quantity if one.lot.item.dimension == "mass" else None,
                one.quantity if one.lot.item.dimension == "count" else None,
                "yes" if one.lot.held else "",
            )
            for excursion in excursions
            for one in excursion.lots
        ),
    )


def record_report(kind: RecordKind, records: Iterable[Record], farm: Farm, *, made: Made) -> Report:
    """All records of a kind as a report to take away."""
    return Report(
        title=kind.title,
        subtitle=f"Records of {made.farm_name}",
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        tables=(record_table(kind, records, farm),),
        cautions=(kind.caution,) if kind.caution else (),
        currency=made.currency,
    )


def _joined(excursion: Excursion, name: str) -> str:
    said = [str(reading.values.get(name) or "") for reading in excursion.readings]
    return "; ".join(dict.fromkeys(filter(None, said)))


def _in_unit(milli_c: int, unit: Kind) -> int:
    return in_fahrenheit(milli_c) if unit is Kind.FAHRENHEIT else milli_c
