"""The data dictionary: what each table and column means, in words that stand in the models."""

import inspect
import re
from typing import Any

from farm.tables.layout import (
    COLUMNS_LEFT_OUT,
    LEFT_OUT,
    NOT_OURS,
    Column,
    Table,
    columns,
    file_name,
    is_worked,
    target_of,
)
from farm.tables.values import kind_of
from ledger.models import KINDS

ABOUT = (
    "Each table is a file of comma-separated values after RFC 4180 in UTF-8: a head line with the "
    "columns' names, CR LF at the end of each line, double quotes around what holds a comma, a "
    "quote or a line break. An empty cell of another type than text is not known.",
    "Cells hold what was typed and nothing else: a text that begins with = + - or @ is written "
    "as it is. A spreadsheet program may take it for a formula, so import these columns as text.",
    "Columns marked as worked follow from the rest. Reading works them again and compares.",
    "manage.py read_tables FOLDER reads all of it into an empty database.",
)
MONEY = "1/10,000 of the currency unit"
QUANTITY = "mg, microlitres or pieces, by the item's dimension"
_NAMED = {
    "quantity": QUANTITY,
    "quantity_milli": "thousandths of an hour, kWh or block-day",
    "rate": f"{MONEY} per hour, kWh or block-day",
    "planned_loss_count": QUANTITY,
    "minutes": "minutes",
    **dict.fromkeys(("money", "amount", "net", "tax", "gross", *KINDS), MONEY),
}
# The longest ending comes first.
_ENDINGS = {
    "_milli_c": "thousandths of a degree Celsius",
    "_money": MONEY,
    "_ppm": "parts per million",
    "_mg": "mg",
    "_kpa": "kPa",
    "_wh": "Wh",
    "_days": "days",
    "_minutes": "minutes",
    "_seconds": "seconds",
    "_m": "metres",
}


def dictionary(rows: dict[Table, int]) -> dict[str, Any]:
    """Describe the tables written, each with its number of rows."""
    return {
        "about": list(ABOUT),
        "tables": [_table(model, count) for model, count in rows.items()],
        "left_out": {**LEFT_OUT, **COLUMNS_LEFT_OUT, **NOT_OURS},
    }


def unit_of(column: Column) -> str:
    """Name the unit of a column of numbers; pieces and ordinals have none."""
    if column.name in _NAMED:
        return _NAMED[column.name]
    return next((unit for ending, unit in _ENDINGS.items() if column.name.endswith(ending)), "")


def _table(model: Table, rows: int) -> dict[str, Any]:
    meta = model._meta
    together = [list(one.fields) for one in meta.total_unique_constraints]
    return {
        "table": meta.db_table,
        "file": file_name(model),
        "rows": rows,
        "meaning": _meaning(model),
        "key": meta.pk.column if meta.pk else "",
        "unique_together": together,
        "columns": [_column(column) for column in columns(model)],
    }


def _column(column: Column) -> dict[str, Any]:
    said: dict[str, Any] = {"column": column.column, "type": kind_of(column).name}
    if unit := unit_of(column):
        said["unit"] = unit
    said["meaning"] = _column_meaning(column)
    if column.null:
        said["may_be_empty"] = True
    if column.unique:
        said["unique"] = True
    if column.choices:
        said["choices"] = {str(key): str(label) for key, label in column.flatchoices}
    if target := target_of(column):
        said["refers_to"] = f"{target._meta.db_table}.{column.target_field.column}"  # type: ignore[attr-defined]
    if is_worked(column):
        said["worked"] = True
    return said


def _meaning(model: Table) -> str:
    """The first paragraph of what the model says of itself."""
    if model._meta.auto_created:
        pointed = [t._meta.verbose_name for column in columns(model) if (t := target_of(column))]
        return f"Which {' belongs to which '.join(map(str, pointed))}."
    said = inspect.cleandoc(model.__doc__ or "")
    named = f"{model._meta.verbose_name}.".capitalize()
    return named if said.startswith(f"{model.__name__}(") else _one_line(said.split("\n\n")[0])


def _column_meaning(column: Column) -> str:
    """Its help text, what the model's own words say of it, or its name in words."""
    if column.help_text:
        return str(column.help_text)
    said = _one_line(inspect.cleandoc(column.model.__doc__ or ""))
    sentences = re.split(r"(?<=\.) (?=``|[A-Z])", said)
    about = [one for one in sentences if f"``{column.name}``" in one]
    words = " ".join(about).replace("``", "")
    return words or str(column.verbose_name)


def _one_line(text: str) -> str:
    return " ".join(text.split())
