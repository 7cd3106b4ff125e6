"""Read one file of a table: each line becomes plain values, or a sentence about what is wrong."""

import csv
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from django.core.exceptions import ValidationError

from farm.tables.layout import Column, Table, columns, file_name, is_worked
from farm.tables.values import from_text

MOST_ERRORS = 100


class MostErrors(Exception):
    """So much is wrong that naming more helps nobody."""


@dataclass(frozen=True)
class Found:
    """A row of a file. ``worked``: the texts that are compared, not read in."""

    file: str
    line: int
    values: dict[str, object]
    worked: dict[str, str]

    @property
    def where(self) -> str:
        return f"{self.file}, line {self.line}"


def read_file(path: Path, model: Table, errors: list[str]) -> list[Found]:
    """Read a table's rows; what is wrong is added to ``errors``."""
    csv.field_size_limit(sys.maxsize)  # a closed month's file stands in one cell
    name, fields = file_name(model), columns(model)
    heads = [str(field.column) for field in fields]
    found = []
    try:
        with path.open(encoding="utf-8", newline="") as file:
            lines = _lines(csv.reader(file, strict=True))
            _, first = next(lines, (1, []))
            if first != heads:
                errors.append(f"{name}, line 1: the columns must be {', '.join(heads)}.")
                return []
            for line, cells in lines:
                row = Found(name, line, {}, {})
                _fill(row, fields, cells=cells, errors=errors)
                found.append(row)
    except (UnicodeDecodeError, csv.Error) as refusal:
        errors.append(f"{name} is not comma-separated text in UTF-8 ({refusal}).")
    return found


def _lines(reader: Iterator[list[str]]) -> Iterator[tuple[int, list[str]]]:
    """Number each row by the line on which it begins; a text may run over several."""
    begins = 1
    for cells in reader:
        yield begins, cells
        begins = reader.line_num + 1  # type: ignore[attr-defined]


def _fill(row: Found, fields: list[Column], *, cells: list[str], errors: list[str]) -> None:
    if len(cells) != len(fields):
        errors.append(f"{row.where}: {len(cells)} cells are there, {len(fields)} are needed.")
        return
    for field, text in zip(fields, cells, strict=True):
        if is_worked(field):
            row.worked[field.attname] = text
            continue
        try:
            row.values[field.attname] = _checked(field, text)
        except ValueError as refusal:
            errors.append(f"{row.where}, {field.column}: {refusal}.")
        if len(errors) >= MOST_ERRORS:
            raise MostErrors


def _checked(field: Column, text: str) -> object:
    """Read a cell and hold it against the column's own rules: choices, length, range."""
    value = from_text(field, text)
    if field.is_relation or value is None or value == "":
        return value
    if field.choices and value not in dict(field.flatchoices):
        allowed = ", ".join(str(key) for key, _ in field.flatchoices)
        raise ValueError(f"“{text}” is not one of {allowed}")
    try:
        field.run_validators(value)
    except ValidationError as refusal:
        raise ValueError(" ".join(refusal.messages).rstrip(".")) from refusal
    return value
