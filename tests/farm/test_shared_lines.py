"""One line of a sale over several lots: what the lots come to adds up to the price of the line.

2.5 kg at 17.00, of lots of 1.245 and 1.255 kg, are 42.50. Lot by lot they would be 21.165 and
21.335, both rounded up: 42.51.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as some

from farm.actions.correcting import correct_quantity, undo
from farm.actions.pricing import Terms, shared_out
from farm.actions.selling import SoldLine, sell, take_back
from farm.models import SaleLine
from farm.queries.invoices import lines_of
from ledger.book import Recorded
from ledger.models import Lot, Role
from tests.farm.goods import crop, money
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

    assert sum(line.gross for line in lines) == 425_000
    assert [line.unit_net for line in lines] == [PRICE, PRICE]


@given(
    some.lists(some.integers(1, 9_999_999), min_size=1, max_size=6),
    some.integers(0, 999_999), some.integers(0, 250_000), some.booleans(),
    some.integers(0, 500_000),
)  # fmt: skip
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
