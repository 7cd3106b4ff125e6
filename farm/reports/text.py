"""Lay a report out as plain text for the command line: aligned, numbers to the right."""

from collections.abc import Iterable, Sequence

from farm.reports import rows
from farm.reports.rows import Printed, Report

GAP = "  "


def text(report: Report) -> str:
    """Write facts, tables and cautions under each other; drawings are left to page and PDF."""
    parts = [report.title, report.subtitle, "", *_facts(report)]
    for table in report.tables:
        printed = rows.printed(table, report.currency)
        parts += ["", printed.title.upper(), *_table(printed)]
    parts += [line for caution in report.cautions for line in ("", f"Caution: {caution}")]
    return "\n".join(part.rstrip() for part in parts) + "\n"


def _facts(report: Report) -> list[str]:
    width = max((len(fact.label) for fact in report.facts), default=0)
    return [
        f"{fact.label:{width}}{GAP}{rows.show_fact(fact, report.currency)}" for fact in report.facts
    ]


def _table(table: Printed) -> list[str]:
    note = [table.note] if table.note else []
    if not table.rows:
        return [*note, table.empty_words]
    lines = [table.heads, *table.rows, *([table.total] if table.total else [])]
    widths = [max(len(line[at]) for line in lines) for at in range(len(table.heads))]
    laid = [_line(line, widths, table.numbers) for line in lines]
    rule = GAP.join("-" * width for width in widths)
    body = [laid[0], rule, *laid[1:]]
    if table.total:
        body.insert(-1, rule)
    return [*note, *body]


def _line(cells: Sequence[str], widths: Iterable[int], numbers: Sequence[bool]) -> str:
    pairs = zip(cells, widths, numbers, strict=True)
    return GAP.join(
        cell.rjust(width) if number else cell.ljust(width) for cell, width, number in pairs
    )
