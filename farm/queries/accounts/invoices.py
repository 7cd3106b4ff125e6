"""Invoices as they read: lines, tax by rate, totals; and what waits to be invoiced."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from django.db.models import QuerySet, Sum

from farm.kinds.selling import LineTerms, SaleTerms
from farm.models import Customer, DeliveryNote, Invoice, Sale, SaleLine, Stage
from farm.units import MG_PER_LB
from ledger.amounts import MILLION
from ledger.models import Dimension, Entry, Lot

MG_PER_KG = 1_000_000
CENT = 100


@dataclass(frozen=True)
class LotPart:
    """What a line gives of one lot, in the lot's own unit."""

    lot: Lot
    quantity: int


@dataclass(frozen=True)
class PaperLine:
    """The same goods of one sale on the same terms, as an invoice states them: one amount.

    ``parts``: of which lots. ``unit_net``: the price of a pack or a kg without tax and before the
    discount; None where only money changed. On a credit note all of it is the difference.
    """

    day: date
    what: str
    parts: tuple[LotPart, ...]
    quantity: int
    unit_net: int | None
    discount_ppm: int
    tax_ppm: int
    net: int
    tax: int
    gross: int

    @property
    def lot(self) -> Lot:
        """The first of its lots: all are of the same goods."""
        return self.parts[0].lot

    @property
    def is_weighed(self) -> bool:
        return self.lot.item.dimension == Dimension.MASS


@dataclass(frozen=True)
class Papers:
    """The papers of one sale, and which may still be made."""

    note: DeliveryNote | None
    invoices: tuple[Invoice, ...]
    may_note: bool
    may_invoice: bool


@dataclass(frozen=True)
class RateTotal:
    """What a document comes to at one rate: net + tax = gross."""

    tax_ppm: int
    net: int
    tax: int
    gross: int


def invoices() -> QuerySet[Invoice]:
    """Every invoice and credit note with its totals, the newest first."""
    return (
        Invoice.objects.select_related("customer", "credits", "by")
        .annotate(
            net=Sum("lines__sale_line__net"),
            tax=Sum("lines__sale_line__tax"),
            gross=Sum("lines__sale_line__gross"),
        )
        .order_by("-issued_on", "-pk")
    )


def lines_of(invoice: Invoice) -> list[PaperLine]:
    """The lines of an invoice by day and lot; two queries."""
    return paper_lines(_readable(SaleLine.objects.filter(invoiced__invoice=invoice)))


def sold_lines(sale: Sale) -> list[PaperLine]:
    """The lines of a sale, corrected and less what came back."""
    return paper_lines(_readable(SaleLine.objects.filter(sale=sale)))


def rate_totals(lines: Iterable[PaperLine]) -> list[RateTotal]:
    """Add lines up by rate, the lowest first.

    Tax is worked out and rounded line by line, and the document's tax is the sum of its lines: so
    sales, invoices and the month agree to the cent, and at each rate net and tax are the gross.
    """
    sums: dict[int, list[int]] = defaultdict(lambda: [0, 0, 0])
    for line in lines:
        for at, money in enumerate((line.net, line.tax, line.gross)):
            sums[line.tax_ppm][at] += money
    return [RateTotal(rate, *sums[rate]) for rate in sorted(sums)]


def to_invoice(customer: Customer, until: date) -> list[SaleLine]:
    """Lines of a customer's sales up to a day that are on no invoice yet, corrections included."""
    sales = Sale.objects.filter(customer=customer, entry__happened_on__lte=until)
    return uninvoiced(sales.exclude(lines__invoiced__isnull=False))


def changed_since(invoice: Invoice) -> list[SaleLine]:
    """What came to the sales of an invoice since: returns, corrections, undone sales."""
    root = invoice.credits or invoice
    family = Invoice.objects.filter(pk=root.pk) | Invoice.objects.filter(credits=root)
    return uninvoiced(Sale.objects.filter(lines__invoiced__invoice__in=family))


def uninvoiced(sales: QuerySet[Sale]) -> list[SaleLine]:
    """Lines of sales that are on no invoice; a sale whose lines add up to nothing is left out.

    Boxes of a share are left out too: they were paid ahead.
    """
    rows = _readable(SaleLine.objects.filter(sale__in=sales.filter(note__box=None), invoiced=None))
    by_sale: dict[int, list[SaleLine]] = defaultdict(list)
    for row in rows:
        by_sale[row.sale_id].append(row)
    return [row for part in by_sale.values() if paper_lines(part) for row in part]


def paper_lines(rows: Sequence[SaleLine]) -> list[PaperLine]:
    """Add rows up by sale, goods and terms; what adds up to nothing is left out."""
    asked_of: dict[int, Mapping[str, LineTerms]] = {}
    groups: dict[object, list[SaleLine]] = defaultdict(list)
    for row in rows:
        if row.sale_id not in asked_of:
            asked_of[row.sale_id] = SaleTerms.read(row.sale.entry.particulars).terms
        lot = row.line.lot
        terms = asked_of[row.sale_id].get(lot.code)
        groups[row.sale_id, lot.item_id, row.product_id, row.tax_ppm, terms or lot.code].append(row)
    lines = [_line(part) for part in groups.values()]
    return [line for line in lines if line.quantity or line.gross]


def papers_of(entry: Entry) -> Papers | None:
    """The papers of the sale that an entry recorded; None where it recorded none."""
    sale = Sale.objects.filter(entry=entry).first()
    if sale is None:
        return None
    on = Invoice.objects.filter(lines__sale_line__sale=sale).distinct().order_by("pk")
    note = DeliveryNote.objects.filter(sale=sale).first()
    stands = not entry.is_taken_back
    is_box = note is not None and hasattr(note, "box")
    return Papers(
        note=note,
        invoices=tuple(on),
        may_note=stands and note is None and sale.customer_id is not None,
        may_invoice=stands and not on and sale.stall_day_id is None and not is_box,
    )


def customers_to_invoice(until: date) -> dict[Customer, list[PaperLine]]:
    """The lines that each customer's next invoice would have."""
    waiting = Customer.objects.filter(
        sales__entry__happened_on__lte=until, sales__lines__invoiced=None
    ).distinct()
    found = {}
    for customer in waiting:
        rows = to_invoice(customer, until)
        if rows:
            found[customer] = paper_lines(rows)
    return found


def changed_invoices() -> list[Invoice]:
    """Invoices whose sales changed since and wait for a credit note."""
    roots = Invoice.objects.filter(
        credits=None, lines__sale_line__sale__lines__invoiced=None
    ).distinct()
    return [invoice for invoice in roots.order_by("pk") if changed_since(invoice)]


# --- parts -----------------------------------------------------------------------------------


def _readable(rows: QuerySet[SaleLine]) -> list[SaleLine]:
    return list(
        rows.select_related(
            "sale__entry", "product", "line__entry", "line__lot__item", "line__lot__card__species"
        ).order_by("sale__entry__happened_on", "sale_id", "pk")
    )


def _line(rows: Sequence[SaleLine]) -> PaperLine:
    first = rows[0]
    by_lot: dict[Lot, int] = defaultdict(int)
    for row in rows:
        by_lot[row.line.lot] -= row.line.quantity
    parts = [LotPart(lot, quantity) for lot, quantity in by_lot.items()]
    quantity = sum(part.quantity for part in parts)
    net, tax, gross = (sum(getattr(row, name) for row in rows) for name in ("net", "tax", "gross"))
    unit_net, discount_ppm = _unit_net(first, quantity, net)
    return PaperLine(
        day=first.sale.entry.happened_on,
        what=str(first.product or first.line.lot.item),
        parts=tuple([part for part in parts if part.quantity] or parts[:1]),
        quantity=quantity,
        unit_net=unit_net,
        discount_ppm=discount_ppm,
        tax_ppm=first.tax_ppm,
        net=net,
        tax=tax,
        gross=gross,
    )


def _unit_net(row: SaleLine, quantity: int, net: int) -> tuple[int | None, int]:
    """The price asked, without tax, and the discount; worked back where another sum was agreed.

    4.50 with 10 % in it are 4.0909. 30 packs agreed at 120.00 net are 4.0000 each. Rounded half
    up.
    """
    if not quantity:
        return None, 0
    per = 1 if row.line.lot.card.stage == Stage.PACKS else MG_PER_KG
    asked_of = SaleTerms.read(row.sale.entry.particulars).terms
    terms = asked_of.get(row.line.lot.code)
    if terms and not terms.whole_of:
        asked, discount_ppm = _per_kg_or_pack(terms), terms.discount_ppm
        paid = _half_up(asked * (MILLION - discount_ppm), MILLION)
        # Half of a last digit a unit, and a cent for the line's own rounding, twice if discounted,
        # and twice if it is one of the lots that share a line (`pricing.shared_out`).
        twice = (discount_ppm > 0) + (list(asked_of.values()).count(terms) > 1)
        off = abs(quantity) + CENT * per * 2**twice
        if abs(paid * quantity - net * per) <= off:
            return asked, discount_ppm
    return _half_up(net * per, quantity), 0


def _per_kg_or_pack(terms: LineTerms) -> int:
    """The price asked without tax: of a pack, or of a kg where it was asked for a pound."""
    whole = MILLION + terms.tax_ppm if terms.tax_included else MILLION
    if terms.unit == "lb":
        per_kg = Fraction(terms.unit_money * MILLION * MG_PER_KG) / (whole * MG_PER_LB)
        return _half_up(per_kg.numerator, per_kg.denominator)
    return _half_up(terms.unit_money * MILLION, whole)


def _half_up(numerator: int, denominator: int) -> int:
    sign = 1 if numerator * denominator >= 0 else -1
    return sign * ((2 * abs(numerator) + abs(denominator)) // (2 * abs(denominator)))
