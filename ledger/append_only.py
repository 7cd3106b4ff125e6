"""Triggers by which the database itself refuses to change or delete facts.

Installed after every migrate, not in a migration: SQLite rebuilds a table when a field is added
and silently drops its triggers. Whoever must change such a table (a data migration, a test
flush) removes them first and installs them again.
"""

from collections.abc import Iterator

from django.db.backends.base.base import BaseDatabaseWrapper

# Table -> the columns that are facts; None: every column.
BOOK: dict[str, tuple[str, ...] | None] = {
    "ledger_entry": None,
    "ledger_line": None,
    "ledger_charge": None,
    "ledger_mark": None,
    "ledger_seal": None,
    "ledger_item": None,
    "ledger_lot": ("id", "code", "item_id", "made_by_id", "unit_mass_mg", "part_of_id"),
}
_protected = dict(BOOK)


def protect(table: str) -> None:
    """Add a table of another app to those whose rows are never changed."""
    _protected[table] = None


def install(connection: BaseDatabaseWrapper) -> None:
    """Create every trigger that is missing, on the tables that exist."""
    tables = set(connection.introspection.table_names())
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(_POSTGRES_FUNCTION)
        for table, columns in _protected.items():
            if table in tables:
                for statement in _create(connection.vendor, table, columns):
                    cursor.execute(statement)


def remove(connection: BaseDatabaseWrapper) -> None:
    """Drop the triggers, for a test's flush or a data migration."""
    tables = set(connection.introspection.table_names())
    with connection.cursor() as cursor:
        for table in tables & set(_protected):
            for name in _names(connection.vendor, table):
                on = f" ON {table}" if connection.vendor == "postgresql" else ""
                cursor.execute(f"DROP TRIGGER IF EXISTS {name}{on}")


def missing(connection: BaseDatabaseWrapper) -> list[str]:
    """List the triggers that should be there and are not."""
    query = {
        "sqlite": "SELECT name FROM sqlite_master WHERE type = 'trigger'",
        "postgresql": "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled <> 'D'",
    }[connection.vendor]
    with connection.cursor() as cursor:
        cursor.execute(query)
        there = {name for (name,) in cursor.fetchall()}
    wanted = {name for table in _protected for name in _names(connection.vendor, table)}
    return sorted(wanted - there)


def _names(vendor: str, table: str) -> list[str]:
    verbs = ["update", "delete"] + (["truncate"] if vendor == "postgresql" else [])
    return [f"{table}_no_{verb}" for verb in verbs]


def _create(vendor: str, table: str, columns: tuple[str, ...] | None) -> Iterator[str]:
    of = f" OF {', '.join(columns)}" if columns else ""
    if vendor == "sqlite":
        refuse = f"BEGIN SELECT RAISE(ABORT, 'facts in {table} are never changed'); END"
        for verb in (f"UPDATE{of}", "DELETE"):
            name = f"{table}_no_{verb.split()[0].lower()}"
            yield f"CREATE TRIGGER IF NOT EXISTS {name} BEFORE {verb} ON {table} {refuse}"
        return
    for verb, each in ((f"UPDATE{of}", "ROW"), ("DELETE", "ROW"), ("TRUNCATE", "STATEMENT")):
        name = f"{table}_no_{verb.split()[0].lower()}"
        yield (
            f"CREATE OR REPLACE TRIGGER {name} BEFORE {verb} ON {table} "
            f"FOR EACH {each} EXECUTE FUNCTION ledger_refuse_change()"
        )


_POSTGRES_FUNCTION = """
CREATE OR REPLACE FUNCTION ledger_refuse_change() RETURNS trigger AS $$
BEGIN
    RAISE EXCEPTION 'facts in % are never changed', TG_TABLE_NAME
        USING ERRCODE = 'integrity_constraint_violation';
END
$$ LANGUAGE plpgsql
"""
