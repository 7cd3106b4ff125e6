"""A book made by its migrations has the tables, indexes and triggers that the tests' book has."""

import os
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from urllib.parse import urlsplit

import psycopg
import pytest
from django.db import connection

ROOT = Path(__file__).parent.parent
# The project's own tables: Django's differ in what no page asks, such as how wide a number is.
IN_SQLITE = """
SELECT type, tbl_name, name, '' FROM sqlite_master
WHERE tbl_name GLOB 'farm_*' OR tbl_name GLOB 'ledger_*'
UNION ALL
SELECT 'column', t.name, c.name,
    c.type || ' ' || c."notnull" || ' ' || coalesce(c.dflt_value, '') || ' ' || c.pk
FROM sqlite_master t, pragma_table_info(t.name) c
WHERE t.type = 'table' AND (t.name GLOB 'farm_*' OR t.name GLOB 'ledger_*')
"""
IN_POSTGRESQL = """
SELECT * FROM (
    SELECT 'table' AS kind, table_name::text AS of, '' AS name, '' AS told
    FROM information_schema.tables WHERE table_schema = 'public'
    UNION ALL
    SELECT 'column', table_name, column_name, concat_ws(
        ' ', data_type, character_maximum_length, is_nullable, column_default, is_identity)
    FROM information_schema.columns WHERE table_schema = 'public'
    UNION ALL
    SELECT 'index', tablename, indexname, indexdef FROM pg_indexes WHERE schemaname = 'public'
    UNION ALL
    SELECT 'rule', conrelid::regclass::text, conname, pg_get_constraintdef(oid)
    FROM pg_constraint WHERE connamespace = 'public'::regnamespace
    UNION ALL
    SELECT 'trigger', tgrelid::regclass::text, tgname, pg_get_triggerdef(oid)
    FROM pg_trigger WHERE NOT tgisinternal
) everything WHERE of ~ '^(farm|ledger)_'
"""
Told = set[tuple[str, str, str, str]]


@pytest.mark.django_db
def test_migrations_make_the_tables_that_the_models_ask_for(tmp_path: Path) -> None:
    made = _in_sqlite(tmp_path) if connection.vendor == "sqlite" else _in_postgresql()
    with connection.cursor() as tests, made as migrated:
        tests.execute(IN_SQLITE if connection.vendor == "sqlite" else IN_POSTGRESQL)
        wanted: Told = set(tests.fetchall())
        assert migrated == wanted
    kinds = [kind for kind, *_ in wanted]
    assert kinds.count("table") > 50 and kinds.count("column") > 400
    assert kinds.count("index") > 50 and kinds.count("trigger") > 50


@contextmanager
def _in_sqlite(folder: Path) -> Iterator[Told]:
    file = folder / "migrated.sqlite3"
    _migrate(f"sqlite:///{file}")
    with closing(sqlite3.connect(file)) as migrated:
        yield set(migrated.execute(IN_SQLITE))


@contextmanager
def _in_postgresql() -> Iterator[Told]:
    """Migrate a database beside the tests' own, and throw it away."""
    name = f"{connection.settings_dict['NAME']}_migrated"
    server = os.environ["DATABASE_URL"]
    there = urlsplit(server)._replace(path=f"/{name}").geturl()
    with psycopg.connect(server, autocommit=True) as beside:
        beside.execute(f'CREATE DATABASE "{name}"'.encode())
        try:
            _migrate(there)
            with psycopg.connect(there) as migrated:
                yield set(migrated.execute(IN_POSTGRESQL.encode()).fetchall())
        finally:
            beside.execute(f'DROP DATABASE "{name}" WITH (FORCE)'.encode())


def _migrate(book: str) -> None:
    command = [sys.executable, "manage.py", "migrate", "-v", "0"]
    subprocess.run(command, cwd=ROOT, env=os.environ | {"DATABASE_URL": book}, check=True)
