"""Invoices: numbers without gaps, tax by rate, credit notes for what changes later.

Rounding: tax is worked out line by line, each line to the nearer cent, and a document's tax is the
sum of its lines. Tax offices allow it (United Kingdom, HMRC manual VATREC12010 on Notice 700,
paragraph 17.5: "rounding to the nearer 1p", as read). Sums by own arithmetic.
"""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import timedelta

import pytest
from django.db import DatabaseError, connection, transaction

from farm.actions.accounts.invoicing import issue_change, issue_for_sale, issue_invoice
from farm.actions.common import Doing
from farm.actions.recording.correcting import correct_quantity, undo
from farm.actions.selling.selling import SoldLine, sell, take_back
from farm.models import Customer, Invoice, InvoiceKind, InvoiceLine, Product, SaleLine
from farm.queries.accounts.invoices import (
    changed_invoices,
    customers_to_invoice,
    invoices,
    lines_of,
    rate_totals,
    to_invoice,
)
from ledger.errors import Conflict, Malformed, Refused
from ledger.models import Role
from tests.farm.goods import crop, packs
from tests.farm.sold import invoiced, selling_farm, sold
from tests.farm.world import GRAM, KG, UNIT

CENT = 100
pytestmark = pytest.mark.django_db


def totals(invoice: Invoice) -> list[tuple[int, int, int, int]]:
    return [(one.tax_ppm, one.net, one.tax, one.gross) for one in rate_totals(lines_of(invoice))]


# --- issued ----------------------------------------------------------------------------------


def test_an_invoice_holds_all_that_was_sold_and_not_invoiced() -> None:
    # The price of 5.00 holds 4 %: 10 packs are 50.00 gross, 48.08 net, 1.92 tax; 3 packs 15.00,
    # 14.42, 0.58.
    world = selling_farm()
    lot = packs(world)
    sold(world, lot, 10)
    sold(world, lot, 3)

    invoice = invoiced(world)

    assert totals(invoice) == [(40_000, 625_000, 25_000, 650_000)]
    assert to_invoice(world.customer, world.now.date()) == []
    assert str(invoice) == "I2026-0001"


def test_net_and_tax_are_the_gross_at_every_rate() -> None:
    # Loose at 16.99 a kg without tax: 0.755 kg are 12.83. Punnets at 4 %, pouches at 9 %.
    world = selling_farm()
    loose, punnets = crop(world, KG), packs(world)
    other = Product.objects.create(
        name="Pouch",
        species=world.species,
        form="dried",
        net_mg=30 * GRAM,
        pack="airtight",
        tax_ppm=90_000,
    )
    pouches = packs(world)
    lines = [
        SoldLine(loose, 755 * GRAM, 169_900),
        SoldLine(punnets, 3, 4_4900),
        SoldLine(pouches, 7, 3_3300, other),
    ]
    sell(world.doing(), place=world.kitchens, customer=world.customer, lines=lines)

    rates = rate_totals(lines_of(invoiced(world)))

    assert [rate.tax_ppm for rate in rates] == [0, 40_000, 90_000]
    assert all(rate.net + rate.tax == rate.gross for rate in rates)
    assert (rates[0].net, rates[0].tax) == (1_283 * CENT, 0)
    assert sum(rate.gross for rate in rates) == invoices().get().gross  # type: ignore[attr-defined]


def test_the_tax_of_a_document_is_that_of_its_lines() -> None:
    # Three lines of 0.13 with 4 % in them: 0.125, so 0.13 net each, and no tax; 0.39 at once would
    # be 0.375, so 0.38 net and 0.01 tax. The sum of the lines is what the sales said.
    world = selling_farm()
    for _ in range(3):
        sold(world, packs(world, 1), 1, unit_money=13 * CENT)

    assert totals(invoiced(world)) == [(40_000, 39 * CENT, 0, 39 * CENT)]


def test_numbers_have_no_gap_where_an_invoice_is_refused() -> None:
    world = selling_farm()
    lot = packs(world)
    sold(world, lot, 1)
    invoiced(world)
    with pytest.raises(Malformed, match="nothing sold"):
        invoiced(world)
    sold(world, lot, 1)

    assert invoiced(world).number == 2


def test_a_new_year_begins_a_new_series() -> None:
    world = selling_farm()
    lot = packs(world)
    sold(world, lot, 1)
    invoiced(world)
    world.wait(120)
    sold(world, lot, 1)

    assert str(invoiced(world)) == "I2027-0001"


def test_an_invoice_sent_twice_is_one() -> None:
    world = selling_farm()
    sold(world, packs(world), 1)
    doing = world.doing()

    first = issue_invoice(doing, world.customer, until=doing.day)

    assert issue_invoice(doing, world.customer, until=doing.day) == first
    other = Customer.objects.create(name="Other", place=world.kitchens, address="There")
    with pytest.raises(Conflict):
        issue_invoice(doing, other, until=doing.day)


@pytest.mark.parametrize("other", ["another day", "other words", "one sale", "a simplified one"])
def test_a_form_sent_before_with_other_content_is_a_conflict(other: str) -> None:
    world = selling_farm()
    sale = sold(world, packs(world), 1).entry.sale
    doing = world.doing()
    issue_invoice(doing, world.customer, until=doing.day)

    with pytest.raises(Conflict, match="sent before with other content, as I2026-0001"):
        if other == "another day":
            issue_invoice(doing, world.customer, until=doing.day + timedelta(days=1))
        elif other == "other words":
            words = replace(doing, reason="thank you")
            issue_invoice(words, world.customer, until=doing.day)
        else:
            issue_for_sale(doing, sale, simple=other == "a simplified one")


def test_an_invoice_is_not_dated_before_the_last() -> None:
    world = selling_farm()
    lot = packs(world)
    sold(world, lot, 1)
    early = world.doing()
    world.wait(3)
    invoiced(world)
    sold(world, lot, 1)

    with pytest.raises(Malformed, match="cannot bear"):
        issue_invoice(early, world.customer, until=world.now.date())


def test_a_sale_that_was_undone_is_not_invoiced() -> None:
    world = selling_farm()
    recorded = sold(world, packs(world), 1)
    undo(world.doing(), recorded.entry)

    assert customers_to_invoice(world.now.date()) == {}


def test_a_sale_corrected_before_its_invoice_is_one_line() -> None:
    world = selling_farm()
    lot = packs(world)
    entry = sold(world, lot, 10).entry
    correct_quantity(world.doing(), entry, lot=lot, role=Role.SOLD, right_quantity=8)

    (line,) = lines_of(invoiced(world))

    assert (line.quantity, line.gross) == (8, 40 * UNIT)


def test_an_invoice_is_never_changed() -> None:
    world = selling_farm()
    sold(world, packs(world), 1)
    invoice = invoiced(world)

    with pytest.raises(DatabaseError, match="never"), transaction.atomic():
        Invoice.objects.filter(pk=invoice.pk).update(number=9)


# --- what it must say ------------------------------------------------------------------------


def test_an_invoice_with_tax_needs_the_farms_number() -> None:
    world = selling_farm()
    world.farm.tax_number = ""
    world.farm.save()
    sold(world, packs(world), 1)

    with pytest.raises(Malformed, match="tax number"):
        invoiced(world)
    assert Invoice.objects.count() == 0


def test_goods_without_tax_need_the_words_for_it() -> None:
    world = selling_farm()
    world.farm.exemption_words = ""
    world.farm.save()
    lines = [SoldLine(crop(world), KG, 16 * UNIT)]
    sell(world.doing(), place=world.kitchens, customer=world.customer, lines=lines)

    with pytest.raises(Malformed, match="by what rule"):
        invoiced(world)


def test_an_invoice_needs_the_customers_address() -> None:
    world = selling_farm()
    Customer.objects.update(address="")
    world.customer.refresh_from_db()
    sold(world, packs(world), 1)

    with pytest.raises(Malformed, match="has no address"):
        invoiced(world)


def test_a_changed_address_changes_no_invoice() -> None:
    world = selling_farm()
    sold(world, packs(world), 1)
    invoice = invoiced(world)
    Customer.objects.update(address="Elsewhere")

    invoice.refresh_from_db()
    assert invoice.customer_address == "Quay 1, Lowfield (invented)"


def test_the_unit_price_is_the_one_asked_without_its_tax() -> None:
    # 5.00 / 1.04 = 4.8077.
    world = selling_farm()
    sold(world, packs(world), 3)

    (line,) = lines_of(invoiced(world))

    assert line.unit_net == 48_077


# --- simplified ------------------------------------------------------------------------------


def test_a_simplified_invoice_may_name_no_customer() -> None:
    world = selling_farm()
    lines = [SoldLine(packs(world), 2, 5 * UNIT)]
    sale = sell(world.doing(), place=world.stall, lines=lines).entry.sale

    invoice = issue_for_sale(world.doing(), sale, simple=True)

    assert (invoice.kind, invoice.customer) == (InvoiceKind.SIMPLE, None)
    with pytest.raises(Malformed, match="on an invoice already"):
        issue_for_sale(world.doing(), sale, simple=True)


def test_a_simplified_invoice_has_a_limit() -> None:
    # 100.00, Directive 2006/112/EC Art. 220a (from memory); 21 packs at 5.00 are 105.00.
    world = selling_farm()
    lines = [SoldLine(packs(world), 21, 5 * UNIT)]
    sale = sell(world.doing(), place=world.stall, lines=lines).entry.sale

    with pytest.raises(Malformed, match=r"go up to €100\.00"):
        issue_for_sale(world.doing(), sale, simple=True)


# --- credit notes ----------------------------------------------------------------------------


def test_what_comes_back_is_credited() -> None:
    # 2 of 10 packs: 10.00 gross of 50.00; 48.08 x 2 / 10 = 9.62 net.
    world = selling_farm()
    row = SaleLine.objects.get(sale__entry=sold(world, packs(world), 10).entry)
    invoice = invoiced(world)
    take_back(world.doing(), sale_line=row, quantity=2)
    assert changed_invoices() == [invoice]

    credit = issue_change(world.doing(), invoice)

    assert (credit.kind, credit.credits, str(credit)) == (InvoiceKind.CREDIT, invoice, "C2026-0001")
    assert totals(credit) == [(40_000, -96_200, -3_800, -100_000)]
    assert changed_invoices() == []
    with pytest.raises(Malformed, match="Nothing changed"):
        issue_change(world.doing(), invoice)


def test_an_undone_sale_is_credited_whole() -> None:
    world = selling_farm()
    entry = sold(world, packs(world), 10).entry
    invoice = invoiced(world)
    undo(world.doing(), entry)

    credit = issue_change(world.doing(), invoice)

    assert [a + b for a, b in zip(totals(invoice)[0][1:], totals(credit)[0][1:], strict=True)] == [
        0,
        0,
        0,
    ]


def test_a_sale_corrected_upwards_gets_a_further_invoice() -> None:
    world = selling_farm()
    lot = packs(world)
    entry = sold(world, lot, 10).entry
    invoice = invoiced(world)
    correct_quantity(world.doing(), entry, lot=lot, role=Role.SOLD, right_quantity=12)

    more = issue_change(world.doing(), invoice)

    assert (more.kind, more.credits, str(more)) == (InvoiceKind.FULL, invoice, "I2026-0002")
    assert totals(more)[0][3] == 10 * UNIT


def test_every_line_of_a_sale_is_on_one_paper() -> None:
    world = selling_farm()
    row = SaleLine.objects.get(sale__entry=sold(world, packs(world), 10).entry)
    invoice = invoiced(world)
    for _ in range(2):
        take_back(world.doing(), sale_line=row, quantity=1)
        issue_change(world.doing(), invoice)

    assert InvoiceLine.objects.count() == SaleLine.objects.count() == 3


# --- two at once -----------------------------------------------------------------------------


def issue(given: tuple[Doing, Customer]) -> str:
    doing, customer = given
    try:
        return str(issue_invoice(doing, customer, until=doing.day + timedelta(days=1)))
    except Refused as refusal:
        return f"refused: {refusal}"
    finally:
        connection.close()


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(
    connection.vendor == "sqlite", reason="a test's SQLite stands in memory and has one writer"
)
def test_invoices_issued_at_once_have_numbers_without_gaps() -> None:
    world = selling_farm()
    lot = packs(world)
    customers = [
        Customer.objects.create(name=f"Kitchen {n}", place=world.kitchens, address="Quay 2")
        for n in range(6)
    ]
    for customer in customers:
        lines = [SoldLine(lot, 1, 5 * UNIT)]
        sell(world.doing(), place=world.kitchens, customer=customer, lines=lines)
    day = world.doing()
    asked = [
        (Doing(by=day.by, happened_at=day.happened_at, uuid=world.doing().uuid), customer)
        for customer in [*customers, *customers]
    ]
    with ThreadPoolExecutor(6) as pool:
        outcomes = list(pool.map(issue, asked))

    assert sum(outcome.startswith("refused") for outcome in outcomes) == 6
    numbers = Invoice.objects.order_by("number").values_list("number", flat=True)
    assert list(numbers) == [1, 2, 3, 4, 5, 6]
