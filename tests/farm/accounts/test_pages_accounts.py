"""The pages of payments: paying back, giving up, putting right, and where they are led to."""

import re
from datetime import UTC, datetime

import pytest
from django.test import Client
from django.utils import timezone

from farm.models import Customer, Payment, Role, Settling
from farm.queries.accounts.owed import account_of
from tests.conftest import person_in_role, signed_in
from tests.farm.goods import packs
from tests.farm.orders.test_shares import box, taken, two_packs
from tests.farm.papers import pdf_words, text
from tests.farm.settled import gives_up, invoice_of, pays
from tests.farm.world import UNIT, World, farm_today

pytestmark = pytest.mark.django_db


@pytest.fixture
def trade(trade_now: World) -> World:
    return trade_now


@pytest.fixture
def keeper(trade: World) -> Client:
    """A bookkeeper, who keeps the money without recording work."""
    return signed_in(person_in_role(Role.BOOKKEEPER, "rita"))


def filled(client: Client, address: str, **more: object) -> dict[str, object]:
    """Fill a form in as it stands at an address, and say the rest."""
    form = client.get(address).context["form"]
    stands = {field.html_name: field.value() for field in form}
    return {**{name: value for name, value in stands.items() if value is not None}, **more}


def way(page: str, label: str) -> str:
    found = re.search(rf'href="([^"]+)">{label}<', page)
    assert found, label
    return found[1].replace("&amp;", "&")


def test_a_statement_leads_to_pay_back_what_is_theirs(trade: World, keeper: Client) -> None:
    invoice_of(trade, 2)
    pays(trade, 15 * UNIT)
    page = f"/customers/{trade.customer.pk}/statement/"
    address = way(text(keeper, page), "Pay it back")
    form = filled(keeper, address, note="leaves the scheme")
    assert (form["amount"], form["customer"]) == ("5.00", f"{trade.customer.pk}")

    answer = keeper.post(address, form)

    assert answer["Location"] == page
    made = Payment.objects.get(what=Settling.BACK)
    assert (made.amount_money, made.note, made.by.role) == (
        -5 * UNIT,
        "leaves the scheme",
        Role.BOOKKEEPER,
    )
    words = pdf_words(keeper.get(f"{page}?file=pdf").getvalue())
    assert "paid back, bank transfer" in words
    assert "-5.00" in words


def test_paying_back_asks_why_and_whether_it_is_more(trade: World, keeper: Client) -> None:
    address = f"/payments/pay-back/?customer={trade.customer.pk}&amount=5"
    assert "This is needed" in keeper.post(address, filled(keeper, address)).content.decode()
    form = filled(keeper, address, note="by mistake")
    asked = keeper.post(address, form).content.decode()
    assert "has €0.00 to get back: they will owe the rest" in asked

    keeper.post(address, {**form, "sure": "on"})

    assert account_of(trade.customer, farm_today()).open_money == 5 * UNIT
    owed = text(keeper, "/owed/")
    assert "paid back beyond what was theirs" in owed


def test_an_invoice_leads_to_give_up_what_is_open_of_it(trade: World, keeper: Client) -> None:
    invoice = invoice_of(trade, 2)
    pays(trade, 9 * UNIT)
    address = way(text(keeper, f"/invoices/{invoice}/"), "Give it up")

    keeper.post(address, filled(keeper, address, note="a coin short"))

    assert Payment.objects.get(what=Settling.GIVEN_UP).invoice == invoice
    assert "€1.00 given up" in text(keeper, "/invoices/")
    assert "Give it up" not in text(keeper, f"/invoices/{invoice}/")
    listed = text(keeper, "/payments/?what=given")
    assert "a coin short" in listed
    assert "Take back" in listed


def test_more_than_is_open_is_refused_beside_the_form(trade: World, keeper: Client) -> None:
    invoice_of(trade, 2)
    address = f"/payments/give-up/?customer={trade.customer.pk}&amount=11"
    refused = keeper.post(address, filled(keeper, address, note="lost")).content.decode()

    assert "so €11.00 cannot be given up. State €10.00 or less" in refused
    assert not Payment.objects.exists()


def test_a_share_leads_to_pay_its_deposit_back(trade: World, keeper: Client) -> None:
    share = taken(trade)
    pays(trade, 48 * UNIT, share=share)
    box(trade, share, two_packs(packs(trade)))
    address = way(text(keeper, f"/shares/{share.pk}/"), "Pay it back")

    keeper.post(address, filled(keeper, address, note="moves away"))

    page = text(keeper, f"/shares/{share.pk}/")
    assert "Pay it back" not in page
    assert "moves away" in page
    assert "36.00" in text(keeper, "/shares/")
    statement = text(keeper, f"/customers/{trade.customer.pk}/statement/")
    assert "Paid ahead for boxes" in statement
    assert f"Share {share.pk}" in statement


def test_a_payment_is_put_right_on_a_page(trade: World, keeper: Client) -> None:
    other = Customer.objects.create(name="The Swan", place=trade.kitchens)
    invoice_of(trade, 2)
    wrong = pays(trade, 10 * UNIT, customer=other)
    address = way(text(keeper, "/payments/"), "Put right")
    form = filled(keeper, address)
    assert (form["customer"], form["amount"]) == (other.pk, "€10.00")

    keeper.post(address, {**form, "customer": trade.customer.pk})

    assert account_of(trade.customer, farm_today()).balance == 0
    assert account_of(other, farm_today()).balance == 0
    assert keeper.get(f"/payments/{wrong.taken_back_by.pk}/put-right/").status_code == 404
    assert "taken back" in text(keeper, "/payments/")


def test_what_was_given_up_is_taken_back_on_the_list(trade: World, keeper: Client) -> None:
    invoice_of(trade, 2)
    given = gives_up(trade, 10 * UNIT)

    keeper.post(f"/payments/{given.pk}/take-back/")

    assert account_of(trade.customer, farm_today()).balance == 10 * UNIT


@pytest.mark.parametrize(
    "address", ["/payments/pay-back/", "/payments/give-up/", "/payments/1/put-right/"]
)
@pytest.mark.parametrize("role", [Role.HELPER, Role.SELLER, Role.INSPECTOR])
def test_no_other_role_settles_accounts(trade: World, address: str, role: Role) -> None:
    assert signed_in(person_in_role(role, "nobody")).post(address).status_code == 403


@pytest.mark.parametrize(
    ("zone", "now", "day"),
    [
        ("Pacific/Pago_Pago", datetime(2027, 1, 1, 10, 30, tzinfo=UTC), "2026-12-31"),
        ("Pacific/Kiritimati", datetime(2026, 12, 31, 10, 30, tzinfo=UTC), "2027-01-01"),
    ],
)
def test_the_form_offers_the_farms_own_day_at_a_years_end(
    trade: World, monkeypatch: pytest.MonkeyPatch, zone: str, now: datetime, day: str
) -> None:
    trade.farm.time_zone = zone
    trade.farm.save()
    monkeypatch.setattr(timezone, "now", lambda: now)
    form = signed_in(trade.owner).get("/payments/enter/").context["form"]

    assert f"{form['paid_on'].value()}" == day
