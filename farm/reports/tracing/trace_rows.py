"""A trace as rows and as a drawing by stage; it holds no money, so helpers may see it."""

from datetime import tzinfo

from farm import habits
from farm.models import Stage
from farm.queries.finding import Amount
from farm.queries.tracing.traces import Side, Trace
from farm.reports.report_heading import Made, added, amount_fact, cells
from farm.reports.rows import Column, Fact, Kind, Report, Row, Table, total_row
from farm.reports.tracing.balance_rows import balance_tables
from farm.reports.tracing.trace_columns import (
    GIVEN,
    LOAD_RULE,
    LOADED,
    LOST,
    LOT,
    ON_HAND,
    PIECES,
    SOLD,
    WEIGHT,
    given_cells,
    loaded_cells,
    lost_cells,
    lot_cells,
    sold_cells,
    sure_words,
)
from farm.reports.tracing.trace_picture import trace_pictures
from farm.units import show_count, show_pressure, show_temperature

RUNS = (
    Column("Entry"),
    Column("Done at", Kind.DATE),
    Column("Steriliser"),
    Column("Minutes at temperature", Kind.COUNT),
    Column("Above air"),
    Column("Temperature"),
    Column("Lots of this trace in it"),
    Column("By"),
)
WORKS = (
    Column("Entry"),
    Column("Done at", Kind.DATE),
    Column("What"),
    Column("Lots"),
    Column("By"),
    Column("Recorded at", Kind.DATE),
    Column("Corrected"),
)
LOADS = (
    Column("Day", Kind.DATE),
    Column("Place"),
    Column("Lot"),
    Column("Product"),
    *LOADED,
)
MIXED = "A mixed lot counts whole: certain must hold some of it, possible may."


def trace_report(trace: Trace, made: Made, *, names: bool) -> Report:
    """Build the report; ``names``: with customers' names and contacts, else their numbers only."""
    lot, zone = trace.lot, made.at.tzinfo
    return Report(
        title=f"Trace of {lot.code}",
        subtitle=f"{lot.name} · {lot.stage.label} · made {habits.day(lot.made_on)}",
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        facts=_facts(trace),
        tables=(
            _behind(trace),
            _runs(trace, zone),
            _sales(trace, names),
            _loads(trace),
            _given(trace),
            _stock(trace),
            _losses(trace),
            _reached(trace),
            *balance_tables(trace.balances),
            _works(trace, zone),
        ),
        drawings=trace_pictures(trace),
        currency=made.currency,
    )


def _facts(trace: Trace) -> tuple[Fact, ...]:
    lot = trace.lot
    here = [other for other in trace.made_of.lots if other.is_here]
    customers = {sale.customer_number for sale in trace.sales} - {""}
    held = sum(other.held for other in here)
    facts = [
        Fact("Behind it", _lots_words(trace.behind), lead=True),
        Fact("Made of it", _lots_words(trace.made_of), lead=True),
        Fact("Still here", f"{show_count(len(here), 'lot', 'lots')}, {held} on hold", lead=True),
        Fact("Customers who received it", len(customers), Kind.COUNT, lead=True),
        amount_fact("Received" if lot.stage == Stage.SUPPLY else "Made", trace.whole),
        amount_fact("On hand", lot.on_hand),
    ]
    if lot.facts:
        facts.append(Fact("What it is", lot.facts))
    if lot.supplier:
        facts.append(Fact("From", lot.supplier))
    if lot.held:
        facts.append(Fact("On hold", "yes: it may not be used or sold"))
    return (
        *facts,
        amount_fact("Of it still here", added(one.share for one in trace.made_of.lots)),
        amount_fact("Of it sold", added(one.share for one in trace.sales)),
        amount_fact("Of it given away", added(one.share for one in trace.given)),
        amount_fact("Of it lost", added(one.share for one in trace.losses)),
        Fact("Waiting entries about these lots", trace.waiting, Kind.COUNT),
    )


def _lots_words(side: Side) -> str:
    """“5 lots: 4 certain, 1 possible”; the lot asked for is none of them."""
    others = len(side.lots) - 1
    sure = sum(lot.certain for lot in side.lots) - 1
    possible = f": {sure} certain, {others - sure} possible" if sure < others else ""
    return show_count(others, "lot", "lots") + possible


# --- lots ------------------------------------------------------------------------------------


def _behind(trace: Trace) -> Table:
    columns = (
        *LOT,
        Column(f"In {trace.lot.code}, pieces", Kind.COUNT),
        Column(f"In {trace.lot.code}", Kind.MASS),
        Column("How sure"),
        Column("From"),
        Column("More"),
    )
    rows: list[Row] = [
        (*lot_cells(lot), *_known(lot.share), sure_words(lot.certain), lot.supplier, lot.facts)
        for lot in trace.behind.lots
        if lot != trace.lot
    ]
    note = f"{MIXED} Amounts are by share; blank is less than one piece."
    return Table("Everything behind it", columns, tuple(rows), note=note)


def _known(share: Amount) -> Row:
    """Leave a share of less than one piece blank: it is not nothing."""
    return (share.pieces or None, share.mass_mg or None)


def _reached(trace: Trace) -> Table:
    columns = (
        *LOT,
        Column("Made, pieces", Kind.COUNT),
        Column("Made of it", Kind.MASS),
        Column("How sure"),
        Column("State"),
        Column("More"),
    )
    rows: list[Row] = [
        (
            *lot_cells(lot),
            *cells(lot.made),
            sure_words(lot.certain),
            "on hold" if lot.held else "",
            lot.facts,
        )
        for lot in trace.made_of.lots
    ]
    return Table("Everything made of it", columns, tuple(rows), note=MIXED)


def _stock(trace: Trace) -> Table:
    columns = (
        Column("Stage"),
        Column("Lot"),
        Column("What"),
        Column("Where"),
        *ON_HAND,
        *_share_columns(trace),
        Column("How sure"),
        Column("State"),
    )
    rows: list[Row] = [
        (
            lot.stage.label,
            lot.code,
            lot.name,
            lot.shelf,
            *cells(lot.on_hand),
            *cells(lot.share),
            sure_words(lot.certain),
            "on hold" if lot.held else "",
        )
        for lot in trace.made_of.lots
        if lot.is_here or lot.share.mass_mg
    ]
    return _with_total("Still here", columns, rows)


def _share_columns(trace: Trace) -> tuple[Column, Column]:
    code = trace.lot.code
    return Column(f"Of {code}, pieces", Kind.COUNT), Column(f"Of {code}", Kind.MASS)


def _with_total(
    title: str, columns: tuple[Column, ...], rows: list[Row], *, note: str = ""
) -> Table:
    """Add up what is of one lot (the share), not what is of different kinds."""
    summed = {column.name for column in columns if column.name.startswith("Of ")}
    total = total_row(columns, rows, summed) if rows else None
    return Table(title, columns, tuple(rows), total, note)


# --- what happened ---------------------------------------------------------------------------


def _sales(trace: Trace, names: bool) -> Table:
    columns = (
        *SOLD,
        *((Column("Customer"), Column("Contact")) if names else ()),
        Column("Place"),
        Column("Lot"),
        PIECES,
        WEIGHT,
        *_share_columns(trace),
        Column("How sure"),
    )
    rows: list[Row] = [
        (
            *sold_cells(sale),
            *((sale.customer, sale.contact) if names else ()),
            sale.place,
            sale.lot_code,
            *cells(sale.amount),
            *cells(sale.share),
            sure_words(sale.certain),
        )
        for sale in trace.sales
    ]
    note = "What was sold at a stall has no customer's name; see the loads."
    return _with_total("Who received it", columns, rows, note=note if rows else "")


def _loads(trace: Trace) -> Table:
    rows: list[Row] = [
        (load.day, load.place, load.lot_code, load.name, *loaded_cells(load))
        for load in trace.loads
    ]
    return Table("Loaded for a stall", LOADS, tuple(rows), note=LOAD_RULE)


def _given(trace: Trace) -> Table:
    columns = (
        *GIVEN,
        Column("Lot"),
        PIECES,
        WEIGHT,
        *_share_columns(trace),
        Column("How sure"),
    )
    rows: list[Row] = [
        (
            *given_cells(one),
            one.lot_code,
            *cells(one.amount),
            *cells(one.share),
            sure_words(one.certain),
        )
        for one in trace.given
    ]
    return _with_total("Given away", columns, rows)


def _losses(trace: Trace) -> Table:
    columns = (
        *LOST,
        PIECES,
        WEIGHT,
        *_share_columns(trace),
    )
    rows: list[Row] = [
        (*lost_cells(loss), *cells(loss.amount), *cells(loss.share)) for loss in trace.losses
    ]
    note = "Planned losses and water leave without a share: what is left carries it."
    return _with_total("Thrown away or lost", columns, rows, note=note)


def _runs(trace: Trace, zone: tzinfo | None) -> Table:
    rows: list[Row] = [
        (
            str(run.entry),
            run.at.astimezone(zone),
            run.steriliser,
            run.minutes,
            "" if run.gauge_pa is None else show_pressure(run.gauge_pa, "kPa"),
            ""
            if run.temperature_milli_c is None
            else show_temperature(run.temperature_milli_c, "C"),
            ", ".join(run.lot_codes),
            run.by,
        )
        for run in trace.runs
    ]
    return Table("Steriliser runs", RUNS, tuple(rows))


def _works(trace: Trace, zone: tzinfo | None) -> Table:
    rows: list[Row] = [
        (
            str(work.entry),
            work.at.astimezone(zone),
            work.what,
            ", ".join(work.lot_codes),
            work.by,
            work.recorded_at.astimezone(zone),
            "corrected" if work.corrected else "",
        )
        for work in trace.works
    ]
    return Table("What was done, and by whom", WORKS, tuple(rows))
