"""Read open tables back into an empty database: all of them, or nothing.

First every cell is read and every key looked up, and all that is wrong is said line by line. Only
then are rows written: the book's by the book itself, which works them, checks its seals and every
other truth; the farm's after them.
"""

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.core.management.color import no_style
from django.db import IntegrityError, connection, transaction
from django.db.models import Model

from farm.tables.cells import Found, MostErrors, read_file
from farm.tables.layout import (
    Column,
    Table,
    columns,
    file_name,
    is_of_the_book,
    is_worked,
    tables,
    target_of,
)
from farm.tables.values import to_text
from farm.tables.writing import DICTIONARY
from ledger import book
from ledger.errors import BookError


class TablesError(Exception):
    """The tables cannot be read; ``lines`` say where and why, one each. Nothing was written."""

    def __init__(self, lines: list[str]) -> None:
        super().__init__("\n".join(lines))
        self.lines = lines


@dataclass
class _Reading:
    """What was found in the files, and what is wrong with it."""

    found: dict[Table, list[Found]] = field(default_factory=dict)
    errors: list[str] = field(default_factory=list)

    def stop_at_errors(self) -> None:
        if self.errors:
            raise TablesError(self.errors)


def read_tables(folder: Path) -> dict[Table, int]:
    """Read a folder that `write_tables` wrote; return the number of rows by table.

    Raises TablesError with nothing written.
    """
    _refuse_a_used_database()
    reading = _Reading()
    _read_files(folder, reading)
    reading.stop_at_errors()
    _check_keys(reading)
    reading.stop_at_errors()
    try:
        with transaction.atomic():
            _write(reading)
            _compare_worked(reading)
            reading.stop_at_errors()
    except IntegrityError as refusal:
        raise TablesError(_explained(reading) or [f"The database refuses: {refusal}"]) from refusal
    except BookError as refusal:
        raise TablesError([str(refusal)]) from refusal
    return {model: len(rows) for model, rows in reading.found.items()}


def _refuse_a_used_database() -> None:
    used = [model for model in tables() if model._default_manager.exists()]
    if used:
        raise TablesError(
            [
                f"This database is not empty: {used[0]._meta.db_table} has rows. Name another, "
                "such as DATABASE_URL=sqlite:///new.sqlite3, and run manage.py migrate on it first."
            ]
        )


# --- the files -------------------------------------------------------------------------------


def _read_files(folder: Path, reading: _Reading) -> None:
    """Read every file; name those that are missing, unknown, or cut off."""
    counts = _counts(folder)
    known = {file_name(model) for model in tables()}
    there = {path.name for path in folder.glob("*.csv")}
    for name in sorted(there - known):
        reading.errors.append(f"{name}: no table of this name is known. Take the file away.")
    for name in sorted(known - there):
        reading.errors.append(f"{name} is missing. Write the tables anew.")
    reading.stop_at_errors()
    try:
        for model in tables():
            rows = read_file(folder / file_name(model), model, reading.errors)
            reading.found[model] = rows
            stated = counts.get(file_name(model))
            if not reading.errors and len(rows) != stated:
                reading.errors.append(
                    f"{file_name(model)}: {len(rows)} rows are there, {DICTIONARY} says {stated}. "
                    "Rows were lost or added; write the tables anew."
                )
    except MostErrors:
        reading.errors.append("More is wrong; put this right first.")


def _counts(folder: Path) -> dict[str, int]:
    """Read how many rows each file should have."""
    try:
        said = json.loads((folder / DICTIONARY).read_text(encoding="utf-8"))
        return {table["file"]: table["rows"] for table in said["tables"]}
    except FileNotFoundError:
        raise TablesError([f"{folder} has no {DICTIONARY}. Name a folder of tables."]) from None
    except (ValueError, KeyError, TypeError):
        raise TablesError([f"{DICTIONARY} cannot be read. Write the tables anew."]) from None


# --- keys ------------------------------------------------------------------------------------


def _check_keys(reading: _Reading) -> None:
    """Name each key that stands twice, and each that points at nothing."""
    keys = {
        model: {row.values[_pk(model)] for row in rows} for model, rows in reading.found.items()
    }
    for model, rows in reading.found.items():
        for names in _unique(model):
            _check_unique(reading, rows, names)
        for column in columns(model):
            target = target_of(column)
            if target and not is_worked(column):
                _check_pointing(reading, rows, column=column, keys=keys[target])


def _pk(model: Table) -> str:
    assert model._meta.pk
    return model._meta.pk.attname


def _unique(model: Table) -> list[tuple[str, ...]]:
    alone = [(column.attname,) for column in columns(model) if column.unique]
    attname = {column.name: column.attname for column in columns(model)}
    together = [
        tuple(attname[name] for name in one.fields) for one in model._meta.total_unique_constraints
    ]
    return [*alone, *together]


def _check_unique(reading: _Reading, rows: list[Found], names: tuple[str, ...]) -> None:
    first: dict[tuple[Any, ...], int] = {}
    for row in rows:
        key = tuple(row.values[name] for name in names)
        if None in key:
            continue
        if key in first:
            said = ", ".join(map(str, key))
            reading.errors.append(
                f"{row.where}, {' and '.join(names)}: {said} stands on line {first[key]} already."
            )
        first.setdefault(key, row.line)


def _check_pointing(
    reading: _Reading, rows: list[Found], *, column: Column, keys: set[object]
) -> None:
    target = target_of(column)
    assert target
    for row in rows:
        value = row.values[column.attname]
        if value is not None and value not in keys:
            reading.errors.append(
                f"{row.where}, {column.column}: {value} is not in {file_name(target)}."
            )


# --- writing ---------------------------------------------------------------------------------


def _write(reading: _Reading) -> None:
    """Hand the book its rows, then write the farm's; nothing is ever changed, only added."""
    made = {model: [_row(model, found) for found in rows] for model, rows in reading.found.items()}
    book.take_over([rows for model, rows in made.items() if is_of_the_book(model)])
    for model, rows in made.items():
        if not is_of_the_book(model):
            model._default_manager.bulk_create(rows, batch_size=500)
    _continue_numbers(list(made))


def _row(model: Table, found: Found) -> Model:
    row = model(**found.values)
    if isinstance(row, User):
        row.set_unusable_password()
    return row


def _explained(reading: _Reading) -> list[str]:
    """Find the rows that break a rule of their table."""
    lines = []
    for model, rows in reading.found.items():
        for rule in model._meta.constraints:
            if rule in model._meta.total_unique_constraints:
                continue  # checked before
            for found in rows:
                try:
                    rule.validate(model, _row(model, found))
                except ValidationError as refusal:
                    lines.append(f"{found.where}: {' '.join(refusal.messages)}")
    return lines


def _continue_numbers(models: list[Table]) -> None:
    """Let new rows be numbered after those that were read (PostgreSQL)."""
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), models):
            cursor.execute(statement)


def _compare_worked(reading: _Reading) -> None:
    """Hold what was worked again against what the tables say."""
    for model, rows in reading.found.items():
        worked = [column for column in columns(model) if is_worked(column)]
        if not worked:
            continue
        names = [column.attname for column in worked]
        kept = {row[0]: row[1:] for row in model._default_manager.values_list("pk", *names)}
        for found in rows:
            for column, value in zip(worked, kept[found.values[_pk(model)]], strict=True):
                said, now = found.worked[column.attname], to_text(column, value)
                if said != now:
                    reading.errors.append(
                        f"{found.where}, {column.column}: {said} is written, the facts give {now}."
                    )
