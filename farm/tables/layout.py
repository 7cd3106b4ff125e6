"""Which tables are written, in which order, and what stands in each column.

Nothing is listed by hand: every model of the book and of the farm is found, so that a new one
joins by itself. What stays out is named here with the reason.
"""

from collections.abc import Iterator
from graphlib import TopologicalSorter
from typing import Any, TypeAlias

from django.apps import apps
from django.contrib.auth.models import User
from django.db.models import Field, Model

from ledger import append_only

Table = type[Model]
Column: TypeAlias = "Field[Any, Any]"

# Of these the whole table stays out.
LEFT_OUT = {
    "ledger.Flow": "worked from the facts; worked again on reading",
    "ledger.Edge": "worked from the facts; worked again on reading",
    "farm.CalendarAddress": "a secret; each person makes a new address",
    "farm.SignIn": "who tried to sign in, and from where; no fact about the farm",
}
# Of the tables that are written these columns stay out.
COLUMNS_LEFT_OUT = {
    "auth.User.password": "a secret; set a new one with manage.py changepassword NAME",
    "auth.User.last_login": "no fact about the farm",
    "farm.Person.pin_hash": "a secret; set a new PIN",
    "farm.Person.pin_misses": "belongs to the PIN",
}
# Tables of other programs in the same database.
NOT_OURS = {
    "sessions": "who is signed in at the moment; everybody signs in anew",
    "groups, permissions, content types": "not used: what a person may do follows from the role",
}


def tables() -> list[Table]:
    """List what is written, every table after those that it points at."""
    found = [model for model in _all_models() if model._meta.label not in LEFT_OUT]
    sorter: TopologicalSorter[Table] = TopologicalSorter()
    for model in found:
        pointed = [target for column in columns(model) if (target := target_of(column))]
        sorter.add(model, *[target for target in pointed if target is not model])
    return list(sorter.static_order())


def columns(model: Table) -> list[Column]:
    label = model._meta.label
    return [
        column
        for column in model._meta.concrete_fields
        if f"{label}.{column.name}" not in COLUMNS_LEFT_OUT
    ]


def is_worked(column: Column) -> bool:
    """Say whether a column follows from the facts: written to be compared, never read in."""
    facts = append_only.BOOK.get(column.model._meta.db_table)
    return facts is not None and column.column not in facts


def target_of(column: Column) -> Table | None:
    """Return the table that a column points at."""
    target = column.related_model
    return target if isinstance(target, type) else None


def is_of_the_book(model: Table) -> bool:
    return model._meta.app_label == "ledger"


def file_name(model: Table) -> str:
    return f"{model._meta.db_table}.csv"


def _all_models() -> Iterator[Table]:
    yield User
    for app in ("ledger", "farm"):
        yield from apps.get_app_config(app).get_models(include_auto_created=True)
