"""How far suspects reach, as rows and as a drawing. No money; names only where they may be seen."""

from collections.abc import Mapping, Sequence

from farm.models import Customer, Given
from farm.queries.tracing.reach import Reach, Recipient, Unnamed
from farm.queries.tracing.trace_events import SoldTo
from farm.queries.tracing.traces import TracedLot
from farm.reports.report_heading import Made, cells
from farm.reports.rows import Column, Fact, Kind, Report, Row, Table, total_row
from farm.reports.tracing.balance_rows import balance_tables
from farm.reports.tracing.trace_columns import (
    LOAD_RULE,
    LOADED,
    LOST,
    LOT,
    ON_HAND,
    PIECES,
    SOLD,
    WEIGHT,
    loaded_cells,
    lost_cells,
    lot_cells,
    sold_cells,
    sure_words,
)
from farm.reports.tracing.trace_picture import Way, way_picture
from farm.units import show_count, show_mass

MOST_CODES = 6
# Customers by key; None: the person may see their numbers only.
Names = Mapping[int, Customer] | None

WHOLE = "A mixed lot counts whole: certain must hold some of a suspect, possible may."
NO_NAMES = f"{LOAD_RULE} Nobody's name is known: put up a notice there."
NO_VERDICT = (
    "These lists say where lots went, not whether they harm anyone. Ask your food-safety "
    "authority, and a doctor or veterinary service where someone may be ill."
)


def reach_report(reach: Reach, made: Made, *, names: Names) -> Report:
    """Build the report; ``names``: of customers, or None for their numbers only."""
    return Report(
        title="How far it reaches",
        subtitle=f"From {reach.suspects.words}",
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        facts=_facts(reach),
        tables=(
            recipients_table(reach.recipients, names),
            unnamed_table(reach.unnamed),
            here_table(reach.still_here),
            _losses(reach),
            sales_table(reach.sales, names),
            *balance_tables(reach.balances),
            lots_table(reach.lots),
        ),
        drawings=(way_picture(Way(reach.lots, reach.links, reach.sales, reach.codes, True)),),
        cautions=(NO_VERDICT,),
        currency=made.currency,
    )


def _facts(reach: Reach) -> tuple[Fact, ...]:
    made_of = [lot for lot in reach.lots if lot.code not in reach.codes]
    sure = sum(lot.certain for lot in made_of)
    here = reach.still_here
    held = sum(lot.held for lot in here)
    return (
        Fact(
            "Suspects",
            f"{len(reach.codes)}: {', '.join(reach.codes[:8])}"
            + (" and others" if len(reach.codes) > 8 else ""),
        ),
        Fact(
            "Lots made of them", f"{len(made_of)}: {sure} certain, {len(made_of) - sure} possible"
        ),
        Fact("Still here", f"{show_count(len(here), 'lot', 'lots')}, {held} on hold"),
        Fact("Named customers", len(reach.recipients), Kind.COUNT),
        Fact("Sold, less what came back", reach.sold_mg, Kind.MASS),
        Fact("Stall loads, sales and gifts without a name", len(reach.unnamed), Kind.COUNT),
        Fact("Unexplained", _unexplained(reach)),
        Fact("Waiting entries about these lots", reach.waiting, Kind.COUNT),
    )


def _unexplained(reach: Reach) -> str:
    """Weighed and counted lots apart: they have no unit in common."""
    weighed = sum(b.unexplained for b in reach.balances if not b.counted)
    up = sum(1 for balance in reach.balances if balance.counted_up)
    said = f"{show_mass(weighed, 'kg')} missing at weighing"
    return f"{said}; {up} lots counted up" if up else said


# --- who received it -------------------------------------------------------------------------


def recipients_table(recipients: Sequence[Recipient], names: Names) -> Table:
    columns = (
        Column("Customer number"),
        *((Column("Customer"), Column("Contact")) if names is not None else ()),
        Column("Certain", Kind.MASS),
        Column("Possible", Kind.MASS),
        Column("Came back", Kind.MASS),
        Column("Place"),
        Column("Received from", Kind.DATE),
        Column("to", Kind.DATE),
        Column("Products"),
        Column("Lots"),
        *((Column("Address"),) if names is not None else ()),
    )
    rows: list[Row] = [
        (
            one.number,
            *named(one.customer_id, names)[:2],
            one.certain_mg,
            one.possible_mg,
            one.back_mg,
            one.place,
            one.first,
            one.last,
            ", ".join(one.products),
            _few(one.codes),
            *named(one.customer_id, names)[2:],
        )
        for one in recipients
    ]
    total = total_row(columns, rows, {"Certain", "Possible", "Came back"}) if rows else None
    return Table("Customers who received it", columns, tuple(rows), total, WHOLE if rows else "")


def _few(codes: Sequence[str]) -> str:
    """Name a few lots; the list of sales names them all."""
    more = f" and {len(codes) - MOST_CODES} more, see the sales" if len(codes) > MOST_CODES else ""
    return ", ".join(codes[:MOST_CODES]) + more


def named(customer_id: int | None, names: Names) -> Row:
    """Name, contact and address; blank where nobody is named or the name was erased."""
    if names is None:
        return ()
    customer = names.get(customer_id or 0)
    if customer is None:
        return ("", "", "")
    return (customer.name, customer.contact or "not known", customer.address)


def unnamed_table(unnamed: Sequence[Unnamed]) -> Table:
    columns = (
        Column("Day", Kind.DATE),
        Column("Place"),
        Column("Product"),
        Column("Lot"),
        *LOADED,
        Column("Lot is"),
    )
    rows: list[Row] = [
        (
            one.day,
            one.place or given_words(one.why),
            one.name,
            one.lot_code,
            *loaded_cells(one),
            sure_words(one.certain),
        )
        for one in unnamed
    ]
    title = "Sold or given where nobody's name is known, by day, place and product"
    return Table(title, columns, tuple(rows), note=NO_NAMES if rows else "")


def given_words(why: str) -> str:
    """“samples, given away”: who got it is told by a notice, or at home."""
    return f"{Given(why).label}, given away"


def sales_table(sales: Sequence[SoldTo], names: Names) -> Table:
    columns = (
        *SOLD,
        *((Column("Customer"),) if names is not None else ()),
        Column("Place"),
        Column("Product"),
        Column("Lot"),
        PIECES,
        WEIGHT,
        Column("How sure"),
    )
    rows: list[Row] = [
        (
            *sold_cells(sale),
            *named(sale.customer_id, names)[:1],
            sale.place,
            sale.name,
            sale.lot_code,
            *cells(sale.amount),
            sure_words(sale.certain),
        )
        for sale in sales
    ]
    total = total_row(columns, rows, {"Weight"}) if rows else None
    return Table("Every sale and return", columns, tuple(rows), total)


# --- lots ------------------------------------------------------------------------------------


def here_table(lots: Sequence[TracedLot]) -> Table:
    columns = (
        Column("Where"),
        Column("Stage"),
        Column("Lot"),
        Column("What"),
        *ON_HAND,
        Column("How sure"),
        Column("State"),
    )
    rows: list[Row] = [
        (
            lot.shelf or "place not recorded",
            lot.stage.label,
            lot.code,
            lot.name,
            *cells(lot.on_hand),
            sure_words(lot.certain),
            "on hold" if lot.held else "free",
        )
        for lot in sorted(lots, key=lambda lot: (lot.shelf, lot.stage, lot.code))
    ]
    return Table("Still here, by place", columns, tuple(rows))


def _losses(reach: Reach) -> Table:
    columns = (
        *LOST,
        Column("Product"),
        PIECES,
        WEIGHT,
    )
    rows: list[Row] = [(*lost_cells(loss), loss.name, *cells(loss.amount)) for loss in reach.losses]
    return Table("Thrown away, dried away or unexplained", columns, tuple(rows))


def lots_table(lots: Sequence[TracedLot]) -> Table:
    columns = (
        *LOT,
        Column("Made, pieces", Kind.COUNT),
        Column("Made, weight", Kind.MASS),
        Column("How sure"),
        Column("From"),
        Column("More"),
    )
    rows: list[Row] = [
        (*lot_cells(lot), *cells(lot.made), sure_words(lot.certain), lot.supplier, lot.facts)
        for lot in lots
    ]
    return Table("Every lot reached, by stage", columns, tuple(rows), note=WHOLE)
