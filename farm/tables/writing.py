"""Write everything as open tables."""

import csv
import json
from pathlib import Path

from django.db import transaction

from farm.tables.dictionary import dictionary
from farm.tables.layout import Table, columns, file_name, tables
from farm.tables.values import to_text

DICTIONARY = "tables.json"


class FolderError(Exception):
    """The folder cannot be used; the message says what to do."""


@transaction.atomic
def write_tables(folder: Path) -> dict[Table, int]:
    """Write each table as a CSV file into an empty folder, and what they mean beside them.

    The same database gives the same bytes. Returns the number of rows by table.
    """
    make_empty(folder)
    rows = {model: _write_table(folder / file_name(model), model) for model in tables()}
    said = json.dumps(dictionary(rows), ensure_ascii=False, indent=1)
    (folder / DICTIONARY).write_text(f"{said}\n", encoding="utf-8")
    return rows


def make_empty(folder: Path) -> None:
    """Make a folder; one that holds anything is refused."""
    folder.mkdir(parents=True, exist_ok=True)
    if any(folder.iterdir()):
        raise FolderError(f"{folder} is not empty. Name a new folder, so that nothing is mixed.")


def _write_table(path: Path, model: Table) -> int:
    """Write one table in the order of its key; return the number of rows."""
    fields = columns(model)
    written = 0
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow([field.column for field in fields])
        names = [field.attname for field in fields]
        found = model._default_manager.order_by("pk").values_list(*names)
        for row in found.iterator(chunk_size=2000):
            writer.writerow([to_text(*pair) for pair in zip(fields, row, strict=True)])
            written += 1
    return written
