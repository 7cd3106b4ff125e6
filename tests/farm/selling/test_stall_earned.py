"""What a stall day earned, what should be in the till, what is usual: every sum by hand."""

from datetime import timedelta
from fractions import Fraction

import pytest
from pytest_django import DjangoAssertNumQueries

from farm.actions.common import Draw
from farm.actions.recording.correcting import correct_quantity, undo
from farm.actions.selling.cashing import CashCount, cash_up, tokens_paid
from farm.actions.selling.selling import take_back
from farm.actions.selling.stalls import Besides, load_stall, settle_stall
from farm.models import Given, Person, Sale, SaleLine, StallDay, Token
from farm.models import Role as PersonRole
from farm.queries.selling.cash import cash_of, tokens_owed
from farm.queries.selling.stall_days import (
    Earned,
    Usual,
    became_of,
    days_before,
    earned_by,
    settled_days,
    usual_of,
)
from ledger.models import Lot, Role
from tests.conftest import person_in_role, signed_in
from tests.farm.goods import a_day, packs
from tests.farm.world import UNIT, World, fresh, small_farm


@pytest.fixture
def world(db: None) -> World:
    world = small_farm()
    # 6 % of takings on top of 25.00 a day; cards cost 2 %.
    world.stall.fee_ppm, world.stall.card_fee_ppm = 60_000, 20_000
    world.stall.save()
    return world


def a_saturday(
    world: World, lot: Lot, back: int = 9, *, seller: Person | None = None, **said: object
) -> Sale:
    # The day by UTC: weeks of seven days are counted here, and a farm's midnight lies across them.
    entry = load_stall(
        world.doing(),
        place=world.stall,
        day=world.now.date(),
        lines=[Draw(lot, 40)],
        seller=seller,
    ).entry
    minutes = said.pop("minutes", None)
    settled = settle_stall(
        world.doing(minutes=minutes),
        stall_day=StallDay.objects.get(entry=entry),
        brought_back={lot.pk: back},
        prices={},
        besides=Besides(**said),  # type: ignore[arg-type]
    )
    return settled.entry.sale


def count(*, cash: int = 0, card_money: int = 0, tokens: dict[int, int] | None = None) -> CashCount:
    return CashCount(100 * UNIT, cash, card_money, tokens=tokens or {})


def earned_of(sale: Sale) -> Earned:
    return earned_by([sale])[sale.pk]


def usual_before(sale: Sale) -> Usual | None:
    return usual_of(list(earned_by(days_before(sale)).values()))


def cents(money: int) -> int:
    """Whole cents, half to even, as a month hands out what it comes to."""
    return round(Fraction(money, 100)) * 100


# --- what it earned --------------------------------------------------------------------------


def test_a_day_earns_its_net_takings_less_goods_stall_cards_and_hours(world: World) -> None:
    lot = packs(world)
    a_pack, own = sum(lot.cost) // 40, lot.own // 40

    day = earned_of(
        a_saturday(
            world, lot, given={Given.SAMPLE: [Draw(lot, 1)]}, cash=count(card_money=50 * UNIT)
        )
    )

    # 30 sold at 5.00 are 150.00, net 144.23; 25.00 and 6 % are 34.00; 2 % of 50.00; 7 h at 18.00.
    assert (day.gross, day.net, day.tax) == (150 * UNIT, 1_442_300, 57_700)
    assert (day.cost, day.given) == (cents(30 * a_pack), {Given.SAMPLE: cents(a_pack)})
    assert (day.fees, day.cards, day.own_hours, day.paid_hours) == (34 * UNIT, UNIT, 126 * UNIT, 0)
    spent = cents(30 * a_pack) + cents(a_pack) + (34 + 1 + 126) * UNIT
    assert day.with_own == 1_442_300 - spent
    assert day.without_own == day.with_own + 126 * UNIT + 31 * own


def test_an_hour_is_what_the_day_left_over_all_hours_at_the_stall(world: World) -> None:
    day = earned_of(a_saturday(world, packs(world), minutes=300))

    assert day.minutes == day.own_minutes == 300
    assert day.per_hour(100 * UNIT) == 20 * UNIT


def test_without_hours_there_is_nothing_to_divide_by(world: World) -> None:
    day = earned_of(a_saturday(world, packs(world), minutes=0))

    assert (day.minutes, day.per_hour(day.without_own)) == (0, None)


def test_a_corrected_sale_changes_what_the_day_earned(world: World) -> None:
    lot = packs(world)
    sale = a_saturday(world, lot)

    correct_quantity(world.doing(), sale.entry, lot=lot, role=Role.SOLD, right_quantity=30)

    day = earned_of(sale)
    # 30 at 5.00; the fee is 25.00 and 6 % of 150.00.
    assert (day.gross, day.fees) == (150 * UNIT, 34 * UNIT)
    assert day.cost == cents(30 * (sum(lot.cost) // 40))


def test_what_came_back_later_is_neither_taken_nor_spent(world: World) -> None:
    lot = packs(world)
    sale = a_saturday(world, lot)

    take_back(world.doing(), sale_line=SaleLine.objects.get(sale=sale), quantity=1)

    day = earned_of(sale)
    assert (day.gross, day.cost) == (150 * UNIT, cents(30 * (sum(lot.cost) // 40)))


def test_a_day_is_shown_product_by_product(world: World) -> None:
    lot = packs(world)

    (row,) = became_of(a_saturday(world, lot, given={Given.GIFT: [Draw(lot, 2)]})).items()

    assert (row.took, row.sold, row.given, row.back) == (40, 29, 2, 9)
    assert row.gross == 29 * 5 * UNIT


def test_what_came_back_and_is_still_there_waits_for_a_decision(world: World) -> None:
    lot, sold_out = packs(world), packs(world)
    sale = a_saturday(world, lot)
    other = a_saturday(world, sold_out, back=0)

    assert became_of(sale).back() == [(fresh(lot), 9)]
    assert became_of(other).back() == []


def test_however_many_days_and_returns_there_are_what_they_earned_is_eight_queries(
    world: World, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    lots = [packs(world) for _ in range(3)]
    sales = [a_saturday(world, lot) for lot in lots]
    for line in SaleLine.objects.filter(sale__in=sales[1:]):
        take_back(world.doing(), sale_line=line, quantity=2)

    with django_assert_num_queries(8):
        days = earned_by(sales)
    # 31, 29 and 29 packs at 1.5375: 47.6625, 44.5875 and 44.5875 are 136.84 to the cent, whose two
    # cents beyond whole ones go to the larger rests.
    assert [sum(lot.cost) // 40 for lot in lots] == [1_5375] * 3
    assert [days[sale.pk].cost for sale in sales] == [47_6600, 44_5900, 44_5900]


# --- the usual -------------------------------------------------------------------------------


def test_the_usual_is_the_median_of_the_same_weekday_at_the_same_place(world: World) -> None:
    for back in (0, 20, 10):
        a_saturday(world, packs(world), back)
        world.wait(7)
    world.now -= timedelta(hours=world.now.hour - 8)
    sale = a_saturday(world, packs(world))

    usual = usual_before(sale)

    # 40, 20 and 30 sold at 5.00: the middle is 150.00.
    assert usual
    assert (usual.days, usual.gross) == (3, 150 * UNIT)


def test_another_weekday_and_a_day_taken_back_are_no_part_of_the_usual(world: World) -> None:
    undo(world.doing(), a_saturday(world, packs(world), 0).entry)
    world.wait(1)
    a_saturday(world, packs(world), 0)
    world.wait(6)

    assert usual_before(a_saturday(world, packs(world))) is None


def test_however_many_days_are_settled_their_list_asks_the_same(
    world: World, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    client, seller = signed_in(world.owner), person_in_role(PersonRole.SELLER, "sam")
    a_saturday(world, packs(world), seller=seller, cash=count(cash=150 * UNIT))
    with django_assert_max_num_queries(19) as few:
        client.get("/stall/")

    for _ in range(2):
        a_saturday(world, packs(world), seller=seller, cash=count(cash=150 * UNIT))
    with django_assert_max_num_queries(len(few.captured_queries)):
        assert client.get("/stall/").content.decode().count("sam") > 2


def test_settled_days_are_those_that_stand_the_newest_first(world: World) -> None:
    first = a_saturday(world, packs(world))
    gone = a_saturday(world, packs(world))
    world.wait(7)
    last = a_saturday(world, packs(world))
    undo(world.doing(), gone.entry)

    assert list(settled_days()) == [last, first]


# --- the cash --------------------------------------------------------------------------------


def test_the_till_should_hold_float_and_sales_less_cards_tokens_and_what_was_paid(
    world: World,
) -> None:
    token = Token.objects.create(
        name="Market pound", place=world.stall, value_money=UNIT, issuer="Town council"
    )
    sale = a_saturday(
        world,
        packs(world),
        cash=CashCount(
            float_money=100 * UNIT,
            cash_money=172 * UNIT,
            card_money=50 * UNIT,
            paid_out_money=25 * UNIT,
            tokens={token.pk: 7},
        ),
    )

    cash = cash_of(sale)

    # 100 + 155 - 50 - 7 - 25 are 173; 172 were counted.
    assert cash
    assert (cash.expected_money, cash.difference_money) == (173 * UNIT, -UNIT)


def test_the_last_count_stands_and_a_corrected_sale_moves_what_was_expected(world: World) -> None:
    lot = packs(world)
    sale = a_saturday(world, lot, cash=count(cash=200 * UNIT))
    cash_up(world.doing(), sale=sale, count=count(cash=255 * UNIT))
    correct_quantity(world.doing(), sale.entry, lot=lot, role=Role.SOLD, right_quantity=30)

    cash = cash_of(sale)

    # 100 and 30 at 5.00 are 250.00; the second count says 255.00.
    assert cash
    assert (cash.counts, cash.difference_money) == (2, 5 * UNIT)


def test_what_was_never_counted_has_no_cash(world: World) -> None:
    assert cash_of(a_saturday(world, packs(world))) is None


def test_tokens_are_owed_until_their_issuer_pays(world: World) -> None:
    token = Token.objects.create(
        name="Market pound", place=world.stall, value_money=UNIT, issuer="Town council"
    )
    sale = a_saturday(world, packs(world), cash=count(tokens={token.pk: 9}))
    cash_up(world.doing(), sale=sale, count=count(tokens={token.pk: 7}))
    tokens_paid(world.doing(), token=token, day=a_day(world), amount=3 * UNIT)

    (owed,) = tokens_owed()

    # The second count says 7.
    assert (owed.count, owed.counted_money, owed.owed_money) == (7, 7 * UNIT, 4 * UNIT)


def test_tokens_of_a_day_that_was_taken_back_are_not_owed(world: World) -> None:
    token = Token.objects.create(
        name="Market pound", place=world.stall, value_money=UNIT, issuer="Town council"
    )
    sale = a_saturday(world, packs(world), cash=count(tokens={token.pk: 9}))
    undo(world.doing(), sale.entry)

    assert tokens_owed()[0].owed_money == 0
