"""Shares: money paid ahead is owed until boxes are delivered, and each takes its price of it."""

from datetime import timedelta

import pytest

from farm.actions.accounts.invoicing import issue_for_sale, issue_invoice
from farm.actions.accounts.payments import Paid, enter_payment, take_payment_back
from farm.actions.common import Recorded
from farm.actions.orders.boxes import note_left
from farm.actions.orders.orders import Wanted, deliver, pause_order
from farm.actions.orders.shares import Season, take_share
from farm.actions.questions import PlausibilityQuestion
from farm.actions.recording.correcting import correct_quantity, undo
from farm.actions.selling.selling import SoldLine, take_back
from farm.models import BoxDelivery, BoxLeft, Customer, Payment, SaleLine, Share
from farm.queries.accounts.invoices import customers_to_invoice
from farm.queries.accounts.owed import account_of, accounts, statement
from farm.queries.orders.orders import State, days_of, due_order, orders
from farm.queries.orders.shares import ShareState, deposits_held, missed_species, share_states
from ledger.errors import Conflict, Malformed, NotStanding
from ledger.models import Lot, Role
from tests.farm.goods import crop, money, packs
from tests.farm.sold import sold
from tests.farm.world import GRAM, KG, UNIT, World, assert_book_is_sound

pytestmark = pytest.mark.django_db

BOX = 12 * UNIT
WEEK = timedelta(weeks=1)


def taken(world: World, boxes: int = 4, *, every_weeks: int = 1) -> Share:
    doing = world.doing(sure=True)
    season = Season(doing.day, every_weeks, boxes, BOX)
    return take_share(
        doing, customer=world.customer, season=season, lines=[Wanted(world.product, 2)]
    )


def paid(world: World, share: Share, amount_money: int, *, sure: bool = False) -> Payment:
    doing = world.doing(sure=sure)
    return enter_payment(
        doing,
        Paid(customer=share.customer, share=share, amount_money=amount_money, paid_on=doing.day),
    )


def box(world: World, share: Share, *lines: SoldLine, week: int = 0) -> Recorded:
    order = orders().get(share=share)
    return deliver(
        world.doing(minutes=0), order=order, due_on=order.due_on + week * WEEK, lines=lines
    )


def two_packs(lot: Lot, price: int = 5 * UNIT) -> SoldLine:
    return SoldLine(lot, 2, price)


def state(world: World) -> ShareState:
    (found,) = share_states(world.now.date())
    return found


def test_money_paid_ahead_is_held_and_no_income(trade: World) -> None:
    paid(trade, taken(trade), 48 * UNIT)

    assert deposits_held(trade.now.date()) == 48 * UNIT
    assert not SaleLine.objects.exists()
    account = account_of(trade.customer, trade.now.date())
    assert (account.open_money, account.ahead_money, account.deposit_money) == (0, 0, 48 * UNIT)


def test_a_box_takes_its_price_of_the_deposit_whatever_is_in_it(trade: World) -> None:
    # Two packs at 5.00 are worth 10.00; the box is 12.00, tax of 4 % in it: 11.5385, so 11.54 net.
    lot, share = packs(trade), taken(trade)
    paid(trade, share, 48 * UNIT)
    entry = box(trade, share, two_packs(lot)).entry

    assert money(entry) == [(115_400, 4_600, BOX)]
    assert (state(trade).delivered, state(trade).held, state(trade).worth) == (
        BOX,
        36 * UNIT,
        10 * UNIT,
    )
    assert_book_is_sound()


def test_a_box_price_is_shared_by_what_its_goods_are_worth(trade: World) -> None:
    # Worth 5.00, 5.00 and 4.00; 12.00 x 5/14 = 4.2857 twice and 3.4286: by the largest remainder
    # 4.29, 4.28 and 3.43 add up.
    lots = [packs(trade, 1), packs(trade, 1), packs(trade, 1)]
    prices = (5 * UNIT, 5 * UNIT, 4 * UNIT)
    lines = [SoldLine(lot, 1, price) for lot, price in zip(lots, prices, strict=True)]
    entry = box(trade, taken(trade), *lines).entry

    assert [gross for *_, gross in money(entry)] == [42_900, 42_800, 34_300]


def test_a_box_of_what_has_no_worth_still_takes_its_price(trade: World) -> None:
    entry = box(trade, taken(trade), two_packs(packs(trade), 0)).entry

    assert [gross for *_, gross in money(entry)] == [BOX]


def test_boxes_given_unpaid_are_owed_by_the_member(trade: World) -> None:
    share, lot = taken(trade), packs(trade)
    paid(trade, share, 6 * UNIT)
    box(trade, share, two_packs(lot))

    assert state(trade).held == -6 * UNIT
    assert deposits_held(trade.now.date()) == 0
    (account,) = accounts(trade.now.date())
    assert account.deposit_money == -6 * UNIT


def test_a_box_taken_back_is_owed_again(trade: World) -> None:
    share = taken(trade)
    paid(trade, share, 48 * UNIT)
    entry = box(trade, share, two_packs(packs(trade))).entry

    undo(trade.doing(), entry)

    assert (state(trade).held, state(trade).to_come) == (48 * UNIT, 4)


def test_what_comes_back_of_a_box_gives_its_part_of_the_price_back(trade: World) -> None:
    # One of two packs: half of 12.00.
    share = taken(trade)
    paid(trade, share, 48 * UNIT)
    entry = box(trade, share, two_packs(packs(trade))).entry

    take_back(
        trade.doing(reason="wet"), sale_line=SaleLine.objects.get(line__entry=entry), quantity=1
    )

    assert state(trade).held == 42 * UNIT


def test_a_corrected_box_follows_its_price(trade: World) -> None:
    # Three packs where two were 12.00: 18.00, unless the box is said to cost what it costs.
    share, lot = taken(trade), packs(trade)
    entry = box(trade, share, two_packs(lot)).entry
    correct_quantity(trade.doing(), entry, lot=lot, role=Role.SOLD, right_quantity=3)

    assert state(trade).delivered == 18 * UNIT
    correct_quantity(
        trade.doing(), entry, lot=lot, role=Role.SOLD, right_quantity=3, right_money=BOX
    )
    assert state(trade).delivered == BOX


def test_a_box_that_rests_comes_at_the_end(trade: World) -> None:
    share = taken(trade, boxes=3)
    order = orders().get(share=share)
    first = order.due_on
    pause_order(trade.doing(reason="away"), order, first=first + WEEK, last=first + WEEK)

    again = orders().get(share=share)
    assert days_of(again, first, first + 9 * WEEK) == [first + week * WEEK for week in range(4)]
    rested = due_order(again, first + WEEK)
    assert rested and rested.state == State.PAUSED


def test_a_box_is_given_whole(trade: World) -> None:
    order = orders().get(share=taken(trade))

    with pytest.raises(Malformed, match="a box is given whole, at its price"):
        deliver(
            trade.doing(),
            order=order,
            due_on=order.due_on,
            lines=[two_packs(packs(trade))],
            rest_follows=True,
        )


def test_a_box_sent_twice_is_one(trade: World) -> None:
    lot, share, doing = packs(trade), taken(trade), trade.doing()
    order = orders().get(share=share)
    for _ in range(2):
        deliver(doing, order=order, due_on=order.due_on, lines=[two_packs(lot)])

    assert BoxDelivery.objects.count() == 1


def test_a_share_sent_twice_is_one_and_other_words_are_a_conflict(trade: World) -> None:
    doing = trade.doing(sure=True)
    lines = [Wanted(trade.product, 2)]
    for _ in range(2):
        take_share(doing, customer=trade.customer, season=Season(doing.day, 1, 4, BOX), lines=lines)

    assert Share.objects.count() == 1
    for other in (Season(doing.day, 1, 5, BOX), Season(doing.day, 2, 4, BOX)):
        with pytest.raises(Conflict):
            take_share(doing, customer=trade.customer, season=other, lines=lines)


@pytest.mark.parametrize(
    ("boxes", "box_money", "why"),
    [(0, BOX, "0 boxes every 1 weeks"), (4, 0, "State its price"), (4, 120_050, "whole cents")],
)
def test_a_share_of_nothing_cannot_be(trade: World, boxes: int, box_money: int, why: str) -> None:
    doing = trade.doing()

    with pytest.raises(Malformed, match=why):
        take_share(
            doing,
            customer=trade.customer,
            season=Season(doing.day, 1, boxes, box_money),
            lines=[Wanted(trade.product, 2)],
        )


# --- the deposit, and what it is kept apart from ---------------------------------------------


def test_more_than_the_season_costs_asks(trade: World) -> None:
    share = taken(trade)

    with pytest.raises(PlausibilityQuestion, match="pays"):
        paid(trade, share, 49 * UNIT)
    assert paid(trade, share, 49 * UNIT, sure=True)


def test_a_deposit_is_for_a_share_of_the_payers_own_and_no_invoice(trade: World) -> None:
    share, day = taken(trade), trade.now.date()
    sold(trade, packs(trade), 2)
    invoice = issue_invoice(trade.doing(), trade.customer, until=day)
    other = Customer.objects.create(name="The Swan", place=trade.kitchens)

    with pytest.raises(Malformed, match="not both: enter two payments"):
        enter_payment(
            trade.doing(),
            Paid(
                customer=trade.customer,
                share=share,
                invoice=invoice,
                amount_money=UNIT,
                paid_on=day,
            ),
        )
    with pytest.raises(Malformed, match="is not The Swan's"):
        enter_payment(
            trade.doing(), Paid(customer=other, share=share, amount_money=UNIT, paid_on=day)
        )


def test_a_deposit_taken_back_is_no_longer_held(trade: World) -> None:
    payment = paid(trade, taken(trade), 48 * UNIT)

    take_payment_back(trade.doing(), payment)

    assert state(trade).paid == 0


def test_a_deposit_pays_no_invoice_and_a_box_is_on_none(trade: World) -> None:
    share, lot = taken(trade), packs(trade)
    paid(trade, share, 48 * UNIT)
    entry = box(trade, share, two_packs(lot)).entry
    sold(trade, lot, 2)
    day = trade.now.date()

    invoice = issue_invoice(trade.doing(), trade.customer, until=day)

    account = account_of(trade.customer, day)
    assert (account.open_money, account.deposit_money) == (10 * UNIT, 36 * UNIT)
    assert invoice.lines.get().sale_line.sale.entry != entry
    assert customers_to_invoice(day) == {}
    assert [line.balance for line in statement(trade.customer, day, day)[1]] == [10 * UNIT]
    with pytest.raises(Malformed, match="which was paid ahead"):
        issue_for_sale(trade.doing(), entry.sale)


def test_the_deposit_of_an_earlier_day_is_read_as_it_stood(trade: World) -> None:
    share = taken(trade)
    paid(trade, share, 48 * UNIT)
    before = trade.now.date()
    trade.wait(7)
    box(trade, share, two_packs(packs(trade)), week=1)

    assert deposits_held(before - timedelta(days=1)) == 0
    assert deposits_held(before) == 48 * UNIT
    assert deposits_held(trade.now.date()) == 36 * UNIT


# --- boxes not collected, and fairness -------------------------------------------------------


def test_a_box_left_stays_delivered_and_is_counted(trade: World) -> None:
    share = taken(trade)
    box(trade, share, two_packs(packs(trade)))
    delivery = BoxDelivery.objects.get()
    for _ in range(2):
        note_left(trade.doing(reason="given to the food bank"), delivery)

    assert BoxLeft.objects.count() == 1
    assert (state(trade).uncollected, state(trade).delivered) == (1, BOX)


def test_what_became_of_a_box_is_said_and_an_undone_box_was_not_left(trade: World) -> None:
    share = taken(trade)
    entry = box(trade, share, two_packs(packs(trade))).entry
    delivery = BoxDelivery.objects.get()
    with pytest.raises(Malformed, match="say what became of the box"):
        note_left(trade.doing(), delivery)

    undo(trade.doing(), entry)

    with pytest.raises(NotStanding, match="it is owed still"):
        note_left(trade.doing(reason="eaten"), delivery)


def test_fairness_is_what_was_in_the_boxes_over_what_they_cost(trade: World) -> None:
    # 10.00 and 15.00 in two boxes of 12.00: 83.3333 % and 125 %.
    share, lot = taken(trade), packs(trade)
    box(trade, share, two_packs(lot))
    box(trade, share, SoldLine(lot, 3, 5 * UNIT), week=1)

    assert [one.worth_ppm for one in state(trade).boxes] == [833_333, 1_250_000]
    assert (state(trade).worth, state(trade).delivered) == (25 * UNIT, 24 * UNIT)


def test_the_species_not_given_lately_comes_next(trade: World) -> None:
    share = taken(trade)
    other = trade.other_strain.species
    lot = crop(trade, KG, species=other)
    box(trade, share, SoldLine(lot, 200 * GRAM, 20 * UNIT))
    for week in (1, 2):
        box(trade, share, two_packs(packs(trade)), week=week)

    there = [trade.species.name, other.name]
    assert missed_species(state(trade), there) == [other.name]
    assert state(trade).species == {trade.species.name: 2, other.name: 1}
