"""What every list of lots, loads, losses and sales has in common, traced or reached."""

from farm.queries.tracing.loads_left import Loaded
from farm.queries.tracing.reach import Unnamed
from farm.queries.tracing.trace_events import GivenAs, Lost, SoldTo
from farm.queries.tracing.traces import TracedLot
from farm.reports.report_heading import cells
from farm.reports.rows import Column, Kind, Row

PIECES, WEIGHT = Column("Pieces", Kind.COUNT), Column("Weight", Kind.MASS)
LOT = (Column("Stage"), Column("Lot"), Column("What"), Column("Made", Kind.DATE))
ON_HAND = (Column("On hand, pieces", Kind.COUNT), Column("On hand", Kind.MASS))
SOLD = (Column("Day", Kind.DATE), Column("Entry"), Column("What"), Column("Customer number"))
LOST = (Column("Day", Kind.DATE), Column("Entry"), Column("What"), Column("Why"), Column("Lot"))
GIVEN = (Column("Day", Kind.DATE), Column("Entry"), Column("Why"), Column("Place"))
LOADED = (
    Column("Loaded, pieces", Kind.COUNT),
    Column("Loaded", Kind.MASS),
    Column("Sold by the book, pieces", Kind.COUNT),
    Column("Sold by the book", Kind.MASS),
    Column("Given away, pieces", Kind.COUNT),
    Column("Given away", Kind.MASS),
    Column("Settled"),
)
LOAD_RULE = (
    "Every lot loaded and not wholly brought back is possible at that stall on that day, "
    "whatever lot the sale was written on."
)


def lot_cells(lot: TracedLot) -> Row:
    return lot.stage.label, lot.code, lot.name, lot.made_on


def sold_cells(sale: SoldTo) -> Row:
    return sale.day, str(sale.entry), sale.what, sale.customer_number


def lost_cells(loss: Lost) -> Row:
    return loss.day, str(loss.entry), loss.what, loss.reason, loss.lot_code


def given_cells(given: GivenAs) -> Row:
    return given.day, str(given.entry), given.why, given.place


def loaded_cells(load: Loaded | Unnamed) -> Row:
    settled = "yes" if load.settled else "not yet"
    return *cells(load.loaded), *cells(load.sold), *cells(load.given), settled


def sure_words(certain: bool) -> str:
    return "certain" if certain else "possible"
