"""Pages of what is promised: lots set aside, the packing list, the round, shares and receipts."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from farm.actions.common import Draw
from farm.actions.orders.allotting import allocate
from farm.actions.orders.orders import Wanted
from farm.actions.selling.stalls import load_stall
from farm.actions.tracing.holding import hold
from farm.habits import day
from farm.models import AgreedPrice, Allocation, BoxLeft, Customer, Order, Payment, Role, Share
from farm.queries.orders.allocations import set_aside
from farm.queries.orders.orders import due_order
from farm.queries.orders.shares import share_states
from ledger.models import Lot
from tests.conftest import person_in_role, signed_in
from tests.farm.filled import typed
from tests.farm.goods import crop, packs
from tests.farm.papers import pdf_words, text
from tests.farm.sold import delivered, order, wanted
from tests.farm.world import KG, UNIT, World, farm_today

pytestmark = pytest.mark.django_db

BOX, ONE_DAY = 12 * UNIT, timedelta(days=1)


@pytest.fixture
def trade(trade_now: World) -> World:
    return trade_now


@pytest.fixture
def owner(trade: World) -> Client:
    return signed_in(trade.owner)


@pytest.fixture
def helper(trade: World) -> Client:
    return signed_in(trade.helper)


def queries_of(client: Client, address: str) -> int:
    with CaptureQueriesContext(connection) as queries:
        text(client, address)
    return len(queries)


def due_tomorrow(world: World, count: int = 6) -> tuple[Lot, Order, str]:
    """Packs, an order of some for tomorrow, and the beginning of its day's address."""
    lot = packs(world, 10)
    day = farm_today() + timedelta(days=1)
    asked = order(world, count, in_days=(day - world.now.date()).days)
    return lot, asked, f"/orders/{asked.pk}/{asked.due_on}/"


# --- set aside -------------------------------------------------------------------------------


def test_lots_are_set_aside_with_one_press_and_given_up_with_another(
    trade: World, helper: Client
) -> None:
    lot, asked, address = due_tomorrow(trade)
    assert helper.post(f"{address}set-aside-at-once/").status_code == 302
    page = text(helper, f"/orders/{asked.pk}/")
    aside = f'Set aside: 6 packs of <a class="code" href="/lots/{lot.code}/">'
    assert aside in " ".join(page.split())

    helper.post(f"{address}set-aside-at-once/", {"release": "1"})

    assert set_aside() == []


def test_a_hand_sets_aside_on_a_form_filled_with_what_is_over_soonest(
    trade: World, owner: Client
) -> None:
    lot, _, address = due_tomorrow(trade)
    form = owner.get(f"{address}set-aside/").context["form"]
    assert form[f"lot_{lot.pk}"].value() == "6"

    sent = {f"lot_{lot.pk}": "4", "uuid": form["uuid"].value()}
    assert owner.post(f"{address}set-aside/", sent).status_code == 302
    assert [part.quantity for part in set_aside()] == [4]


def test_too_much_is_refused_beside_the_form(trade: World, owner: Client) -> None:
    lot, _, address = due_tomorrow(trade)
    form = owner.get(f"{address}set-aside/").context["form"]
    sent = {f"lot_{lot.pk}": "40", "uuid": form["uuid"].value()}

    page = owner.post(f"{address}set-aside/", sent).content.decode()
    assert f"Lot {lot.code}: 40 pieces to set aside, 10 pieces free" in page
    assert not Allocation.objects.exists()


def test_what_is_set_aside_stands_on_the_lot_the_stock_and_the_packing_list(
    trade: World, owner: Client
) -> None:
    lot, asked, _ = due_tomorrow(trade)
    allocate(trade.doing(), order=asked, due_on=asked.due_on)

    assert f"6 packs for The Anchor on {day(asked.due_on)} (order {asked.pk})" in text(
        owner, f"/lots/{lot.code}/"
    )
    assert "Set aside for orders" in text(owner, "/stock/")
    listed = text(owner, f"/orders/packing-list/?day={asked.due_on}")
    assert lot.code in listed
    assert "6 packs" in listed


def test_the_packing_list_says_what_is_not_set_aside(trade: World, owner: Client) -> None:
    _, asked, _ = due_tomorrow(trade)
    words = pdf_words(owner.get(f"/orders/packing-list/?day={asked.due_on}&file=pdf").getvalue())

    assert "Asked for, and not set aside" in words
    assert owner.get("/orders/packing-list/?day=nonsense").status_code == 404


def test_todays_packing_list_holds_what_is_late(trade: World, owner: Client) -> None:
    # Yesterday's order: 6 of 8 packs are set aside, and 2 of another one are not.
    late = packs(trade, 6)
    yesterday = farm_today() - timedelta(days=1)
    asked = [
        order(trade, count, sure=True, in_days=(yesterday - trade.now.date()).days)
        for count in (6, 2)
    ]
    allocate(trade.doing(), order=asked[0], due_on=yesterday)

    listed, words = text(owner, "/orders/packing-list/"), f"late: for {yesterday:%-d %b}"
    assert late.code in listed
    assert listed.count(words) == 2
    assert late.code not in text(owner, f"/orders/packing-list/?day={yesterday + 2 * ONE_DAY}")
    assert words not in text(owner, f"/orders/packing-list/?day={yesterday}")


def test_a_seller_sees_no_orders(trade: World) -> None:
    _, asked, address = due_tomorrow(trade)
    seller = signed_in(person_in_role(Role.SELLER, "sara"))

    for page in (f"/orders/{asked.pk}/", "/orders/packing-list/", "/shares/"):
        assert seller.get(page).status_code == 403
    assert seller.post(f"{address}set-aside-at-once/").status_code == 403


@pytest.mark.parametrize(("role", "named"), [(Role.SELLER, False), (Role.HELPER, True)])
def test_only_who_may_see_orders_reads_for_whom_a_lot_is_set_aside(
    trade: World, role: Role, named: bool
) -> None:
    lot, asked, _ = due_tomorrow(trade)
    allocate(trade.doing(), order=asked, due_on=asked.due_on)
    sent = typed(day=f"{farm_today()}", **{f"load_{lot.pk}": f"{lot.quantity}"})
    client = signed_in(person_in_role(role, "sara"))
    page = client.post(f"/record/load-stall/?place={trade.stall.pk}", sent).content.decode()

    assert "Take it all the same?" in page
    assert ("set aside for The Anchor" in page) is named
    assert (f"set aside for order {asked.pk}" in page) is not named


def test_a_load_says_what_is_free_and_offers_nothing_that_is_refused(
    trade: World, owner: Client
) -> None:
    lot, asked, _ = due_tomorrow(trade, 6)
    allocate(trade.doing(), order=asked, due_on=asked.due_on)
    held = packs(trade, 5)
    hold(trade.doing(reason="smells sour"), [held])
    address = f"/record/load-stall/?place={trade.stall.pk}"
    page = text(owner, address)
    load_stall(
        trade.doing(sure=True), place=trade.stall, day=farm_today(), lines=[Draw(lot, lot.quantity)]
    )

    assert "4 packs free: 6 packs set aside for orders" in page
    assert held.code not in page
    assert lot.code not in text(owner, address)


def test_an_order_rests_on_its_page(trade: World, owner: Client) -> None:
    packs(trade, 40)
    asked = order(trade, 1, every_weeks=1, sure=True)
    week = asked.due_on + timedelta(weeks=1)

    sent = {"first": week.isoformat(), "last": week.isoformat(), "reason": "holiday"}
    assert owner.post(f"/orders/{asked.pk}/pause/", sent).status_code == 302
    due = due_order(Order.objects.get(pk=asked.pk), week)
    assert due and due.state.value == "rests"


def test_the_round_goes_by_the_stops_numbers_with_their_notes(trade: World, owner: Client) -> None:
    packs(trade, 40)
    trade.customer.stop, trade.customer.stop_note = 2, "back door, before 11"
    trade.customer.contact = "0555 0100"
    trade.customer.save()
    first = Customer.objects.create(name="Zebra Café", place=trade.kitchens, stop=1)
    days = (farm_today() - trade.now.date()).days
    order(trade, 1, in_days=days)
    trade.customer = first
    order(trade, 1, in_days=days)

    page = text(owner, f"/orders/round/?day={farm_today()}")
    assert page.index("1. Zebra Café") < page.index("2. The Anchor")
    assert "0555 0100 · back door, before 11" in page


def test_todays_round_takes_along_what_a_weekly_order_missed(trade: World, owner: Client) -> None:
    packs(trade, 40)
    days = (farm_today() - trade.now.date()).days
    missed = order(trade, 1, every_weeks=1, in_days=days - 2, sure=True).due_on

    assert f", was due {missed:%a %-d %b}" in text(owner, "/orders/round/")
    assert ", was due" not in text(owner, f"/orders/round/?day={missed + ONE_DAY}")


# --- orders by the pound, and discounts ------------------------------------------------------


def test_loose_goods_are_ordered_at_a_price_a_pound_where_the_farm_weighs_so(
    trade: World, owner: Client
) -> None:
    trade.farm.weight_unit = "lb"
    trade.farm.save()
    crop(trade, 5 * KG)
    address = f"/orders/take/?customer={trade.customer.pk}"
    assert "price of a pound" in text(owner, address)
    form = owner.get(address).context["form"]
    name = f"species_{trade.species.pk}"

    owner.post(
        address,
        {
            "due_on": farm_today().isoformat(),
            name: "2",
            "every_weeks": "0",
            f"price_{name}": "8",
            "uuid": form["uuid"].value(),
        },
    )
    line = Order.objects.get().lines.get()
    assert (line.unit_money, line.weight_unit) == (8 * UNIT, "lb")


def test_a_delivery_is_discounted_on_its_form(trade: World, owner: Client) -> None:
    # 6 at 5.00 less 10 %: 27.00.
    lot, asked, _ = due_tomorrow(trade)
    address = f"/record/deliver/?due={asked.pk}:{asked.due_on}"
    form = owner.get(address).context["form"]
    sent = {
        f"give_{lot.pk}": "6",
        "discount": "10",
        "uuid": form["uuid"].value(),
        "when": form["when"].value().strftime("%Y-%m-%dT%H:%M"),
    }

    assert owner.post(address, sent).status_code == 302
    (line,) = asked.notes.get().sale.lines.all()
    assert line.gross == 27 * UNIT


def test_an_agreed_price_fills_the_form_of_a_delivery(trade: World, owner: Client) -> None:
    lot = crop(trade, 2 * KG)
    AgreedPrice.objects.create(
        customer=trade.customer, species=trade.species, from_day="2026-01-01", unit_money=17 * UNIT
    )
    asked = wanted(trade, Wanted(trade.species, KG))

    form = owner.get(f"/record/deliver/?due={asked.pk}:{asked.due_on}").context["form"]
    assert form[f"price_{lot.pk}"].value() == "€17.00"


def test_however_many_goods_and_promises_there_are_the_form_asks_the_same(
    trade: World, owner: Client
) -> None:
    """Weighed, packed and dear goods, two orders with a part given and the rest set aside."""
    lot, asked, day = due_tomorrow(trade)
    address = f"/record/deliver/?due={asked.pk}:{asked.due_on}"
    allocate(trade.doing(), order=asked, due_on=asked.due_on)
    delivered(trade, asked, lot, 1, rest=True)
    few = queries_of(owner, address)

    _, other, _ = due_tomorrow(trade, 4)
    allocate(trade.doing(), order=other, due_on=other.due_on)
    AgreedPrice.objects.create(
        customer=trade.customer, species=trade.species, from_day="2026-01-01", unit_money=17 * UNIT
    )
    for weight in (KG, 2 * KG):
        crop(trade, weight)
    assert queries_of(owner, address) == few <= 19
    assert queries_of(owner, f"{day}set-aside/") <= 19
    assert queries_of(owner, f"/orders/{asked.pk}/") <= 19
    assert queries_of(owner, f"/orders/packing-list/?day={asked.due_on}") <= 19


# --- shares ----------------------------------------------------------------------------------


def taken_on_a_page(trade: World, owner: Client) -> Share:
    address = f"/shares/take/?customer={trade.customer.pk}"
    form = owner.get(address).context["form"]
    sent = {
        "due_on": farm_today().isoformat(),
        "every_weeks": "1",
        "boxes": "4",
        "box_money": "12",
        f"product_{trade.product.pk}": "2",
        "uuid": form["uuid"].value(),
        "sure": "on",
    }
    assert owner.post(address, sent).status_code == 302
    return Share.objects.get()


def test_a_share_goes_from_its_deposit_to_a_box_left_uncollected(
    trade: World, owner: Client
) -> None:
    lot = packs(trade, 20)
    share = taken_on_a_page(trade, owner)
    paid_form = owner.get("/payments/enter/").context["form"]
    owner.post(
        "/payments/enter/",
        {
            "customer": trade.customer.pk,
            "share": share.pk,
            "amount": "48",
            "method": "bank",
            "paid_on": farm_today().isoformat(),
            "uuid": paid_form["uuid"].value(),
        },
    )
    address = f"/record/deliver/?due={share.order.pk}:{share.order.due_on}"
    form = owner.get(address).context["form"]
    assert f"price_{lot.pk}" not in form.fields
    owner.post(
        address,
        {
            f"give_{lot.pk}": "2",
            "uuid": form["uuid"].value(),
            "when": form["when"].value().strftime("%Y-%m-%dT%H:%M"),
        },
    )

    (state,) = share_states(farm_today())
    assert (state.paid, state.delivered, state.held) == (48 * UNIT, BOX, 36 * UNIT)
    left = f"/shares/{share.pk}/left/{state.boxes[0].delivery.pk}/"
    assert owner.post(left, {"reason": "given to the food bank"}).status_code == 302
    assert BoxLeft.objects.get().reason == "given to the food bank"
    page = text(owner, f"/shares/{share.pk}/")
    assert "36.00" in page
    assert "given to the food bank" in page
    assert "36.00" in text(owner, "/shares/")
    assert "36.00" in text(owner, "/owed/")
    for report in ("/shares/", f"/shares/{share.pk}/"):
        assert owner.get(f"{report}?file=xlsx").status_code == 200


def test_the_receipt_of_a_deposit_says_that_tax_comes_with_the_delivery(
    trade: World, owner: Client
) -> None:
    share = taken_on_a_page(trade, owner)
    payment = Payment.objects.create(
        customer=trade.customer,
        share=share,
        paid_on=farm_today(),
        amount_money=BOX,
        method="bank",
        entered_at=timezone.now(),
        by=trade.owner,
        uuid=share.uuid,
    )
    words = pdf_words(owner.get(f"/payments/{payment.pk}/receipt/?file=pdf").getvalue())

    assert "12.00" in words
    assert "no invoice. Tax is stated at each delivery" in words


def test_a_helper_sees_no_members_money(trade: World, owner: Client, helper: Client) -> None:
    share = taken_on_a_page(trade, owner)

    for address in ("/shares/", "/shares/take/", f"/shares/{share.pk}/"):
        assert helper.get(address).status_code == 403
