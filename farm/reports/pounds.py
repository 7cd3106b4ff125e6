"""Pounds beside kilograms, in every table and fact of a report, where the farm works in pounds."""

from collections.abc import Iterable
from dataclasses import replace

from farm.reports.report_heading import Made
from farm.reports.rows import Cell, Column, Fact, Kind, Report, Row, Table
from farm.weight import hundredths_of

BESIDE = {Kind.MASS: Kind.POUNDS, Kind.UNIT_COST: Kind.POUND_COST}


def beside_pounds(report: Report, made: Made) -> Report:
    """Show each weight in lb beside its kg, and each cost per lb beside that per kg.

    Weights that were handed out say the hundredths of a pound handed out with them, so that they
    add up as the grams do. Else the cell is the same whole number of the book, and only the
    column's kind says how it is shown.
    """
    if made.weight_unit != "lb":
        return report
    return replace(
        report,
        facts=tuple(shown for fact in report.facts for shown in _facts(fact)),
        tables=tuple(map(_table, report.tables)),
    )


def _facts(fact: Fact) -> list[Fact]:
    if fact.kind not in BESIDE or not isinstance(fact.value, int):
        return [fact]
    kind = _kind(fact.kind, [fact.value])
    label = f"{fact.label}, in pounds"
    return [fact, replace(fact, label=label, kind=kind, value=_cell(fact.value, kind))]


def _table(table: Table) -> Table:
    columns: list[Column] = []
    places: list[tuple[int, Kind]] = []
    rows = (*table.rows, *([table.total] if table.total else []))
    for place, column in enumerate(table.columns):
        columns.append(column)
        places.append((place, column.kind))
        if column.kind in BESIDE:
            kind = _kind(column.kind, [row[place] for row in rows])
            columns.append(replace(column, kind=kind))
            places.append((place, kind))

    def widened(row: Row) -> Row:
        return tuple(_cell(row[place], kind) for place, kind in places)

    return replace(
        table,
        columns=tuple(columns),
        rows=tuple(map(widened, table.rows)),
        total=widened(table.total) if table.total else None,
    )


def _kind(of: Kind, cells: Iterable[Cell]) -> Kind:
    """Read hundredths of a pound where all of a column were handed out."""
    numbers = [cell for cell in cells if isinstance(cell, int)]
    handed = all(hundredths_of(cell) is not None for cell in numbers) and any(numbers)
    return Kind.HANDED_POUNDS if of is Kind.MASS and handed else BESIDE[of]


def _cell(value: Cell, kind: Kind) -> Cell:
    if kind is Kind.HANDED_POUNDS and isinstance(value, int):
        return hundredths_of(value)
    return value
