"""Issue invoices and credit notes. Nothing is edited: what changes later gets a credit note."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from hashlib import sha256

from django.db import transaction
from django.utils import timezone

from farm import habits
from farm.actions.accounts.giving_up import credited_again, write_again
from farm.actions.accounts.numbering import CREDITS, INVOICES, next_number
from farm.actions.accounts.settling import Paid
from farm.actions.common import Doing
from farm.models import (
    BoxDelivery,
    Customer,
    Farm,
    Invoice,
    InvoiceKind,
    InvoiceLine,
    Sale,
    SaleLine,
    the_farm,
)
from farm.queries.accounts.invoices import changed_since, to_invoice, uninvoiced
from farm.refusals import MendedInDetails
from farm.units import show_money
from ledger import book
from ledger.errors import Conflict, Malformed


@transaction.atomic
def issue_invoice(doing: Doing, customer: Customer, *, until: date) -> Invoice:
    """Invoice all of a customer's sales up to a day that are on no invoice yet.

    The words of the doing's reason stand on it as a note. Sent twice, it is one invoice.
    """
    book.lock_head()
    said = _said("all until", doing, customer.pk, until)
    known = _known(doing, said)
    if known:
        return known
    rows = to_invoice(customer, until)
    if not rows:
        raise Malformed(
            f"{customer}: nothing sold up to {habits.day(until)} waits for an invoice. Choose a "
            "later day, or look among the invoices."
        )
    return _issue(doing, _Paper(InvoiceKind.FULL, customer, said), rows)


@transaction.atomic
def issue_for_sale(doing: Doing, sale: Sale, *, simple: bool = False) -> Invoice:
    """Invoice one sale; ``simple``: with the few fields that suffice up to the farm's limit.

    Simplified invoices may name no customer (Directive 2006/112/EC, Art. 226b).
    """
    book.lock_head()
    said = _said("sale", doing, sale.pk, simple)
    known = _known(doing, said)
    if known:
        return known
    _check_not_box(sale)
    if SaleLine.objects.filter(sale=sale, invoiced__isnull=False).exists():
        raise Malformed(f"Entry {sale.entry_id} is on an invoice already. Look there.")
    rows = uninvoiced(Sale.objects.filter(pk=sale.pk))
    if not rows:
        raise Malformed(f"Entry {sale.entry_id} comes to nothing: nothing is to be invoiced.")
    if simple:
        _check_small(rows)
    elif sale.customer is None:
        raise Malformed(
            f"Entry {sale.entry_id} names no customer, and an invoice must. Issue a simplified one."
        )
    kind = InvoiceKind.SIMPLE if simple else InvoiceKind.FULL
    return _issue(doing, _Paper(kind, sale.customer, said), rows)


@transaction.atomic
def issue_change(doing: Doing, invoice: Invoice) -> Invoice:
    """Issue the credit note for what changed since an invoice: returns, corrections, undone sales.

    Where more is to be paid than was invoiced, it is a further invoice that names the first. What
    was given up of what is credited is given up no more.
    """
    book.lock_head()
    root = invoice.credits or invoice
    said = _said("change", doing, root.pk)
    known = _known(doing, said)
    if known:
        return known
    rows = changed_since(root)
    if not rows:
        raise Malformed(
            f"Nothing changed since invoice {root}. Take goods back, or correct the sale, first."
        )
    gross = sum(row.gross for row in rows)
    kind = InvoiceKind(root.kind) if gross > 0 else InvoiceKind.CREDIT
    again = credited_again(root, -gross)
    issued = _issue(doing, _Paper(kind, root.customer, said, root), rows)
    if root.customer:
        again_of = Paid(customer=root.customer, amount_money=again, paid_on=doing.day, invoice=root)
        write_again(doing, again, again_of)
    return issued


# --- parts -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Paper:
    """What is issued, to whom; ``said``: a digest of what was asked for; to which invoice."""

    kind: InvoiceKind
    customer: Customer | None
    said: str
    credits: Invoice | None = None


def _said(what: str, doing: Doing, *asked: object) -> str:
    """Digest what was asked for, so that a form sent twice is known by all that it says."""
    words = json.dumps([what, doing.reason, *map(str, asked)])
    return sha256(words.encode()).hexdigest()[:16]


def _known(doing: Doing, said: str) -> Invoice | None:
    known = Invoice.objects.filter(uuid=doing.uuid).first()
    if known and known.form != said:
        raise Conflict(
            f"This form was sent before with other content, as {known}. Fill in a new form."
        )
    return known


def _issue(doing: Doing, paper: _Paper, rows: Sequence[SaleLine]) -> Invoice:
    kind, customer, credits = paper.kind, paper.customer, paper.credits
    farm, day = the_farm(), doing.day
    has_tax = any(row.tax for row in rows)
    has_untaxed = any(not row.tax_ppm for row in rows)
    _check_fields(farm, has_tax=has_tax, has_untaxed=has_untaxed)
    if kind != InvoiceKind.SIMPLE and credits is None:
        _check_customer(customer)
    series, number = next_number(Invoice, CREDITS if kind == InvoiceKind.CREDIT else INVOICES, day)
    _check_order(series, day)
    days = [row.sale.entry.happened_on for row in rows]
    invoice = Invoice.objects.create(
        series=series,
        number=number,
        kind=kind,
        credits=credits,
        customer=customer,
        issued_on=day,
        due_on=day + timedelta(days=farm.payment_days),
        supplied_from=min(days),
        supplied_until=max(days),
        seller_name=farm.name,
        seller_address=farm.place,
        seller_tax_number=farm.tax_number,
        customer_name=customer.name if customer else "",
        customer_address=customer.address if customer else "",
        customer_tax_number=customer.tax_number if customer else "",
        currency=farm.currency,
        exemption_words=farm.exemption_words if has_untaxed else "",
        pay_to=farm.pay_to,
        note=doing.reason[:200],
        issued_at=timezone.now(),
        by=doing.by,
        uuid=doing.uuid,
        form=paper.said,
    )
    InvoiceLine.objects.bulk_create(InvoiceLine(invoice=invoice, sale_line=row) for row in rows)
    return invoice


def _check_not_box(sale: Sale) -> None:
    box = BoxDelivery.objects.filter(note__sale=sale).select_related("share").first()
    if box:
        raise Malformed(
            f"Entry {sale.entry_id} is a box of {box.share}, which was paid ahead. Its receipts "
            "stand at the share."
        )


def _check_fields(farm: Farm, *, has_tax: bool, has_untaxed: bool) -> None:
    """Refuse what Art. 226 points 3 and 11 would miss; a farm outside that tax gives no number."""
    if has_tax and not farm.tax_number:
        raise MendedInDetails(
            "These sales hold tax, and an invoice with tax must show the farm's tax number. Add "
            "it under Farm details, the farm.",
            of=farm,
        )
    if farm.tax_number and has_untaxed and not farm.exemption_words:
        raise MendedInDetails(
            "Some of these goods carry no tax, and the invoice must say by what rule. Add the "
            "words under Farm details, the farm.",
            of=farm,
        )


def _check_customer(customer: Customer | None) -> None:
    if customer and not customer.address.strip():
        raise MendedInDetails(
            f"{customer} has no address, and an invoice must show it. Add it under Farm details, "
            "customers.",
            of=customer,
        )


def _check_small(rows: Sequence[SaleLine]) -> None:
    farm, gross = the_farm(), sum(row.gross for row in rows)
    if gross > farm.simple_limit_money:
        most, asked = (
            show_money(money, farm.currency) for money in (farm.simple_limit_money, gross)
        )
        raise Malformed(
            f"Simplified invoices go up to {most}, and this sale comes to {asked}. Sell to a "
            "named customer and issue a full invoice."
        )


def _check_order(series: str, day: date) -> None:
    """Refuse a date before the last one of the series: numbers and days go up together."""
    last = Invoice.objects.filter(series=series).order_by("-number").first()
    if last and last.issued_on > day:
        raise Malformed(
            f"{last} was issued on {habits.day(last.issued_on)}, so the next cannot bear "
            f"{habits.day(day)}. Date it {habits.day(last.issued_on)} or later."
        )
