"""One line of a sale over several lots: what the lots come to adds up to the price of the line.

2.5 kg at 17.00, of lots of 1.245 and 1.255 kg, are 42.50. Lot by lot they would be 21.165 and
21.335, both rounded up: 42.51.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as some

from farm.actions.common import Draw
from farm.actions.orders.orders import Wanted, deliver, write_note
from farm.actions.orders.shares import Season, take_share
from farm.actions.recording.correcting import correct_quantity, undo
from farm.actions.selling.pricing import Terms, shared_out
from farm.actions.selling.selling import SoldLine, sell, take_back
from farm.actions.selling.sharing_out import ItemDay, share_out
from farm.actions.selling.stalls import Besides, load_stall, settle_stall
from farm.models import LoadLine, SaleLine, StallDay
from farm.queries.accounts.invoices import lines_of, sold_lines
from farm.queries.months.months import month_figures, month_with
from farm.reports.accounts.invoice_rows import invoice_paper, note_paper
from farm.reports.months.month_rows import month_report
from ledger.book import Recorded
from ledger.models import Lot, Role
from tests.farm.goods import crop, money, packs
from tests.farm.season import MADE
from tests.farm.sold import invoiced, selling_farm
from tests.farm.world import GRAM, KG, UNIT, World, assert_book_is_sound

FIRST, SECOND = 1_245 * GRAM, 1_255 * GRAM
PRICE = 17 * UNIT


@pytest.fixture
def world(db: None) -> World:
    return selling_farm()


@pytest.fixture
def lots(world: World) -> tuple[Lot, Lot]:
    return crop(world), crop(world)


def sold(world: World, lots: tuple[Lot, Lot], second_price: int = PRICE) -> Recorded:
    lines = [SoldLine(lots[0], FIRST, PRICE), SoldLine(lots[1], SECOND, second_price)]
    doing = world.doing(sure=True)
    return sell(doing, place=world.kitchens, customer=world.customer, lines=lines)


def gross(entry_seq: int) -> int:
    """What a sale comes to, corrected and less what came back."""
    rows = SaleLine.objects.filter(sale__entry=entry_seq)
    return sum(rows.values_list("gross", flat=True))


def test_two_lots_at_one_price_come_to_the_price_of_their_weight(
    world: World, lots: tuple[Lot, Lot]
) -> None:
    recorded = sold(world, lots)

    assert [row[2] for row in money(recorded.entry)] == [211_700, 213_300]
    assert gross(recorded.entry.seq) == 425_000


def test_two_lots_at_two_prices_are_two_lines(world: World, lots: tuple[Lot, Lot]) -> None:
    recorded = sold(world, lots, second_price=PRICE + 10 * UNIT)

    # 1.255 kg at 27.00 are 33.885.
    assert [row[2] for row in money(recorded.entry)] == [211_700, 338_900]


def test_the_invoice_is_the_sale_and_names_the_price_asked(
    world: World, lots: tuple[Lot, Lot]
) -> None:
    sold(world, lots)
    lines = lines_of(invoiced(world))

    assert [(line.quantity, line.unit_net, line.gross) for line in lines] == [
        (FIRST + SECOND, PRICE, 425_000)
    ]
    assert [(part.lot, part.quantity) for part in lines[0].parts] == [
        (lots[0], FIRST),
        (lots[1], SECOND),
    ]


def test_one_line_is_one_amount_on_note_invoice_and_month(
    world: World, lots: tuple[Lot, Lot]
) -> None:
    sale = sold(world, lots).entry.sale
    invoice = invoice_paper(invoiced(world), world.farm)
    note = note_paper(write_note(sale), sold_lines(sale), farm=world.farm, due=None)
    goods = f"Fresh {world.species}, firsts"
    first, second = (lot.code for lot in lots)

    rows = [(row[1], row[2], row[4], row[7]) for row in invoice.report.tables[0].rows]
    assert rows == [
        (goods, "", "2.50 kg", 425_000),
        (f"of it, {goods}", first, "1.245 kg", None),
        (f"of it, {goods}", second, "1.255 kg", None),
    ]
    assert [(row[1], row[3]) for row in note.report.tables[0].rows] == [
        ("", "2.50 kg"),
        (first, "1.245 kg"),
        (second, "1.255 kg"),
    ]
    report = month_report(month_figures(month_with(world.now.date())), MADE)
    (rates,) = [table for table in report.tables if table.title == "Sales tax by rate"]
    assert rates.rows == ((0, 425_000, 0, 425_000),)


def test_what_a_stall_took_off_a_product_is_taken_off_its_whole_line(world: World) -> None:
    """Two packs at 5.00 of two lots, 0.30 off: 9.70, of it 9.3269 net, so 9.33.

    Lot by lot it would be 4.85 and 4.6635, so 4.66, twice: 9.32.
    """
    pair = packs(world, 1), packs(world, 1)
    doing = world.doing(minutes=0, sure=True)
    draws = [Draw(lot, 1) for lot in pair]
    load_stall(doing, place=world.stall, day=doing.day, lines=draws)
    counted = share_out(list(LoadLine.objects.all()), {pair[0].item_id: ItemDay(off_money=3_000)})
    entry = settle_stall(
        world.doing(minutes=0),
        stall_day=StallDay.objects.get(),
        brought_back=counted.back,
        prices={},
        besides=Besides.of(counted),
    ).entry

    assert sum(row[0] for row in money(entry)) == 93_300
    assert [row[2] for row in money(entry)] == [48_500, 48_500]
    correct_quantity(world.doing(), entry, lot=pair[1], role=Role.SOLD, right_quantity=0)
    assert gross(entry.seq) == 48_500


def test_a_box_prices_packs_of_two_lots_as_one_line(world: World) -> None:
    """A box at 9.70 of two packs, tax in it: 9.33 net, as above."""
    season = Season(world.now.date(), 1, 1, 97_000)
    share = take_share(
        world.doing(sure=True),
        customer=world.customer,
        season=season,
        lines=[Wanted(world.product, 2)],
    )
    lines = [SoldLine(packs(world, 1), 1, 5 * UNIT), SoldLine(packs(world, 1), 1, 5 * UNIT)]
    entry = deliver(
        world.doing(minutes=0), order=share.order, due_on=share.order.due_on, lines=lines
    ).entry

    assert sum(row[0] for row in money(entry)) == 93_300
    assert gross(entry.seq) == 97_000


@given(
    some.lists(some.integers(1, 9_999_999), min_size=1, max_size=6),
    some.integers(0, 999_999),
    some.integers(0, 250_000),
    some.booleans(),
    some.integers(0, 500_000),
)
def test_parts_add_up_and_none_is_below_nothing(
    quantities: list[int], price: int, tax_ppm: int, included: bool, off_ppm: int
) -> None:
    terms = Terms(price, "kg", tax_ppm, included, off_ppm)
    parts, whole = shared_out(terms, quantities), terms.of(sum(quantities))

    assert sum(part.net for part in parts) == whole.net
    assert sum(part.gross for part in parts) == whole.gross
    assert all(part.net + part.tax == part.gross for part in parts)
    assert all(min(part.net, part.tax, part.gross) >= 0 for part in parts)


# --- corrected -------------------------------------------------------------------------------


@pytest.mark.parametrize("at", [0, 1])
def test_a_corrected_weight_keeps_the_line_whole(
    world: World, lots: tuple[Lot, Lot], at: int
) -> None:
    sale = sold(world, lots).entry
    weight = (FIRST, SECOND)[at] + 10 * GRAM
    correct_quantity(world.doing(), sale, lot=lots[at], role=Role.SOLD, right_quantity=weight)

    assert gross(sale.seq) == 426_700  # 2.51 kg at 17.00
    assert_book_is_sound()


def test_where_another_sum_was_stated_the_lots_stand_alone(
    world: World, lots: tuple[Lot, Lot]
) -> None:
    sale, (first, second) = sold(world, lots).entry, lots
    correct_quantity(
        world.doing(), sale, lot=first, role=Role.SOLD, right_quantity=FIRST, right_money=20 * UNIT
    )
    correct_quantity(world.doing(), sale, lot=second, role=Role.SOLD, right_quantity=KG)

    assert gross(sale.seq) == 20 * UNIT + 17 * UNIT


def test_all_that_comes_back_gives_all_the_money_back(world: World, lots: tuple[Lot, Lot]) -> None:
    sale = sold(world, lots).entry
    for row in SaleLine.objects.filter(sale__entry=sale, line__role=Role.SOLD):
        take_back(world.doing(), sale_line=row, quantity=-row.line.quantity)

    assert gross(sale.seq) == 0


def test_an_undone_sale_comes_to_nothing(world: World, lots: tuple[Lot, Lot]) -> None:
    sale = sold(world, lots).entry
    correct_quantity(world.doing(), sale, lot=lots[0], role=Role.SOLD, right_quantity=KG)
    undo(world.doing(), sale)

    assert gross(sale.seq) == 0
