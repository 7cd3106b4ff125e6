"""The packing list of a day: what is taken from which lot, for whom, in the order of the round."""

from collections.abc import Sequence
from datetime import date

from farm.queries.keeping import keeps_until
from farm.queries.orders.allocations import SetAside, Standing
from farm.queries.orders.orders import DueOrder, stop_of
from farm.reports.report_heading import Made
from farm.reports.rows import Column, Fact, Kind, Report, Row, Table
from farm.units import show_both
from ledger.models import Dimension, Lot

TAKE = (
    Column("Lot"), Column("What it is"), Column("Where it stands"),
    Column("Keeps until", Kind.DATE), Column("Take"), Column("For"),
    Column("Order", Kind.COUNT), Column("Mind"),
)  # fmt: skip
SHORT = (
    Column("For"), Column("What"), Column("Not set aside"), Column("Order", Kind.COUNT),
    Column("Mind"),
)  # fmt: skip


def packing_list(
    parts: Sequence[SetAside], due: Sequence[DueOrder], *, day: date, made: Made
) -> Report:
    """``parts``: what is set aside for the day; ``due``: its orders, and those that are late."""
    ordered = sorted(parts, key=lambda part: (*stop_of(part.order.customer), part.lot.code))
    rows = tuple(_row(part, day=day, unit=made.weight_unit) for part in ordered)
    short = tuple(_short_rows(parts, due, day=day, unit=made.weight_unit))
    return Report(
        title="Packing list",
        subtitle=f"{day:%A %-d %B %Y}",
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        facts=(
            Fact("Lots", len({part.lot.pk for part in parts}), Kind.COUNT),
            Fact("Customers", len({part.order.customer_id for part in parts}), Kind.COUNT),
        ),
        tables=(
            Table("Take from the fridge", TAKE, rows),
            *((Table("Asked for, and not set aside", SHORT, short),) if short else ()),
        ),
    )


def amount_words(quantity: int, lot: Lot, unit: str) -> str:
    if lot.item.dimension == Dimension.MASS:
        return show_both(quantity, unit)
    return _packs(quantity)


def _packs(count: int) -> str:
    return f"{count} {'pack' if count == 1 else 'packs'}"


def _row(part: SetAside, *, day: date, unit: str) -> Row:
    lot = part.lot
    standing = "" if part.standing is Standing.STANDS else part.standing.value
    mind = "; ".join(filter(None, (_late(part.day, day), standing)))
    return (
        lot.code,
        str(lot.card.product or lot.item),
        getattr(lot, "where", ""),
        keeps_until(lot.card),
        amount_words(part.quantity, lot, unit),
        str(part.order.customer),
        part.order.pk,
        mind,
    )


def _late(due: date, day: date) -> str:
    return f"late: for {due:%-d %b}" if due < day else ""


def _short_rows(
    parts: Sequence[SetAside], due: Sequence[DueOrder], *, day: date, unit: str
) -> Sequence[Row]:
    rows = []
    for one in due:
        for asked in one.asked if one.is_open else ():
            mine = (part for part in parts if part.line == asked.line and part.is_for(one))
            left = asked.missing - sum(part.quantity for part in mine)
            if left > 0:
                words = _packs(left) if asked.line.product else show_both(left, unit)
                rows.append(
                    (
                        str(one.order.customer),
                        str(asked.line),
                        words,
                        one.order.pk,
                        _late(one.day, day),
                    )
                )
    return rows
