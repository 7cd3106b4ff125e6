"""A book made by its migrations has the tables, indexes and triggers that the tests' book has."""

import os
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from django.db import connection

ROOT = Path(__file__).parent.parent
NAMED = """
SELECT type, name, tbl_name FROM sqlite_master
WHERE name NOT LIKE 'sqlite_%' AND tbl_name <> 'django_migrations'
"""
COLUMNS = 'SELECT cid, name, type, "notnull", dflt_value, pk FROM pragma_table_info(?)'


@pytest.mark.django_db
@pytest.mark.same_on_any_engine
@pytest.mark.skipif(
    connection.vendor != "sqlite", reason="the tables are read as SQLite keeps them"
)
def test_migrations_make_the_tables_that_the_models_ask_for(tmp_path: Path) -> None:
    file = tmp_path / "migrated.sqlite3"
    made_there = os.environ | {"DATABASE_URL": f"sqlite:///{file}"}
    command = [sys.executable, "manage.py", "migrate", "-v", "0"]
    subprocess.run(command, cwd=ROOT, env=made_there, check=True)

    with closing(sqlite3.connect(file)) as migrated, connection.cursor() as tests:
        named = set(migrated.execute(NAMED))
        assert set(tests.execute(NAMED).fetchall()) == named
        tables = {name for kind, name, _ in named if kind == "table"}
        assert len(tables) > 50
        for table in tables:
            there = {column[1]: column[2:] for column in migrated.execute(COLUMNS, [table])}
            here = {column[1]: column[2:] for column in
                    tests.execute(COLUMNS.replace("?", "%s"), [table]).fetchall()}  # fmt: skip
            assert here == there, table
