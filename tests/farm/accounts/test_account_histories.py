"""Random histories of accounts over nine months, a year's end and 29 February in them.

Two customers and a share each; sold, invoiced, returned, credited, paid for one invoice or for
any, ahead, twice, for the wrong customer, paid back, given up, left, paid after all, taken back;
dated into months that are closed meanwhile. Every month of every account must roll on, and agree
with sums over rows alone (`plain_accounts`, which knows nothing of the farm's queries).
"""

from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, date, datetime, timedelta
from random import Random

import pytest
from django.db import transaction

from farm.actions.accounts.giving_up import give_up
from farm.actions.accounts.invoicing import issue_change, issue_invoice
from farm.actions.accounts.payments import (
    Paid,
    enter_payment,
    pay_back,
    put_right,
    take_payment_back,
)
from farm.actions.orders.orders import Wanted, deliver
from farm.actions.orders.shares import Season, take_share
from farm.actions.recording.correcting import undo
from farm.actions.selling.selling import SoldLine, sell, take_back
from farm.models import BoxDelivery, ClosedMonth, Customer, Invoice, Payment, Settling, Share
from farm.queries.accounts.invoices import changed_invoices
from farm.queries.accounts.owed import account_of, accounts
from farm.queries.months.account_checks import CHECKS
from farm.queries.months.canonical import KeptRow, rows_of
from farm.queries.months.closings import closings, closings_add_up, frozen_rows, since_closing
from farm.queries.months.months import Month, months_from
from farm.queries.orders.orders import due_between
from farm.queries.orders.shares import share_states
from farm.queries.roll_forward import NO_SHARE, Rolled, account_moves, rolled
from farm.queries.sales import returnable
from farm.reports.months.account_rows import HELD, OWED
from farm.reports.months.closing_rows import open_report
from farm.reports.rows import Cell
from ledger.errors import Refused
from tests.farm.closed import close
from tests.farm.goods import packs
from tests.farm.plain_accounts import PlainMonth, plain_months
from tests.farm.season import MADE
from tests.farm.sold import selling_farm
from tests.farm.world import UNIT
from tests.repeated import seeds

pytestmark = pytest.mark.django_db

FIRST, LAST = date(2027, 9, 1), date(2028, 4, 30)  # 2028 is a leap year
MONTHS = months_from(FIRST, LAST)
STEPS, STEPS_AFTER = 40, 20
# The last days of months, of the year, and 29 February come up often.
DAYS = [*(month.first for month in MONTHS), *(month.last for month in MONTHS)]


class History:
    """What may happen, each as one step; a refusal leaves nothing behind."""

    def __init__(self, seed: int) -> None:
        self.dice = Random(seed)
        self.world = world = selling_farm()
        world.now = datetime(2027, 9, 1, 8, tzinfo=UTC)
        other = Customer.objects.create(name="The Swan", place=world.kitchens, address="Mill 2")
        self.customers = [world.customer, other]
        self.lot = packs(world, 10_000)
        self.shares = [self._share(one) for one in self.customers]
        self.done: Counter[str] = Counter()

    def play(self) -> None:
        each: list[Callable[[], object]] = [
            self.sell,
            self.sell,
            self.invoice,
            self.invoice,
            self.comes_back,
            self.credit,
            self.pay,
            self.pay,
            self.pay_for_one,
            self.pay_for_one,
            self.deposit,
            self.box,
            self.pay_back,
            self.give_up,
            self.give_up,
            self.right,
            self.undo,
            self.undo_box,
            self.close_next,
        ]
        for _ in range(STEPS):
            if self.dice.random() < 0.4:
                self.world.now += timedelta(days=self.dice.randint(1, 14))
            self.tried(self.dice.choice(each))
        for _ in range(self.dice.randint(1, 4)):
            self.tried(self.close_next)
        for _ in range(STEPS_AFTER):
            self.tried(self.dice.choice(each[:-1]))

    def tried(self, step: Callable[[], object]) -> None:
        with suppress(Refused, IndexError), transaction.atomic():  # or nothing to choose from
            step()
            self.done[step.__name__] += 1

    # --- what happens ------------------------------------------------------------------------

    def sell(self) -> None:
        line = SoldLine(self.lot, self.dice.randint(1, 9), self.dice.randint(1, 900) * 100)
        sell(
            self.world.doing(minutes=0, sure=True),
            place=self.world.kitchens,
            customer=self.whose(),
            lines=[line],
        )

    def invoice(self) -> None:
        doing = self.world.doing()
        issue_invoice(doing, self.whose(), until=doing.day)

    def comes_back(self) -> None:
        sale = self.dice.choice(list(returnable().order_by("pk")))
        take_back(self.world.doing(), sale_line=sale, quantity=1)

    def credit(self) -> None:
        for paper in changed_invoices():
            issue_change(self.world.doing(), paper)

    def pay(self) -> None:
        enter_payment(self.world.doing(sure=True), self.of(self.whose(), self.some_money()))

    def pay_for_one(self) -> None:
        """Often one of which something was given up."""
        papers = Invoice.objects.filter(credits=None).order_by("pk")
        given_up = papers.filter(payments__what=Settling.GIVEN_UP)
        paper = self.dice.choice([*papers, *given_up, *given_up])
        assert paper.customer
        paid = self.of(paper.customer, self.some_money(), invoice=paper)
        enter_payment(self.world.doing(sure=True), paid)

    def deposit(self) -> None:
        share = self.dice.choice(self.shares)
        paid = self.of(share.customer, self.some_money(), share=share)
        enter_payment(self.world.doing(sure=True), paid)

    def box(self) -> None:
        share = self.dice.choice(self.shares)
        day = self.world.now.date()
        due = [
            one
            for one in due_between(day - timedelta(days=6), day)
            if one.is_open and one.order.share_id == share.pk
        ]
        if due:
            deliver(
                self.world.doing(minutes=0, sure=True),
                order=due[0].order,
                due_on=due[0].day,
                lines=[SoldLine(self.lot, 2, 5 * UNIT)],
            )

    def pay_back(self) -> None:
        """All that is theirs, a part of it, or more."""
        whose, share, theirs = self.balance()
        money = self.dice.choice([theirs, half(theirs), self.some_money()])
        doing = self.world.doing(reason="leaves", sure=True)
        pay_back(doing, self.of(whose, max(100, money), share=share))

    def give_up(self) -> None:
        whose, share, balance = self.balance()
        paper = None
        if share is None and balance < 0:
            found = account_of(whose, date.max).open_invoices
            paper = self.dice.choice([one.invoice for one in found] or [None])
            balance = sum(one.open_money for one in found if one.invoice == paper)
        money = self.dice.choice([abs(balance), half(abs(balance)), 100])
        doing = self.world.doing(reason="not worth a letter")
        give_up(doing, self.of(whose, max(100, money), share=share, invoice=paper))

    def right(self) -> None:
        """Another customer, or another sum."""
        wrong = self.dice.choice(list(Payment.objects.order_by("pk")))
        other = self.dice.choice([self.whose(), wrong.customer])
        money = self.dice.choice([abs(wrong.amount_money), self.some_money()])
        put_right(self.world.doing(sure=True), wrong, self.of(other, money))

    def undo(self) -> None:
        take_payment_back(
            self.world.doing(), self.dice.choice(list(Payment.objects.order_by("pk")))
        )

    def undo_box(self) -> None:
        box = self.dice.choice(list(BoxDelivery.objects.order_by("pk")))
        undo(self.world.doing(), box.note.sale.entry)

    def close_next(self) -> None:
        following = closings().earliest_open
        if following:
            close(self.world, following, at=self.world.now)

    # --- parts -------------------------------------------------------------------------------

    def whose(self) -> Customer:
        return self.dice.choice(self.customers)

    def some_money(self) -> int:
        return self.dice.choice([self.dice.randint(1, 9_999) * 100, 12 * UNIT, 4_500])

    def of(
        self,
        customer: Customer,
        money: int,
        *,
        invoice: Invoice | None = None,
        share: Share | None = None,
    ) -> Paid:
        """On a day that is over: today, a month's first or last, or any before."""
        today = self.world.now.date()
        back = today - timedelta(days=self.dice.randint(0, 70))
        day = self.dice.choice([today, back, *[one for one in DAYS if one <= today]])
        return Paid(
            customer=customer, amount_money=money, paid_on=day, invoice=invoice, share=share
        )

    def balance(self) -> tuple[Customer, Share | None, int]:
        """What is theirs to get back, of an account or a share; below zero, what they owe."""
        share = self.dice.choice([None, *self.shares])
        if share is None:
            whose = self.whose()
            return whose, None, -account_of(whose, date.max).balance
        (state,) = share_states(date.max, Share.objects.filter(pk=share.pk))
        return share.customer, share, state.held

    def _share(self, customer: Customer) -> Share:
        doing = self.world.doing(sure=True)
        return take_share(
            doing,
            customer=customer,
            season=Season(doing.day, 1, 30, 12 * UNIT),
            lines=[Wanted(self.world.product, 2)],
        )


def half(money: int) -> int:
    """Half of it, in whole cents."""
    return money // 200 * 100


# --- what holds ------------------------------------------------------------------------------


def sums_of(one: Rolled) -> list[int]:
    """A month of an account or a deposit, in the order of `plain_sums`."""
    if one.share == NO_SHARE:
        return [
            one.start,
            one.invoiced,
            one.credited,
            one.paid,
            one.paid_back,
            one.given_up,
            one.end,
        ]
    return [one.start, one.paid, one.boxes, one.paid_back, one.given_up, one.end]


def plain_sums(one: PlainMonth, kind: str) -> list[int]:
    names = {
        "account": ("invoiced", "credited", "paid", "back", "given up"),
        "share": ("paid", "boxes", "back", "given up"),
    }
    return [one.start, *(one.moves[name] for name in names[kind]), one.end]


def plain_of(month: Month) -> dict[tuple[str, int], list[int]]:
    """The same from rows alone, by customer number and share; a quiet account stays as it was."""
    found = {}
    for (kind, pk), months in plain_months(month.key).items():
        customer = Share.objects.get(pk=pk).customer if kind == "share" else None
        number = (customer or Customer.objects.get(pk=pk)).number
        whose = (number, pk if kind == "share" else NO_SHARE)
        last = months[max(months)]
        of_month = months.get(month.key, PlainMonth(start=last.end, end=last.end))
        sums = plain_sums(of_month, kind)
        if any(sums) or month.key in months:
            found[whose] = sums
    return found


@pytest.mark.parametrize("seed", seeds(10))
def test_every_month_of_every_account_rolls_on(seed: int) -> None:
    history = History(seed)
    history.play()

    for month in MONTHS:
        worked = {
            one.whose: sums_of(one)
            for one in rolled(month.first, account_moves(month.first, month.last))
        }
        assert worked == plain_of(month), month
        ends = {whose: sums[-1] for whose, sums in worked.items()}
        for customer in history.customers:
            balance = account_of(customer, month.last).balance
            assert balance == ends.get((customer.number, NO_SHARE), 0), (customer, month)
        for state in share_states(month.last):
            assert state.held == ends.get((state.share.customer.number, state.share.pk), 0)
    assert [check().broken for check in (*CHECKS, closings_add_up)] == ["", "", ""]


@pytest.mark.parametrize("seed", seeds(6))
def test_the_open_month_begins_where_the_closed_ones_ended(seed: int) -> None:
    """Frozen + since closing = its start and what came late; its end is the plain one."""
    history = History(seed)
    history.play()
    known = closings()
    month = known.earliest_open
    assert month
    kept = frozen_rows()
    plain = plain_of(month)

    report = open_report(month, MADE, known)
    shown: dict[tuple[str, int], dict[str, Cell]] = {}
    for table in report.tables:
        if table.title in (OWED, HELD):
            heads = [column.name for column in table.columns]
            for cells in table.rows:
                row = dict(zip(heads, cells, strict=True))
                share = row.get("Share", NO_SHARE)
                assert isinstance(share, int)
                shown[f"{row['Customer number']}", share] = row
    for whose, row in shown.items():
        assert row["At the start"] == frozen_balance(kept, whose)
        assert row["At the end"] == plain[whose][-1]
    missing = [whose for whose, sums in plain.items() if any(sums) and whose not in shown]
    assert missing == []
    rows = [*kept, *since_closing(), *rows_of(month)]
    for whose, sums in plain.items():
        assert frozen_balance(rows, whose) == sums[-1]


def frozen_balance(rows: list[KeptRow], whose: tuple[str, int]) -> int:
    number, share = whose
    of = [row for row in rows if row.words.get("customer number") == number]
    if share:
        of = [row for row in of if row.words.get("share") == f"{share}"]
        return sum(row.numbers["held_money"] for row in of if row.table == "deposits")
    return sum(row.numbers["owed_money"] for row in of if row.table == "owed")


def test_the_histories_reach_what_they_are_about() -> None:
    """Over a few seeds: closed months, late rows, each kind of settling, and each undone."""
    kinds: Counter[str] = Counter()
    for seed in range(5):
        with transaction.atomic():
            history = History(seed)
            history.play()
            kinds.update(Payment.objects.values_list("what", flat=True))
            kinds["undone"] += Payment.objects.exclude(takes_back=None).count()
            kinds["closed"] += ClosedMonth.objects.count()
            kinds["late"] += sum(1 for row in since_closing() if row.table in ("owed", "deposits"))
            kinds["boxes"] += BoxDelivery.objects.count()
            kinds["beyond"] += sum(1 for one in accounts(date.max) if one.beyond)
            transaction.set_rollback(True)

    wanted = [*Settling.values, "undone", "closed", "late", "boxes"]
    assert [name for name in wanted if kinds[name] < 2] == [], kinds
