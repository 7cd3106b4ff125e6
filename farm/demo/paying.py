"""What the customers of the played year pay: by habit, once twice over, once found late."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from typing import NamedTuple

from django.db.models import Sum

from farm.actions.accounts.payments import Paid, enter_payment, pay_back
from farm.demo.clock import Year
from farm.models import Invoice, Method


class Habit(NamedTuple):
    """How many days after an invoice a customer pays which share of it, in percent.

    ``twice``: their first order to the bank goes out twice. ``found_days``: how much later the
    last part of their first invoice is found on the bank's statement.
    """

    parts: Sequence[tuple[int, int]]
    twice: bool = False
    found_days: int = 0


HABITS = (
    Habit(((9, 100),)),
    Habit(((17, 100),), twice=True),
    Habit(((62, 100),)),
    # Found once the month is closed in which it came.
    Habit(((14, 50), (25, 50)), found_days=12),
)


def pay_by_habit(year: Year, invoice: Invoice, habit: Habit) -> None:
    """Let the payments for an invoice come in the weeks after it."""
    assert invoice.customer
    is_first = invoice.customer.invoices.count() == 1
    whole = invoice.lines.aggregate(gross=Sum("sale_line__gross"))["gross"]
    for at, (days, percent) in enumerate(habit.parts, start=1):
        # Rounded down to the cent; two halves of an odd sum leave a cent open.
        paid = Paid(
            customer=invoice.customer,
            amount_money=whole * percent // 10_000 * 100,
            paid_on=year.clock.date() + timedelta(days=days),
            method=Method.BANK,
            invoice=invoice,
        )
        is_found = is_first and at == len(habit.parts)
        _pay_later(year, paid, days + (habit.found_days if is_found else 0))
        if is_first and habit.twice:
            _pay_twice(year, paid, days + 2)


def _pay_later(year: Year, paid: Paid, days: int) -> None:
    def pay() -> None:
        enter_payment(year.doing("nora", sure=True), paid)

    year.after(days, pay)


def _pay_twice(year: Year, paid: Paid, days: int) -> None:
    """Enter the same sum once more, and pay it back some days later."""

    def again() -> None:
        today = year.clock.date()
        enter_payment(year.aside("paid twice", sure=True), replace(paid, paid_on=today))

    def back() -> None:
        why = "the order to the bank went out twice"
        pay_back(year.aside("paid back", why, sure=True), replace(paid, paid_on=year.clock.date()))

    year.after(days, again)
    year.after(days + 4, back)
