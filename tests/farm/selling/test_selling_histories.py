"""Random histories of selling: orders, promises, deliveries, returns, papers, money, boxes.

What holds after each: nothing is sold twice, no invoice number is missing, what is owed is what
was invoiced less what was paid, deposits are what was paid less what was delivered, and what is set
aside is never more than is there. What was packed and paid is kept a second time, in plain dicts.
"""

from collections import Counter, defaultdict
from collections.abc import Callable
from contextlib import suppress
from datetime import date, timedelta
from typing import ClassVar

import pytest
from django.db import transaction
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from farm.actions.accounts.invoicing import issue_change, issue_invoice
from farm.actions.accounts.payments import Paid, enter_payment, take_payment_back
from farm.actions.common import Draw
from farm.actions.orders.allotting import allocate
from farm.actions.orders.orders import Days, Wanted, deliver, pause_order, stop_order, take_order
from farm.actions.orders.shares import Season, take_share
from farm.actions.recording.correcting import correct_quantity, undo
from farm.actions.selling.selling import SoldLine, take_back
from farm.actions.tracing.holding import hold, release
from farm.models import (
    Allocation,
    AllocationLine,
    BoxDelivery,
    DeliveryNote,
    Invoice,
    InvoiceKind,
    InvoiceLine,
    Order,
    Payment,
    SaleLine,
    Share,
    Stage,
)
from farm.queries.accounts.invoices import changed_invoices, invoices, to_invoice
from farm.queries.accounts.owed import account_of
from farm.queries.orders.allocations import sellable, set_aside, suggested, taken_of
from farm.queries.orders.orders import (
    DueOrder,
    State,
    due_between,
    due_on_days,
    of_open_days,
    orders,
)
from farm.queries.orders.shares import share_states
from farm.queries.sales import returnable
from ledger.errors import Refused
from ledger.models import Line, Lot, Role
from tests.farm.goods import packs
from tests.farm.sold import selling_farm
from tests.farm.world import UNIT, assert_book_is_sound

HISTORIES, ACTIONS = 8, 30
END = date(2027, 12, 31)

some = st.integers(0, 10**6)  # which order, sale or paper: taken modulo how many there are
few = st.integers(1, 12)
money = st.integers(1, 9_999).map(lambda cents: cents * 100)


class Selling(RuleBasedStateMachine):
    """Whatever may happen between an order and its money, in any order; refusals change nothing."""

    reached: ClassVar[Counter[str]] = Counter()

    def __init__(self) -> None:
        super().__init__()
        self.atomic = transaction.atomic()
        self.atomic.__enter__()
        self.world = selling_farm()
        self.packed: dict[int, int] = {}
        self.paid: dict[int | None, int] = defaultdict(int)  # by share; None: for invoices
        self.pack(10)

    def teardown(self) -> None:
        self.reached.update(
            {
                "deliveries": DeliveryNote.objects.count(),
                "boxes": BoxDelivery.objects.count(),
                "invoices": Invoice.objects.filter(credits=None).count(),
                "credit notes": Invoice.objects.filter(kind=InvoiceKind.CREDIT).count(),
                "promises": AllocationLine.objects.count(),
                "money back": Payment.objects.exclude(takes_back=None).count(),
            }
        )
        try:
            assert_book_is_sound()
        finally:
            transaction.set_rollback(True)
            self.atomic.__exit__(None, None, None)

    # --- what can happen ---------------------------------------------------------------------

    @initialize()
    def one_of_each(self) -> None:
        """Begin with every kind of paper, whichever rules a history then leaves out."""
        self.order(3, days=1)
        self.promise(0, by_hand=False, release_all=False)
        self.give(0, count=3, rest=False, part=4, bill=True)
        self.comes_back(0, count=1, credit=True)
        self.share(2, 10 * UNIT)
        self.give(0, count=2, rest=False, part=4, bill=False)

    @rule(count=few)
    def pack(self, count: int) -> None:
        lot = packs(self.world, count)
        self.packed[lot.pk] = count

    @rule(count=few, days=st.integers(0, 3), every_weeks=st.integers(0, 2))
    def order(self, count: int, days: int = 0, every_weeks: int = 0) -> None:
        doing = self.world.doing(sure=True)
        lines = [Wanted(self.world.product, count)]
        when = Days(doing.day + timedelta(days=days), every_weeks)
        take_order(doing, customer=self.world.customer, days=when, lines=lines)

    @rule(boxes=st.integers(1, 3), price=money)
    def share(self, boxes: int, price: int) -> None:
        doing = self.world.doing(sure=True)
        lines = [Wanted(self.world.product, 2)]
        season = Season(doing.day, 1, boxes, price)
        take_share(doing, customer=self.world.customer, season=season, lines=lines)

    @rule(which=some, by_hand=st.booleans(), release_all=st.booleans())
    def promise(self, which: int, by_hand: bool, release_all: bool) -> None:
        due = self.open_day(which)
        if due:
            draws: list[Draw] | None = [] if release_all else None
            self.tried(
                lambda: allocate(
                    self.world.doing(),
                    order=due.order,
                    due_on=due.day,
                    draws=draws if by_hand else None,
                )
            )

    @rule(which=some, count=few, rest=st.booleans(), part=st.integers(1, 4), bill=st.booleans())
    def give(self, which: int, count: int, rest: bool, part: int, bill: bool) -> None:
        """Deliver a quarter to all of what is suggested, at 5.00 a pack; order or pack it first."""
        if self.open_day(which) is None:
            self.order(count)
        due = self.open_day(which)
        assert due
        taken = suggested(due, sellable(due))
        if not taken:
            self.pack(count)
            taken = suggested(due, sellable(due))
        lots = Lot.objects.in_bulk(taken)
        lines = [
            SoldLine(lots[pk], max(1, quantity * part // 4), 5 * UNIT)
            for pk, quantity in taken.items()
        ]
        follows = rest and not due.order.share
        self.tried(
            lambda: deliver(
                self.world.doing(minutes=0),
                order=due.order,
                due_on=due.day,
                lines=lines,
                rest_follows=follows,
            )
        )
        if bill and to_invoice(self.world.customer, END):
            self.invoice()

    @rule(which=some)
    def call_off(self, which: int) -> None:
        orders = list(Order.objects.order_by("pk"))
        if orders:
            asked = orders[which % len(orders)]
            stop_order(self.world.doing(reason="closed"), asked, from_day=self.today)

    @rule(which=some, days=st.integers(0, 7))
    def rest(self, which: int, days: int) -> None:
        due = self.open_day(which)
        if due:
            doing, last = self.world.doing(reason="holiday"), due.day + timedelta(days=days)
            self.tried(lambda: pause_order(doing, due.order, first=due.day, last=last))

    @rule(which=some, on_hold=st.sampled_from([True, False, False, False]))
    def hold_or_release(self, which: int, on_hold: bool) -> None:
        lots = list(Lot.objects.filter(card__stage=Stage.PACKS).order_by("pk"))
        lot = lots[which % len(lots)]
        act = hold if on_hold else release
        self.tried(lambda: act(self.world.doing(reason="looked at"), [lot]))

    @rule(which=some, count=st.integers(1, 4), credit=st.booleans())
    @precondition(lambda self: returnable().exists())
    def comes_back(self, which: int, count: int, credit: bool) -> None:
        row = self.sale_row(which, invoiced=credit)
        self.tried(lambda: take_back(self.world.doing(), sale_line=row, quantity=count))
        if credit and changed_invoices():
            self.credit(which)

    @rule(which=some, right=st.integers(0, 12))
    @precondition(lambda self: returnable().exists())
    def correct(self, which: int, right: int) -> None:
        row = self.sale_row(which)
        self.tried(
            lambda: correct_quantity(
                self.world.doing(),
                row.line.entry,
                lot=row.line.lot,
                role=Role.SOLD,
                right_quantity=right,
            )
        )

    @rule(which=some)
    @precondition(lambda self: returnable().exists())
    def take_sale_back(self, which: int) -> None:
        row = self.sale_row(which)
        self.tried(lambda: undo(self.world.doing(), row.line.entry))

    @rule()
    @precondition(lambda self: bool(to_invoice(self.world.customer, END)))
    def invoice(self) -> None:
        customer = self.world.customer
        self.tried(lambda: issue_invoice(self.world.doing(), customer, until=END))

    @rule(which=some)
    @precondition(lambda self: bool(changed_invoices()))
    def credit(self, which: int) -> None:
        papers = changed_invoices()
        self.tried(lambda: issue_change(self.world.doing(), papers[which % len(papers)]))

    @rule(amount=money, which=some, names_one=st.booleans())
    def pay(self, amount: int, which: int, names_one: bool) -> None:
        papers = list(Invoice.objects.filter(credits=None).order_by("pk"))
        invoice = papers[which % len(papers)] if papers and names_one else None
        enter_payment(
            self.world.doing(sure=True),
            Paid(
                customer=self.world.customer,
                amount_money=amount,
                paid_on=self.today,
                invoice=invoice,
            ),
        )
        self.paid[None] += amount

    @rule(amount=money, which=some)
    def deposit(self, amount: int, which: int) -> None:
        if not Share.objects.exists():
            self.share(3, 12 * UNIT)
        shares = list(Share.objects.order_by("pk"))
        share = shares[which % len(shares)]
        enter_payment(
            self.world.doing(sure=True),
            Paid(
                customer=self.world.customer, amount_money=amount, paid_on=self.today, share=share
            ),
        )
        self.paid[share.pk] += amount

    @rule(which=some)
    @precondition(lambda self: Payment.objects.exists())
    def take_money_back(self, which: int) -> None:
        payments = list(Payment.objects.order_by("pk"))
        payment = payments[which % len(payments)]
        if self.tried(lambda: take_payment_back(self.world.doing(), payment)):
            self.paid[payment.share_id] -= payment.amount_money

    @rule(days=st.integers(1, 4))
    def wait(self, days: int) -> None:
        self.world.wait(days)

    # --- what holds --------------------------------------------------------------------------

    @invariant()
    def nothing_is_sold_twice(self) -> None:
        """What was packed is on hand or sold, lot by lot; a line stands on one paper at most."""
        for pk, count in self.packed.items():
            gone = Line.objects.filter(lot=pk, role__in=(Role.SOLD, Role.BACK))
            left = Lot.objects.get(pk=pk).quantity
            assert left >= 0
            assert left - sum(gone.values_list("quantity", flat=True)) == count
        on_papers = list(InvoiceLine.objects.values_list("sale_line", flat=True))
        assert len(on_papers) == len(set(on_papers))

    @invariant()
    def no_number_is_missing(self) -> None:
        numbers: dict[str, list[int]] = defaultdict(list)
        for paper in Invoice.objects.order_by("pk"):
            numbers[paper.series].append(paper.number)
        for found in numbers.values():
            assert found == list(range(1, len(found) + 1))

    @invariant()
    def what_is_owed_is_invoiced_less_paid(self) -> None:
        invoiced = sum(paper.gross for paper in invoices())  # type: ignore[attr-defined]
        account = account_of(self.world.customer, END)
        assert account.open_money - account.ahead_money == invoiced - self.paid[None]

    @invariant()
    def deposits_are_paid_less_delivered(self) -> None:
        for state in share_states(END):
            sales = SaleLine.objects.filter(sale__note__order__share=state.share)
            delivered = sum(sales.values_list("gross", flat=True))
            assert state.held == self.paid[state.share.pk] - delivered

    @invariant()
    def no_more_is_set_aside_than_is_there(self) -> None:
        parts = set_aside()
        for pk, taken in taken_of(parts).items():
            lot = Lot.objects.get(pk=pk)
            assert 0 <= taken <= (0 if lot.held else lot.quantity)
        assert all(0 <= part.quantity <= part.promised for part in parts)

    @invariant()
    def every_delivery_is_for_a_line_of_its_order(self) -> None:
        assert not DeliveryNote.objects.filter(order__isnull=False, delivered=None).exists()

    @invariant()
    def the_database_finds_the_days_that_are_open(self) -> None:
        known = {order.pk: order for order in orders()}
        made = list(Allocation.objects.order_by("pk"))
        due = due_on_days((known[one.order_id], one.due_on) for one in made)
        found = set(of_open_days(Allocation.objects.all()))
        for one, day in zip(made, due, strict=True):
            is_given = day.state is State.DONE
            assert day.is_open == (one in found) or is_given, day

    # --- parts -------------------------------------------------------------------------------

    @property
    def today(self) -> date:
        return self.world.now.date()

    def open_day(self, which: int) -> DueOrder | None:
        span = (self.today - timedelta(days=3), self.today + timedelta(days=8))
        found = [due for due in due_between(*span) if due.is_open]
        return found[which % len(found)] if found else None

    def sale_row(self, which: int, *, invoiced: bool = False) -> SaleLine:
        """Any sale, of those on an invoice where there is one and it is asked for."""
        rows = list(returnable().order_by("pk"))
        rows = [row for row in rows if invoiced and hasattr(row, "invoiced")] or rows
        return rows[which % len(rows)]

    def tried(self, act: Callable[[], object]) -> bool:
        """Do it; a refusal leaves everything as it was."""
        with suppress(Refused), transaction.atomic():
            act()
            return True
        return False


@pytest.mark.django_db
def test_selling_adds_up_in_any_order() -> None:
    run_state_machine_as_test(
        Selling,
        settings=settings(
            max_examples=HISTORIES,
            stateful_step_count=ACTIONS,
            deadline=None,
            derandomize=True,
            database=None,
            phases=[Phase.generate],  # shrinking takes minutes; the whole history is printed
            suppress_health_check=list(HealthCheck),
        ),
    )
    # Truths about what never happened would say nothing.
    assert min(Selling.reached.values()) > 0, Selling.reached
