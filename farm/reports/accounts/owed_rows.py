"""Who owes what and since when, a customer's statement, and the round by stop, as reports."""

from collections.abc import Sequence
from datetime import date

from farm import habits
from farm.models import Customer, Farm
from farm.queries.accounts.owed import AGES, Account, StatementLine
from farm.queries.orders.orders import Asked, DueOrder
from farm.queries.roll_forward import DepositLine
from farm.reports.accounts.invoice_rows import asked_words
from farm.reports.accounts.papers import Paper
from farm.reports.report_heading import Made
from farm.reports.rows import (
    Column,
    Fact,
    Kind,
    Report,
    Row,
    Table,
    total_row,
    without_empty,
)

GIVEN_UP = "Given up"
OWED = (
    Column("Customer"), Column("Since", Kind.DATE),
    *(Column(age.capitalize(), Kind.MONEY) for age in AGES), Column("Open", Kind.MONEY),
    Column("Paid ahead", Kind.MONEY), Column("Deposits held", Kind.MONEY),
)  # fmt: skip
OPEN = (
    Column("Customer"), Column("Invoice"), Column("Issued", Kind.DATE), Column("Due", Kind.DATE),
    Column("Days over", Kind.COUNT), Column("Invoiced", Kind.MONEY), Column("Open", Kind.MONEY),
)  # fmt: skip
MOVES = (
    Column("Day", Kind.DATE), Column("What"), Column("Invoiced", Kind.MONEY),
    Column("Paid", Kind.MONEY), Column(GIVEN_UP, Kind.MONEY), Column("Owed after it", Kind.MONEY),
)  # fmt: skip
DEPOSIT = (
    Column("Day", Kind.DATE), Column("Share", Kind.COUNT), Column("What"),
    Column("Paid ahead", Kind.MONEY), Column("Boxes", Kind.MONEY),
    Column("Held after it", Kind.MONEY),
)  # fmt: skip
BEYOND = "none: paid back beyond what was theirs"
STOPS = (Column("What"), Column("Asked"), Column("Given"), Column("Still to give"))


def owed_report(accounts: Sequence[Account], day: date, made: Made) -> Report:
    """Ageing by customer, from the day an invoice was to be paid; the largest debt first."""
    by_debt = sorted(accounts, key=lambda one: (-one.open_money, one.customer.name))
    ages: tuple[Row, ...] = tuple(
        (
            one.customer.name,
            one.since,
            *(money or None for money in one.by_age),
            one.open_money,
            one.ahead_money or None,
            one.deposit_money or None,
        )
        for one in by_debt
    )
    summed = {column.name for column in OWED if column.kind is Kind.MONEY}
    return Report(
        title="Who owes what",
        subtitle=f"at the end of {habits.day(day)}, by the day each invoice was to be paid",
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        facts=(
            Fact("Open", sum(one.open_money for one in accounts), Kind.MONEY),
            Fact("Overdue", sum(sum(one.by_age[1:]) for one in accounts), Kind.MONEY),
            Fact(
                "Customers with something open",
                sum(1 for a in accounts if a.open_invoices),
                Kind.COUNT,
            ),
            Fact(
                "Deposits held: boxes owed to members",
                sum(one.deposit_money for one in accounts),
                Kind.MONEY,
            ),
        ),
        tables=(
            Table("By customer", OWED, ages, total_row(OWED, ages, summed)),
            open_table(by_debt),
        ),
        currency=made.currency,
    )


def open_table(accounts: Sequence[Account]) -> Table:
    rows: tuple[Row, ...] = tuple(
        (
            account.customer.name,
            str(one.invoice),
            one.invoice.issued_on,
            one.invoice.due_on,
            max(0, one.days_over) or None,
            one.owed,
            one.open_money,
        )
        for account in accounts
        for one in account.open_invoices
    ) + tuple(
        (
            account.customer.name,
            BEYOND,
            account.beyond.day,
            account.beyond.day,
            account.beyond.days_over or None,
            None,
            account.beyond.open_money,
        )
        for account in accounts
        if account.beyond
    )
    return Table("Open invoices", OPEN, rows, total_row(OPEN, rows, {"Invoiced", "Open"}))


def statement_paper(
    account: Account,
    moves: tuple[int, Sequence[StatementLine]],
    deposits: Sequence[DepositLine] = (),
    *,
    farm: Farm,
    made: Made,
) -> Paper:
    """A customer's statement: what was owed before, every paper and payment, what is open.

    ``deposits``: what they paid ahead for boxes, and what became of it.
    """
    customer = account.customer
    report = Report(
        title=f"Statement of {customer}",
        subtitle=f"customer {customer.number}, at {habits.day(made.at)}",
        farm_name=farm.name,
        made_by=made.by,
        made_at=made.at,
        facts=(
            Fact("Open", account.open_money, Kind.MONEY),
            *((Fact("Paid ahead", account.ahead_money, Kind.MONEY),) * bool(account.ahead_money)),
            *(
                (Fact("Deposits held for boxes", account.deposit_money, Kind.MONEY),)
                * bool(account.deposit_money)
            ),
            *((Fact("Pay to", farm.pay_to),) * bool(farm.pay_to)),
        ),
        tables=(_moves_table(*moves), *_deposit_table(deposits), open_table([account])),
        currency=made.currency,
    )
    sender = (farm.name, farm.place, farm.tax_number and f"Tax number {farm.tax_number}")
    return Paper(report, tuple(filter(None, sender)), _address(customer))


def _moves_table(before: int, lines: Sequence[StatementLine]) -> Table:
    """Leave out what was given up where nothing was."""
    rows: tuple[Row, ...] = (
        (None, "owed before", None, None, None, before),
        *((one.day, one.what, one.invoiced, one.paid, one.given_up, one.balance) for one in lines),
    )
    return Table("Invoices and payments", *without_empty(MOVES, rows, GIVEN_UP))


def _deposit_table(deposits: Sequence[DepositLine]) -> list[Table]:
    rows: tuple[Row, ...] = tuple(tuple(one) for one in deposits)
    return [Table("Paid ahead for boxes", DEPOSIT, rows)] if rows else []


def round_report(due: Sequence[DueOrder], day: date, *, farm: Farm, made: Made) -> Report:
    """What goes to whom on a day: a table a stop, orders that were called off left out."""
    stops: dict[Customer, list[DueOrder]] = {}
    for one in due:
        if one.is_open or any(asked.given for asked in one.asked):
            stops.setdefault(one.order.customer, []).append(one)
    return Report(
        title="Delivery round",
        subtitle=f"{day:%A %-d %B %Y}",
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        facts=(Fact("Stops", len(stops), Kind.COUNT),),
        tables=tuple(
            Table(
                f"{at}. {customer}",
                STOPS,
                tuple(
                    _stop_row(asked, one, farm, day=day) for one in orders for asked in one.asked
                ),
                note=" · ".join(
                    filter(
                        None,
                        (
                            customer.address,
                            customer.contact,
                            customer.stop_note,
                            *(one.order.note for one in orders),
                        ),
                    )
                ),
            )
            for at, (customer, orders) in enumerate(stops.items(), start=1)
        ),
    )


def _stop_row(asked: Asked, due: DueOrder, farm: Farm, *, day: date) -> Row:
    packed = bool(asked.line.product)
    given = sum(one.quantity for one in asked.given if not one.is_substitute)
    instead = any(one.is_substitute for one in asked.given)
    left = asked.missing if due.is_open else 0
    late = "" if due.day == day else f", was due {due.day:%a %-d %b}"
    return (
        f"{asked.line}{late}",
        asked_words(asked.line.quantity, packed, farm),
        (asked_words(given, packed, farm) if given else "") + " and another product" * instead,
        asked_words(left, packed, farm) if left else "",
    )


def _address(customer: Customer) -> tuple[str, ...]:
    number = customer.tax_number and f"Tax number {customer.tax_number}"
    return tuple(filter(None, (customer.name, customer.address, number)))
