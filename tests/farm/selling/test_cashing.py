"""Cash up a stall: one count stands, cards cost their fee, tokens are owed by who issues them."""

import pytest

from farm.actions.common import Doing, Draw
from farm.actions.recording.correcting import undo
from farm.actions.selling.cashing import CashCount, cash_up, tokens_paid
from farm.actions.selling.stalls import Besides, load_stall, settle_stall
from farm.models import CashUp, CashUpToken, Sale, SellingCost, StallDay, Token, TokensPaid
from ledger.errors import Conflict, Malformed
from ledger.models import Lot
from tests.farm.goods import a_day, costs, packs
from tests.farm.world import UNIT, World, small_farm


@pytest.fixture
def world(db: None) -> World:
    return small_farm()


def settled(world: World, lot: Lot, cash: CashCount | None = None) -> Sale:
    """Took 40 at 5.00, brought back 9."""
    entry = load_stall(
        world.doing(), place=world.stall, day=a_day(world), lines=[Draw(lot, 40)]
    ).entry
    done = settle_stall(
        world.doing(),
        stall_day=StallDay.objects.get(entry=entry),
        brought_back={lot.pk: 9},
        prices={},
        besides=Besides(cash=cash),
    )
    return done.entry.sale


def count(**said: object) -> CashCount:
    known: dict[str, object] = {"float_money": 100 * UNIT, "cash_money": 200 * UNIT}
    return CashCount(**{**known, **said})  # type: ignore[arg-type]


def test_the_cash_is_kept_with_the_day_in_one_step(world: World) -> None:
    lot = packs(world)

    sale = settled(world, lot, count(card_money=50 * UNIT))

    kept = sale.cash_ups.get()
    assert (kept.float_money, kept.cash_money, kept.card_money) == (
        100 * UNIT,
        200 * UNIT,
        50 * UNIT,
    )


def test_cards_cost_a_share_and_so_much_each(world: World) -> None:
    world.stall.card_fee_ppm, world.stall.card_fee_each_money = 17_500, 500
    world.stall.save()

    sale = settled(world, packs(world), count(card_money=84 * UNIT, card_count=12))

    # 1.75 % of 84.00 is 1.47, 12 at 0.05 are 0.60.
    assert costs(sale.entry)["card fees"] == 20_700


def test_a_second_count_stands_and_cards_cost_the_difference(world: World) -> None:
    world.stall.card_fee_ppm = 20_000
    world.stall.save()
    sale = settled(world, packs(world), count(card_money=50 * UNIT))

    cash_up(world.doing(), sale=sale, count=count(card_money=60 * UNIT))

    fees = SellingCost.objects.filter(what="card fees").values_list("amount", flat=True)
    # 2 % of 50.00, then of 10.00 more.
    assert list(fees) == [10_000, 2_000]
    assert CashUp.objects.count() == 2


def test_tokens_are_kept_at_what_one_was_worth_that_day(world: World) -> None:
    token = Token.objects.create(
        name="Market pound", place=world.stall, value_money=UNIT, issuer="Town council"
    )

    settled(world, packs(world), count(tokens={token.pk: 7}))
    token.value_money = 2 * UNIT
    token.save()

    kept = CashUpToken.objects.get()
    assert (kept.token, kept.count, kept.value_money) == (token, 7, UNIT)


def test_a_count_sent_twice_is_one_and_with_other_numbers_refused(world: World) -> None:
    sale, doing = settled(world, packs(world)), world.doing()

    first = cash_up(doing, sale=sale, count=count())

    assert cash_up(doing, sale=sale, count=count()) == first
    with pytest.raises(Conflict, match="sent before with other numbers"):
        cash_up(doing, sale=sale, count=count(cash_money=1))


def test_the_cash_of_a_day_that_was_taken_back_is_not_counted(world: World) -> None:
    sale = settled(world, packs(world))
    undo(world.doing(), sale.entry)

    with pytest.raises(Malformed, match=f"Entry {sale.entry_id} settles no stall day that stands"):
        cash_up(world.doing(), sale=sale, count=count())


def test_it_refuses_cash_below_zero_and_cards_that_paid_nothing(world: World) -> None:
    sale = settled(world, packs(world))

    with pytest.raises(Malformed, match="Nothing counted is below zero"):
        cash_up(world.doing(), sale=sale, count=count(cash_money=-1))
    with pytest.raises(Malformed, match="3 card payments of nothing"):
        cash_up(world.doing(), sale=sale, count=count(card_count=3))


def test_what_an_issuer_paid_is_kept_once(world: World) -> None:
    token = Token.objects.create(
        name="Market pound", place=world.stall, value_money=UNIT, issuer="Town council"
    )
    doing: Doing = world.doing()

    for _ in range(2):
        tokens_paid(doing, token=token, day=a_day(world), amount=7 * UNIT)

    assert TokensPaid.objects.get().amount == 7 * UNIT
    with pytest.raises(Malformed, match="State how much Town council paid"):
        tokens_paid(world.doing(), token=token, day=a_day(world), amount=0)
