"""The traceability workbook: the key data elements that the farm's records carry.

A sheet for each critical tracking event of the Food Traceability Rule, columns in the rule's words
and order: 21 CFR 1.1325(a), 1.1330(a), 1.1340(a), 1.1345(a), 1.1350(a), eCFR text of 2026-06-11.
The numbers beside the columns are the rule's. What the farm does not record is no column, and said.
"""

from farm.exchange.choosing import Asked
from farm.exchange.key_facts import KeyFacts, Moved, Went, key_facts
from farm.models import Sale, Stage
from farm.queries.finding import amount_in
from farm.reports.report_heading import Made
from farm.reports.rows import Cell, Column, Fact, Kind, Report, Row, Table
from ledger.models import Dimension, Entry, Lot

# eCFR 2026-06-11 for the rule; the list itself: FDA's page of the Food Traceability List, read in
# part, and two reprints of it; a growers' guide says that mushrooms are not on it.
COVERAGE = (
    "Modelled on the FDA Food Traceability Rule, 21 CFR 1.1325 to 1.1350, as the eCFR gave it on "
    "2026-06-11. A record in its form, not a claim that it applies.",
    "The rule covers whoever makes, processes, packs or holds foods on the Food Traceability List. "
    "In the version read, whole mushrooms were not on that list, fresh or dried. Raw mushrooms "
    "that are cut or sliced may count as fresh-cut vegetables, which are.",
    "Small farms and sales straight to consumers are exempt from much of it. Lists and exemptions "
    "change: ask the FDA or your state's authority.",
)
NOT_KEPT = (
    "Not claimed or not kept here: cooling before packing (crates in a fridge are held, not "
    "cooled); telephone numbers; geographic coordinates."
)
RECORD = "Entry in the farm's book"

COMMODITY = (Column("Commodity"), Column("Variety"))
DOCUMENT = (Column("Reference document type"), Column("Reference document number"))

HARVESTING = (  # 1.1325(a)(1)
    Column("Farm's lot"),  # ours, to find the row again
    Column("Immediate subsequent recipient"),  # (i)
    *COMMODITY,  # (ii)
    Column("Quantity", Kind.MASS),  # (iii)
    Column("Unit of measure"),
    Column("Farm where harvested"),  # (iv)
    Column("Field or other growing area"),  # (v); (vi) is of aquaculture
    Column("Date of harvesting", Kind.DATE),  # (vii)
    *DOCUMENT,  # (viii)
)
PACKING = (  # 1.1330(a); (6) is of aquaculture, (9) and (10) of cooling
    *(Column(f"{column.name} received") for column in COMMODITY),  # (1)
    Column("Date received", Kind.DATE),  # (2)
    Column("Quantity received", Kind.MASS),  # (3)
    Column("Unit of measure received"),
    Column("Farm where harvested"),  # (4)
    Column("Field or other growing area"),  # (5)
    Column("Business that harvested"),  # (7)
    Column("Date of harvesting", Kind.DATE),  # (8)
    Column("Traceability lot code assigned"),  # (11)
    Column("Product description"),  # (12)
    Column("Quantity packed", Kind.COUNT),  # (13)
    Column("Unit of measure packed"),
    Column("Traceability lot code source"),  # (14), where it was packed
    Column("Date of initial packing", Kind.DATE),  # (15)
    *DOCUMENT,  # (16)
    Column("Farm's lot received"),  # ours
)
LOT = (
    Column("Traceability lot code"),  # (1)
    Column("Quantity", Kind.MASS),  # (2)
    Column("Quantity counted", Kind.COUNT),
    Column("Unit of measure"),
    Column("Product description"),  # (3)
)
SHIPPING = (  # 1.1340(a)
    *LOT,
    Column("Immediate subsequent recipient"),  # (4)
    Column("Location shipped from"),  # (5)
    Column("Date shipped", Kind.DATE),  # (6)
    Column("Traceability lot code source"),  # (7)
    *DOCUMENT,  # (8)
)
RECEIVING = (  # 1.1345(a)
    *LOT,
    Column("Immediate previous source"),  # (4)
    Column("Location where received"),  # (5)
    Column("Date received", Kind.DATE),  # (6)
    Column("Traceability lot code source"),  # (7)
    *DOCUMENT,  # (8)
    Column("Farm's lot"),  # ours
)
TRANSFORMATION = (  # 1.1350(a)
    Column("Traceability lot code used"),  # (1)(i)
    Column("Product description used"),  # (1)(ii)
    Column("Quantity used", Kind.MASS),  # (1)(iii)
    Column("Unit of measure used"),
    Column("New traceability lot code"),  # (2)(i)
    Column("Location where transformed"),  # (2)(ii)
    Column("Date completed", Kind.DATE),  # (2)(iii)
    Column("Product description made"),  # (2)(iv)
    Column("Quantity made", Kind.MASS),  # (2)(v)
    Column("Quantity made counted", Kind.COUNT),
    Column("Unit of measure made"),
    *DOCUMENT,  # (2)(vi)
)


def key_data(asked: Asked, made: Made, *, names: bool) -> Report:
    """Build the workbook's report; ``names``: customers by name and address, else by number."""
    facts = key_facts(asked)
    farm = f"{facts.farm.name}, {facts.farm.place}"
    return Report(
        title="Traceability key data",
        subtitle=asked.words[0].upper() + asked.words[1:],
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        facts=(Fact("Customers", "by name" if names else "by number"), Fact("Gaps", NOT_KEPT)),
        tables=(
            Table("Harvesting", HARVESTING, _harvesting(facts, farm)),
            Table("Initial packing", PACKING, _packing(facts, farm), note=_PACKING_NOTE),
            Table("Shipping", SHIPPING, _shipping(facts, farm, names=names), note=_SHIPPING_NOTE),
            Table("Receiving", RECEIVING, _receiving(facts, farm, names=names)),
            Table("Transformation", TRANSFORMATION, _transformation(facts, farm)),
        ),
        cautions=COVERAGE,
    )


_PACKING_NOTE = (
    "A row for each lot received into a packed lot, each with the whole quantity packed. "
    "The farm packs what it picked: date received is the day of harvest."
)
_SHIPPING_NOTE = (
    "To kitchens and shops. What was sold loose goes under the code of its pick. Sales to "
    "consumers are no shipping under the rule and are not listed."
)


def _harvesting(facts: KeyFacts, farm: str) -> tuple[Row, ...]:
    return tuple(
        (
            one.lot.code,
            farm,
            *_commodity(one.lot),
            one.quantity,
            "kg",
            farm,
            facts.areas.get(one.lot.pk, ""),
            one.entry.happened_on,
            *_document(one.entry),
        )
        for one in facts.harvested
    )


def _packing(facts: KeyFacts, farm: str) -> tuple[Row, ...]:
    """The farm packs what it picked, so it received it on the day of harvest."""
    return tuple(
        (
            *_commodity(one.src),
            one.src.card.harvested_on,
            one.used,
            "kg",
            farm,
            facts.areas.get(one.src.pk, ""),
            farm,
            one.src.card.harvested_on,
            one.dst.code,
            _description(one.dst),
            one.made,
            _unit(one.dst),
            farm,
            one.entry.happened_on,
            *_document(one.entry),
            one.src.code,
        )
        for one in facts.packed
    )


def _shipping(facts: KeyFacts, farm: str, *, names: bool) -> tuple[Row, ...]:
    return tuple(
        (
            one.lot.code,
            *_lot(one.lot, one.quantity),
            _customer(one.sale, names=names),
            farm,
            one.entry.happened_on,
            farm,
            *_document(one.entry),
        )
        for one in facts.shipped
    )


def _receiving(facts: KeyFacts, farm: str, *, names: bool) -> tuple[Row, ...]:
    """Supplies under the supplier's mark; what came back under the farm's own code."""
    return tuple(
        (
            one.lot.code if one.sale else one.lot.card.supplier_lot,
            *_lot(one.lot, one.quantity),
            _customer(one.sale, names=names) if one.sale else _supplier(one),
            farm,
            one.entry.happened_on,
            farm if one.sale else _supplier(one),
            *_document(one.entry),
            one.lot.code,
        )
        for one in facts.received
    )


def _transformation(facts: KeyFacts, farm: str) -> tuple[Row, ...]:
    return tuple(_transformed(one, farm) for one in facts.transformed)


def _transformed(one: Went, farm: str) -> Row:
    made = amount_in(one.dst, one.made)
    return (
        one.src.code,
        _description(one.src),
        amount_in(one.src, one.used).mass_mg,
        "kg",
        one.dst.code,
        farm,
        one.entry.happened_on,
        _description(one.dst),
        made.mass_mg,
        made.pieces,
        _unit(one.dst),
        *_document(one.entry),
    )


# --- cells -----------------------------------------------------------------------------------


def _commodity(lot: Lot) -> tuple[Cell, Cell]:
    card = lot.card
    return str(card.species or ""), card.strain.name if card.strain else ""


def _lot(lot: Lot, quantity: int) -> tuple[Cell, ...]:
    amount = amount_in(lot, quantity)
    return amount.mass_mg, amount.pieces, _unit(lot), _description(lot)


def _unit(lot: Lot) -> str:
    """Name the unit: 'kg', or what is counted: 'packs of 200 g'."""
    if lot.item.dimension != Dimension.COUNT:
        return "kg" if lot.item.dimension == Dimension.MASS else "litres"
    if lot.card.stage != Stage.PACKS:
        return "pieces"
    return f"packs of {(lot.unit_mass_mg or 0) / 1000:g} g"


def _description(lot: Lot) -> str:
    product, species = lot.card.product, lot.card.species
    latin = f" ({species.latin})" if species and species.latin else ""
    return f"{product.name if product else lot.item.name}{latin}"


def _customer(sale: Sale | None, *, names: bool) -> str:
    customer = sale.customer if sale else None
    if customer is None:
        return "not stated"
    if not names:
        return customer.number
    return ", ".join(word for word in (customer.name, customer.address) if word)


def _supplier(one: Moved) -> str:
    supplier = one.lot.card.supplier
    if supplier is None:
        return "not stated"
    return ", ".join(word for word in (supplier.name, supplier.address) if word)


def _document(entry: Entry) -> tuple[Cell, Cell]:
    return RECORD, str(entry.seq)
