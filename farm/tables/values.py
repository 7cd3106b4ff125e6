"""One cell: how a value is written as text, and read back as the very same value.

An empty cell is an empty text in a column of text, and nothing known in any other. The two would
be one in a text that may be unknown, so there is none (`kind_of` refuses it).
"""

import re
from base64 import b64decode, b64encode
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any
from uuid import UUID

from django.db import models

from farm.tables.layout import Column


@dataclass(frozen=True)
class Kind:
    """A type of cell; ``read`` raises ValueError for what is not one, ``like`` shows one."""

    name: str
    like: str
    write: Callable[[Any], str]
    read: Callable[[str], Any]


def kind_of(column: Column) -> Kind:
    """Say how a column's cells are written; a column of a new type is refused."""
    while isinstance(column, models.ForeignKey):
        column = column.target_field
    kind = next((kind for fields, kind in _KINDS if isinstance(column, fields)), None)
    if kind is None or (kind is _TEXT and column.null):
        raise TypeError(f"How {column} is written as text is not decided; see {__name__}.")
    return kind


def to_text(column: Column, value: object) -> str:
    return "" if value is None else kind_of(column).write(value)


def from_text(column: Column, text: str) -> object:
    """Read a cell; raises ValueError in plain words."""
    kind = kind_of(column)
    if text == "" and kind is not _TEXT:
        if not column.null:
            raise ValueError(f"is empty; {kind.name} is needed, such as {kind.like}")
        return None
    try:
        return kind.read(text)
    except ValueError as refusal:
        raise ValueError(f"“{text[:40]}” is not {kind.name}, such as {kind.like}") from refusal


def _whole_number(text: str) -> int:
    if not re.fullmatch(r"-?[0-9]{1,19}", text):
        raise ValueError
    return int(text)


def _yes_or_no(text: str) -> bool:
    if text not in ("true", "false"):
        raise ValueError
    return text == "true"


def _moment(text: str) -> datetime:
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None:
        raise ValueError
    return moment.astimezone(UTC)


def _bytes(text: str) -> bytes:
    return b64decode(text, validate=True)


_TEXT = Kind("text", "words", str, str)
_KINDS: tuple[tuple[tuple[type[Column], ...], Kind], ...] = (
    (
        (models.BooleanField,),
        Kind("true or false", "true", lambda value: str(value).lower(), _yes_or_no),
    ),
    (
        (models.DateTimeField,),
        Kind(
            "a moment in UTC (ISO 8601)",
            "2026-09-07T08:00:00+00:00",
            lambda value: value.astimezone(UTC).isoformat(),
            _moment,
        ),
    ),
    (
        (models.DateField,),
        Kind("a date (ISO 8601)", "2026-09-07", lambda value: value.isoformat(),
             date.fromisoformat),
    ),
    (
        (models.UUIDField,),
        Kind("a UUID", "123e4567-e89b-42d3-a456-426614174000", str, UUID),
    ),
    (
        (models.BinaryField,),
        Kind("a file in Base64 (RFC 4648)", "QQ==", lambda value: b64encode(value).decode(),
             _bytes),
    ),
    ((models.IntegerField,), Kind("a whole number", "42", str, _whole_number)),
    ((models.CharField, models.TextField), _TEXT),
)  # fmt: skip
