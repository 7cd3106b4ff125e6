"""A report as text and back, so that a page can show it again as it was, whatever changed since.

Only the parts that reports are made of are written; each says which part it is.
"""

import json
from collections.abc import Callable
from dataclasses import fields, is_dataclass
from datetime import date, datetime
from enum import Enum, EnumType

from farm.reports import drawing, rows
from farm.reports.rows import Report
from ledger.drafts import canonical

PARTS: dict[str, Callable[..., object]] = {
    part.__name__: part
    for part in (
        rows.Report,
        rows.Fact,
        rows.Table,
        rows.Column,
        rows.Kind,
        rows.Chart,
        drawing.Drawing,
        drawing.Line,
        drawing.Curve,
        drawing.Box,
        drawing.Text,
        drawing.Tone,
    )
}
PARTS |= {"date": date.fromisoformat, "datetime": datetime.fromisoformat}


def as_text(report: Report) -> str:
    return canonical(_plain(report))


def from_text(text: str) -> Report:
    report = _part(json.loads(text))
    assert isinstance(report, Report)
    return report


def _plain(value: object) -> object:
    if isinstance(value, Enum):
        return {"is": type(value).__name__, "given": [value.name]}
    if isinstance(value, date):  # a datetime is one too
        return {"is": type(value).__name__, "given": [value.isoformat()]}
    if is_dataclass(value):
        named = {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
        return {"is": type(value).__name__, "named": named}
    if isinstance(value, tuple | list):
        return [_plain(part) for part in value]
    return value


def _part(value: object) -> object:
    if isinstance(value, list):
        return tuple(_part(part) for part in value)
    if not isinstance(value, dict):
        return value
    part = PARTS[value["is"]]
    if "given" not in value:
        return part(**{name: _part(inner) for name, inner in value["named"].items()})
    (given,) = value["given"]
    return part[given] if isinstance(part, EnumType) else part(given)
