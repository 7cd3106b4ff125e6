"""An invoice's totals against a published worked example.

Peppol BIS Billing 3.0 (OpenPeppol), the example of an invoice with allowances: three lines come to
4,000.00 and 900.00 net at 25 %, and to 1,000.00 exempt; the tax is 1,225.00 on 4,900.00, all of it
5,900.00 without tax and 7,125.00 with it. (What it charges and lets off the whole document, 200.00
each, is left out: both cancel.)
"""

import pytest

from farm.actions.accounts.invoicing import issue_invoice
from farm.actions.selling.selling import SoldLine, sell
from farm.models import Invoice, Price, Product
from farm.queries.accounts.invoices import invoices, lines_of, rate_totals
from farm.reports.accounts.invoice_rows import invoice_paper
from ledger.models import Lot
from tests.farm.goods import packs
from tests.farm.sold import selling_farm
from tests.farm.world import UNIT, World

pytestmark = pytest.mark.django_db


def at_rate(world: World, tax_ppm: int) -> Lot:
    """Packs of a product taxed at a rate, its price without tax."""
    first = world.product
    world.product = Product.objects.create(
        name=f"goods {Product.objects.count()}",
        species=world.species,
        form="fresh",
        pack="open",
        net_mg=first.net_mg,
        tax_ppm=tax_ppm,
        packaging=first.packaging,
    )
    Price.objects.create(
        product=world.product,
        place=world.kitchens,
        from_day="2026-01-01",
        pack_money=UNIT,
        tax_included=False,
    )
    return packs(world, 30)


def the_example(world: World) -> Invoice:
    """10 at 410.00 less 100.00 (24,390 ppm of 4,100.00 are 99.999), 10 at 100.00, 10 less 10 %."""
    taxed, exempt, off = at_rate(world, 250_000), at_rate(world, 0), at_rate(world, 250_000)
    lines = [
        SoldLine(taxed, 10, 410 * UNIT, discount_ppm=24_390),
        SoldLine(exempt, 10, 100 * UNIT),
        SoldLine(off, 10, 100 * UNIT, discount_ppm=100_000),
    ]
    asked = world.doing(minutes=0, sure=True)
    sell(asked, place=world.kitchens, customer=world.customer, lines=lines)
    doing = world.doing()
    return issue_invoice(doing, world.customer, until=doing.day)


def test_lines_and_totals_are_those_of_the_published_example() -> None:
    invoice = the_example(selling_farm())
    lines = lines_of(invoice)
    rates = [(one.tax_ppm, one.net, one.tax, one.gross) for one in rate_totals(lines)]
    whole = invoices().get(pk=invoice.pk)

    assert [line.net for line in lines] == [4_000 * UNIT, 1_000 * UNIT, 900 * UNIT]
    assert rates == [
        (0, 1_000 * UNIT, 0, 1_000 * UNIT),
        (250_000, 4_900 * UNIT, 1_225 * UNIT, 6_125 * UNIT),
    ]
    assert (whole.net, whole.tax, whole.gross) == (  # type: ignore[attr-defined]
        5_900 * UNIT,
        1_225 * UNIT,
        7_125 * UNIT,
    )


def test_the_paper_states_the_price_before_the_discount_and_the_discount() -> None:
    world = selling_farm()
    (goods, _) = invoice_paper(the_example(world), world.farm).report.tables

    heads = [column.name for column in goods.columns]
    price, off = heads.index("Price without tax"), heads.index("Discount")
    assert [row[price] for row in goods.rows] == [410 * UNIT, 100 * UNIT, 100 * UNIT]
    assert [row[off] for row in goods.rows] == [24_390, None, 100_000]
