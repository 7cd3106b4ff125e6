"""All rows of the farm's tables, as the database holds them: read, told apart and put back."""

from collections import defaultdict
from collections.abc import Mapping
from functools import cache
from typing import Any, NamedTuple

from django.apps import apps
from django.contrib.auth.models import User
from django.db import connection
from django.db.backends.utils import CursorWrapper
from django.db.models import Model

Row = tuple[Any, ...]
Rows = dict[str, dict[Any, Row]]  # by table, then by primary key

# Where SQLite keeps the last number it gave in each table, so that none is given twice.
NUMBERED = "sqlite_sequence"


class Table(NamedTuple):
    name: str
    key: str
    columns: tuple[str, ...]

    @property
    def listed(self) -> str:
        return ", ".join(f'"{column}"' for column in self.columns)

    @property
    def selected(self) -> str:
        """The columns; the plus keeps SQLite from reading a text as a day or an hour."""
        if connection.vendor == "sqlite":
            return ", ".join(f'+"{column}"' for column in self.columns)
        return self.listed


class Change(NamedTuple):
    """What happened to the rows of one table."""

    table: Table
    gone: list[Any]
    changed: dict[tuple[str, ...], list[Row]]  # by the columns that changed: values, then the key
    added: list[Row]


@cache
def tables() -> dict[str, Table]:
    """The tables of the book, the farm and who signs in, without what changes with each visit."""
    models: list[type[Model]] = [
        *apps.get_app_config("ledger").get_models(include_auto_created=True),
        *apps.get_app_config("farm").get_models(include_auto_created=True),
        User,
    ]
    found = {}
    for model in models:
        columns = [str(field.column) for field in model._meta.local_concrete_fields]
        assert model._meta.pk
        name, key = model._meta.db_table, str(model._meta.pk.column)
        found[name] = Table(name, key, tuple(c for c in columns if c != "last_login"))
    return found


def read_rows() -> Rows:
    """Read every row there is, in the order of the keys."""
    with connection.cursor() as cursor:
        cursor.execute(_which_hold_rows())
        rows = {name: _read(cursor, tables()[name]) for (name,) in cursor.fetchall()}
        if connection.vendor == "sqlite":
            cursor.execute(f"SELECT name, seq FROM {NUMBERED}")
            rows[NUMBERED] = {row[0]: row for row in sorted(cursor) if row[0] in tables()}
    return rows


@cache
def _which_hold_rows() -> str:
    return " UNION ALL ".join(
        f"SELECT '{name}' WHERE EXISTS (SELECT 1 FROM \"{name}\")" for name in tables()
    )


def _read(cursor: CursorWrapper, table: Table) -> dict[Any, Row]:
    cursor.execute(f'SELECT {table.selected} FROM "{table.name}" ORDER BY "{table.key}"')
    at = table.columns.index(table.key)
    return {row[at]: row for row in cursor.fetchall()}


def changes(before: Rows, after: Rows) -> list[Change]:
    """Tell what happened between two readings."""
    names = [name for name in (*tables(), NUMBERED) if before.get(name) != after.get(name)]
    return [_change(name, before.get(name, {}), after.get(name, {})) for name in names]


def _change(name: str, before: Mapping[Any, Row], after: Mapping[Any, Row]) -> Change:
    table = tables().get(name) or Table(name, "name", ("name", "seq"))
    changed = defaultdict(list)
    for key in before.keys() & after.keys():
        pairs = zip(table.columns, before[key], after[key], strict=True)
        new = {column: now for column, was, now in pairs if was != now}
        if new:
            changed[tuple(new)].append((*new.values(), key))
    return Change(
        table,
        gone=list(before.keys() - after.keys()),
        changed=dict(changed),
        added=[row for key, row in after.items() if key not in before],
    )


def put_back(happened: list[Change]) -> None:
    """Let the same happen again, in bulk."""
    with connection.cursor() as cursor:
        for change in happened:
            if change.table.name == NUMBERED:
                _number_on(cursor, change)
            else:
                _put_back(cursor, change)


def _put_back(cursor: CursorWrapper, change: Change) -> None:
    table, key = change.table.name, change.table.key
    if change.gone:
        cursor.executemany(
            f'DELETE FROM "{table}" WHERE "{key}" = %s', [(gone,) for gone in change.gone]
        )
    for columns, values in change.changed.items():
        said = ", ".join(f'"{column}" = %s' for column in columns)
        cursor.executemany(f'UPDATE "{table}" SET {said} WHERE "{key}" = %s', values)
    if change.added:
        marks = ", ".join(["%s"] * len(change.table.columns))
        cursor.executemany(
            f'INSERT INTO "{table}" ({change.table.listed}) VALUES ({marks})', change.added
        )


def _number_on(cursor: CursorWrapper, change: Change) -> None:
    """Set the last numbers; the rows that were put in before have made a row for their table."""
    last = [(name, seq) for values in change.changed.values() for seq, name in values]
    for name, seq in (*last, *change.added):
        cursor.execute(f"DELETE FROM {NUMBERED} WHERE name = %s", [name])
        cursor.execute(f"INSERT INTO {NUMBERED} (name, seq) VALUES (%s, %s)", [name, seq])
