"""Invoices and delivery notes as papers.

What an invoice states is what Directive 2006/112/EC asks in Art. 226, a simplified one in Art.
226b, and more for the kitchen: each line's lot and day of harvest.
"""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date

from farm import habits
from farm.models import DeliveryNote, Farm, Invoice, InvoiceKind
from farm.queries.accounts.invoices import PaperLine, RateTotal, lines_of, rate_totals
from farm.queries.orders.orders import DueOrder, Given
from farm.reports.accounts.papers import Paper
from farm.reports.rows import Column, Fact, Kind, Report, Row, Table, total_row
from farm.units import show_mass
from ledger.models import Dimension, Lot

TITLES = {
    InvoiceKind.FULL: "Invoice",
    InvoiceKind.SIMPLE: "Simplified invoice",
    InvoiceKind.CREDIT: "Credit note",
}
LINES = (
    Column("Supplied", Kind.DATE), Column("Goods"), Column("Lot"), Column("Harvested", Kind.DATE),
    Column("Quantity"), Column("Price without tax", Kind.MONEY), Column("Tax", Kind.RATIO),
    Column("Net", Kind.MONEY),
)  # fmt: skip
DISCOUNT = Column("Discount", Kind.RATIO)
RATES = (
    Column("Tax rate"), Column("Net", Kind.MONEY), Column("Tax", Kind.MONEY),
    Column("To pay", Kind.MONEY),
)  # fmt: skip
GIVEN = (Column("Goods"), Column("Lot"), Column("Harvested", Kind.DATE), Column("Quantity"))
ASKED = (Column("Asked for"), Column("Asked"), Column("Given"), Column("Remark"))


def invoice_paper(invoice: Invoice, farm: Farm) -> Paper:
    lines = lines_of(invoice)
    rates = rate_totals(lines)
    report = Report(
        title=f"{TITLES[InvoiceKind(invoice.kind)]} {invoice}",
        subtitle=f"to invoice {invoice.credits} of {habits.day(invoice.credits.issued_on)}"
        if invoice.credits
        else "",
        farm_name=invoice.seller_name,
        made_by=invoice.by.initials,
        made_at=invoice.issued_at.astimezone(farm.zone),
        facts=_facts(invoice, rates),
        tables=(_lines_table(lines, farm), _rates_table(rates)),
        currency=invoice.currency,
    )
    sender = (
        invoice.seller_name,
        invoice.seller_address,
        invoice.seller_tax_number and f"Tax number {invoice.seller_tax_number}",
    )
    receiver = (
        invoice.customer_name,
        invoice.customer_address,
        invoice.customer_tax_number and f"Tax number {invoice.customer_tax_number}",
    )
    words = (invoice.exemption_words, invoice.note)
    return Paper(report, _said(sender), _said(receiver), _said(words))


def note_paper(
    note: DeliveryNote, lines: Sequence[PaperLine], *, farm: Farm, due: DueOrder | None
) -> Paper:
    """A delivery note: what was given, of which lot; of an order, also what was asked."""
    given = Table(
        "Goods",
        GIVEN,
        tuple(
            (what, code, harvested_on, said)
            for line in lines
            for what, code, harvested_on, said, _ in _by_lot(line, farm)
        ),
    )
    asked = (_asked_table(note, due, farm),) if due else ()
    entry = note.sale.entry
    report = Report(
        title=f"Delivery note {note}",
        subtitle="",
        farm_name=farm.name,
        made_by=farm.name,
        made_at=entry.happened_at.astimezone(farm.zone),
        facts=(
            Fact("Delivered on", note.issued_on, Kind.DATE),
            *(
                (Fact("Order", f"{note.order_id}, for {habits.day(note.due_on)}"),)
                if note.order_id
                else ()
            ),
        ),
        tables=(given, *asked),
    )
    species = [line.lot.card.species for line in lines]
    notes = {one.cooking_note for one in species if one}
    return Paper(
        report,
        _said((farm.name, farm.place)),
        _said((note.customer_name, note.customer_address)),
        _said(sorted(notes)),
        is_signed=True,
    )


def quantity(amount: int, lot: Lot, farm: Farm) -> str:
    """Say a quantity as papers do: 12 packs, 2.50 kg, -3 packs."""
    if lot.item.dimension == Dimension.MASS:
        return show_mass(amount, "kg") + _pounds(amount, farm)
    return f"{amount} {'pack' if abs(amount) == 1 else 'packs'}"


def _pounds(mass_mg: int, farm: Farm) -> str:
    return f" ({show_mass(mass_mg, 'lb')})" if farm.weight_unit == "lb" else ""


# --- parts -----------------------------------------------------------------------------------


def _facts(invoice: Invoice, rates: Sequence[RateTotal]) -> tuple[Fact, ...]:
    first, last = invoice.supplied_from, invoice.supplied_until
    gross = sum(rate.gross for rate in rates)
    facts = [
        Fact("Number", str(invoice)),
        Fact("Issued on", invoice.issued_on, Kind.DATE),
        Fact("Supplied on", habits.days(first, last)),
    ]
    if invoice.kind == InvoiceKind.CREDIT:
        return (*facts, Fact("Credited", -gross, Kind.MONEY))
    facts += [
        Fact("To pay", gross, Kind.MONEY),
        Fact("To be paid by", invoice.due_on, Kind.DATE),
    ]
    return (*facts, *((Fact("Pay to", invoice.pay_to),) if invoice.pay_to else ()))


def _lines_table(lines: Sequence[PaperLine], farm: Farm) -> Table:
    """The goods line by line; discounts have a column where there are any (Art. 226 point 8)."""
    let_off = any(line.discount_ppm for line in lines)
    columns = (*LINES[:6], *((DISCOUNT,) * let_off), *LINES[6:])
    rows: list[Row] = []
    for line in lines:
        priced = (line.unit_net, *((line.discount_ppm or None,) * let_off), line.tax_ppm, line.net)
        rows += [
            (line.day, *named, *(priced if is_whole else (None,) * len(priced)))
            for *named, is_whole in _by_lot(line, farm)
        ]
    note = "Price of a pack, or of a kilogram of what is loose"
    return Table("Goods", columns, tuple(rows), total_row(columns, rows, {"Net"}), note)


def _by_lot(line: PaperLine, farm: Farm) -> Iterator[tuple[str, str, date | None, str, bool]]:
    """Name a line's goods, lot, day of harvest and quantity; of several lots, first all of it.

    The amount stands with the whole, once: parts that were rounded might not add up to it.
    """
    if len(line.parts) > 1:
        yield line.what, "", None, quantity(line.quantity, line.lot, farm), True
    for part in line.parts:
        is_whole = len(line.parts) == 1
        said = quantity(part.quantity, part.lot, farm)
        what = line.what if is_whole else f"of it, {line.what}"
        yield what, part.lot.code, part.lot.card.harvested_on, said, is_whole


def _rates_table(rates: Iterable[RateTotal]) -> Table:
    rows: tuple[Row, ...] = tuple(
        (_rate_words(rate.tax_ppm), rate.net, rate.tax, rate.gross) for rate in rates
    )
    return Table("Tax", RATES, rows, total_row(RATES, rows, {"Net", "Tax", "To pay"}))


def _rate_words(tax_ppm: int) -> str:
    """40,000 is “4 %”, 55,000 “5.5 %”."""
    whole, rest = divmod(tax_ppm, 10_000)
    return f"{whole}{f'.{rest:04}'.rstrip('0').rstrip('.')} %" if tax_ppm else "no tax"


def _asked_table(note: DeliveryNote, due: DueOrder, farm: Farm) -> Table:
    rows = []
    for asked in due.asked:
        packed = bool(asked.line.product)
        given = ", ".join(_given_words(one, farm) for one in asked.given)
        instead = "another product in its place; " * any(one.is_substitute for one in asked.given)
        short = f"{asked_words(asked.missing, packed, farm)} short" if asked.missing else ""
        follows = ", the rest follows" if short and note.rest_follows else ""
        remark = f"{instead}{short}{follows}".removesuffix("; ")
        rows.append(
            (str(asked.line), asked_words(asked.line.quantity, packed, farm), given, remark)
        )
    return Table("Your order", ASKED, tuple(rows))


def _given_words(one: Given, farm: Farm) -> str:
    said = quantity(one.quantity, one.lot, farm)
    return f"{said} of {one.what}" if one.is_substitute else said


def asked_words(amount: int, packed: bool, farm: Farm) -> str:
    if packed:
        return f"{amount} {'pack' if amount == 1 else 'packs'}"
    return show_mass(amount, "kg") + _pounds(amount, farm)


def _said(lines: Iterable[str]) -> tuple[str, ...]:
    return tuple(line for line in lines if line)
