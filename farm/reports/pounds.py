"""Pounds beside kilograms, in every table and fact of a report, where the farm works in pounds."""

from dataclasses import replace

from farm.reports.made import Made
from farm.reports.rows import Fact, Kind, Report, Row, Table

BESIDE = {Kind.MASS: Kind.POUNDS, Kind.UNIT_COST: Kind.POUND_COST}


def beside_pounds(report: Report, made: Made) -> Report:
    """Show each weight in lb beside its kg, and each cost per lb beside that per kg.

    The cell is the same whole number of the book; only the column's kind says how it is shown.
    """
    if made.weight_unit != "lb":
        return report
    return replace(
        report,
        facts=tuple(shown for fact in report.facts for shown in _facts(fact)),
        tables=tuple(map(_table, report.tables)),
    )


def _facts(fact: Fact) -> list[Fact]:
    beside = BESIDE.get(fact.kind) if isinstance(fact.value, int) else None
    if beside is None:
        return [fact]
    return [fact, replace(fact, label=f"{fact.label}, in pounds", kind=beside)]


def _table(table: Table) -> Table:
    columns, places = [], []
    for place, column in enumerate(table.columns):
        columns.append(column)
        places.append(place)
        if column.kind in BESIDE:
            columns.append(replace(column, kind=BESIDE[column.kind]))
            places.append(place)

    def widened(row: Row) -> Row:
        return tuple(row[place] for place in places)

    return replace(
        table,
        columns=tuple(columns),
        rows=tuple(map(widened, table.rows)),
        total=widened(table.total) if table.total else None,
    )
