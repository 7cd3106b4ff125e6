"""Payments: part by part, the oldest first, taken back; who owes what since when."""

import random
from datetime import date, timedelta

import pytest

from farm.actions.accounts.invoicing import issue_change
from farm.actions.accounts.payments import Paid, enter_payment, take_payment_back
from farm.actions.questions import PlausibilityQuestion
from farm.actions.recording.correcting import undo
from farm.actions.selling.selling import take_back
from farm.models import Invoice, Payment, SaleLine
from farm.queries.accounts.invoices import changed_invoices, invoices, to_invoice
from farm.queries.accounts.owed import account_of, accounts, statement
from ledger.errors import Conflict, Malformed, NotStanding, Refused
from tests.farm.goods import packs
from tests.farm.sold import delivered, invoiced, order, selling_farm, sold
from tests.farm.world import UNIT, World, assert_book_is_sound
from tests.repeated import seeds

pytestmark = pytest.mark.django_db


def invoice_of(world: World, count: int) -> Invoice:
    """So many packs at 5.00, invoiced; to be paid in 14 days."""
    sold(world, packs(world, count), count)
    return invoiced(world)


def pay(world: World, units: int, invoice: Invoice | None = None, *, sure: bool = False) -> Payment:
    doing = world.doing(sure=sure)
    paid = Paid(
        customer=world.customer, amount_money=units * UNIT, paid_on=doing.day, invoice=invoice
    )
    return enter_payment(doing, paid)


def opens(world: World, day: date | None = None) -> list[int]:
    account = account_of(world.customer, day or world.now.date())
    return [one.open_money // UNIT for one in account.open_invoices]


def test_a_part_payment_leaves_the_rest_open() -> None:
    world = selling_farm()
    invoice_of(world, 10)

    pay(world, 20)

    assert opens(world) == [30]


def test_what_names_no_invoice_pays_the_oldest_first() -> None:
    world = selling_farm()
    invoice_of(world, 10)
    invoice_of(world, 4)

    pay(world, 60)

    assert opens(world) == [10]


def test_what_names_an_invoice_pays_that_one() -> None:
    world = selling_farm()
    invoice_of(world, 10)
    second = invoice_of(world, 4)

    pay(world, 20, second)

    assert opens(world) == [50]


def test_a_credit_note_lowers_its_invoice() -> None:
    world = selling_farm()
    invoice = invoice_of(world, 10)
    take_back(world.doing(), sale_line=SaleLine.objects.get(), quantity=2)
    issue_change(world.doing(), invoice)

    assert opens(world) == [40]


def test_more_than_is_owed_asks_and_then_is_paid_ahead() -> None:
    world = selling_farm()
    invoice_of(world, 2)
    with pytest.raises(PlausibilityQuestion, match=r"pays €15.00 and owes €10.00"):
        pay(world, 15)

    pay(world, 15, sure=True)
    assert account_of(world.customer, world.now.date()).ahead_money == 5 * UNIT
    invoice_of(world, 2)
    assert opens(world) == [5]


def test_a_payment_taken_back_is_open_again() -> None:
    world = selling_farm()
    invoice_of(world, 2)
    payment = pay(world, 10)
    assert opens(world) == []

    take_payment_back(world.doing(), payment)

    assert opens(world) == [10]
    with pytest.raises(NotStanding):
        take_payment_back(world.doing(), payment)


def test_a_payment_sent_twice_is_one() -> None:
    world = selling_farm()
    invoice_of(world, 2)
    doing = world.doing()
    paid = Paid(customer=world.customer, amount_money=UNIT, paid_on=doing.day)

    assert enter_payment(doing, paid) == enter_payment(doing, paid)
    with pytest.raises(Conflict):
        enter_payment(doing, Paid(customer=world.customer, amount_money=2, paid_on=doing.day))


def test_a_payment_of_nothing_is_refused() -> None:
    with pytest.raises(Malformed):
        pay(selling_farm(), 0)


@pytest.mark.parametrize(
    ("days_after_due", "age"),
    [(-1, 0), (0, 1), (30, 1), (31, 2), (60, 2), (61, 3), (90, 3), (91, 4)],
)
def test_what_is_open_ages_from_the_day_it_was_due(days_after_due: int, age: int) -> None:
    world = selling_farm()
    invoice = invoice_of(world, 2)
    assert invoice.due_on == invoice.issued_on + timedelta(days=14)

    (account,) = accounts(invoice.due_on + timedelta(days=days_after_due))

    assert account.by_age[age] == account.open_money == 10 * UNIT


def test_an_account_stands_as_it_was_on_a_day() -> None:
    world = selling_farm()
    invoice = invoice_of(world, 2)
    world.wait(5)
    pay(world, 10)

    assert opens(world, invoice.issued_on) == [10]
    assert opens(world, invoice.issued_on - timedelta(days=1)) == []
    assert opens(world) == []


def test_a_statement_runs_from_what_was_owed_before() -> None:
    world = selling_farm()
    invoice_of(world, 10)
    world.wait(40)
    second = invoice_of(world, 2)
    pay(world, 25)

    before, lines = statement(world.customer, second.issued_on, world.now.date())

    assert before == 50 * UNIT
    assert [line.balance // UNIT for line in lines] == [60, 35]


# --- random histories ------------------------------------------------------------------------


def _step(world: World, dice: random.Random) -> None:
    """One thing that may happen; what is refused leaves nothing behind."""
    kind = dice.choice(["sell", "sell", "order", "invoice", "pay", "back", "undo", "credit"])
    lot = packs(world, 6)
    rows = list(SaleLine.objects.filter(line__role="sold", line__entry__amends=None))
    if kind == "sell":
        sold(world, lot, dice.randint(1, 6), unit_money=dice.randint(1, 90_000))
    elif kind == "order":
        asked = order(world, dice.randint(1, 9), sure=True)
        delivered(world, asked, lot, dice.randint(1, 6), rest=dice.random() < 0.5)
    elif kind == "invoice":
        invoiced(world)
    elif kind == "pay":
        pay(world, dice.randint(1, 30), sure=True)
    elif kind == "back" and rows:
        take_back(world.doing(), sale_line=dice.choice(rows), quantity=1)
    elif kind == "undo" and rows:
        undo(world.doing(), dice.choice(rows).line.entry)
    elif kind == "credit" and changed_invoices():
        issue_change(world.doing(), changed_invoices()[0])


@pytest.mark.parametrize("seed", seeds(6))
def test_after_any_history_receivables_are_invoices_less_payments(seed: int) -> None:
    world, dice = selling_farm(), random.Random(seed)
    for _ in range(25):
        try:
            _step(world, dice)
        except Refused:
            continue

    account = account_of(world.customer, world.now.date())
    paid = sum(Payment.objects.values_list("amount_money", flat=True))
    billed = sum(invoice.gross for invoice in invoices())  # type: ignore[attr-defined]
    assert account.open_money - account.ahead_money == billed - paid
    waiting = sum(row.gross for row in to_invoice(world.customer, world.now.date()))
    unsettled = sum(
        SaleLine.objects.filter(invoiced=None, sale__lines__invoiced__isnull=False)
        .distinct()
        .values_list("gross", flat=True)
    )
    assert billed + waiting + unsettled == sum(SaleLine.objects.values_list("gross", flat=True))
    for letter in "IC":
        numbers = Invoice.objects.filter(series__startswith=letter).values_list("number", flat=True)
        assert sorted(numbers) == list(range(1, len(numbers) + 1))
    assert_book_is_sound()
